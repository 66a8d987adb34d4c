"""A technician's browser for tests: opens a workbook, types, presses, waits, reads."""

from __future__ import annotations

import json
import time
import urllib.error
import urllib.request
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import psutil

from fptlib.job.folder import Job
from fptlib.procedure.steps import step
from fptlib.workbook import launch
from fptlib.workbook.forms import handle

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]
IDLE = '.jp-Notebook-ExecutionIndicator[data-status="idle"]'
BUSY = '.jp-Notebook-ExecutionIndicator[data-status="busy"]'
RUN = '[data-jp-item-name="run-step"] jp-button:visible'
# What is wider than its place, cut by it, or lies over another control or line of text; and, in a
# window with room for any table, words of one that are broken inside.
MISPLACED = """() => {
  const all = s => [...document.querySelectorAll(s)].filter(e => e.offsetParent);
  const name = e => (e.className + ': ' + (e.innerText || e.value || '')).slice(0, 90);
  const wide = all('.jp-WindowedPanel-outer, .jp-OutputArea-output, .fpt-form')
    .filter(e => e.scrollWidth > e.clientWidth + 2).map(e => 'too wide: ' + name(e));
  const cut = all('.fpt-form :not(.fpt-unit) > .widget-label, .fpt-form button, ' +
      '.fpt-message span, .fpt-badge .widget-html-content, ' +
      '.jp-OutputArea-output td, .jp-OutputArea-output p')
    .filter(e => e.scrollWidth > e.clientWidth + 2 && e.clientWidth > 1
      || e.scrollHeight > e.clientHeight + 4 && e.clientHeight > 1
         && getComputedStyle(e).overflowY != 'visible').map(e => 'cut: ' + name(e));
  const parts = all('.fpt-form input:not([type=file]), .fpt-form select, .fpt-form textarea, ' +
    '.fpt-form button, .fpt-form .widget-label, .fpt-message span');
  const boxes = parts.map(e => [e, e.getBoundingClientRect()]).filter(([, b]) => b.width > 2);
  const over = [];
  for (const [n, [a, p]] of boxes.entries()) for (const [b, q] of boxes.slice(n + 1))
    if (!a.contains(b) && !b.contains(a)
        && Math.min(p.right, q.right) - Math.max(p.left, q.left) > 3
        && Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 3)
      over.push('overlap: ' + name(a) + ' / ' + name(b));
  const broken = [];
  for (const cell of innerWidth < 1000 ? [] : all('.jp-OutputArea-output :is(th, td)')) {
    const walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT), range = new Range();
    for (let at; at = walk.nextNode();) for (const word of at.data.matchAll(/[A-Za-z]{3,}/g)) {
      range.setStart(at, word.index);
      range.setEnd(at, word.index + word[0].length);
      if (new Set([...range.getClientRects()].map(box => Math.round(box.top))).size > 1)
        broken.push(`broken: ${word[0]} in ${name(cell)}`);
    }
  }
  return [...wide, ...cut, ...over, ...broken]; }"""
SHEET = "document.querySelector('.jp-WindowedPanel-outer')"


class Office:
    """A notebook server on one job, as ``fptlib open`` starts it, without its browser."""

    def __init__(self, job: Job, settings: Path) -> None:
        self.job, self._settings = job, settings
        self.server = launch.serve(job, step("plan"), settings)
        self.address = self.server.url.split("/doc/")[0]
        self._wait()

    def _wait(self) -> None:
        # As patient as a page is: a busy machine takes a minute for the server's imports alone.
        end = time.monotonic() + 180
        while time.monotonic() < end:
            try:
                self.ask("/api/sessions")
                return
            except (urllib.error.URLError, OSError):
                time.sleep(0.1)
        raise AssertionError((self._settings / launch.LOG).read_text(encoding="utf-8"))

    def ask(self, path: str, method: str = "GET") -> Any:
        """The server's own answer to a request."""
        request = urllib.request.Request(self.address + path, method=method, headers={
            "Authorization": f"token {self.server.token}"})
        with urllib.request.urlopen(request, timeout=5) as answer:
            text = answer.read()
        return json.loads(text) if text else None

    def link(self, name: str) -> str:
        """The address of a step's workbook with the token."""
        return f"{self.address}{launch.page(step(name))}?token={self.server.token}"

    def kernel(self, name: str) -> Any:
        """The kernel of a step's workbook, or None."""
        found = [s["kernel"] for s in self.ask("/api/sessions")
                 if s["path"].endswith(step(name).file)]
        return found[0] if found else None

    def end_kernels(self) -> None:
        """End every kernel, as leaving for the night does."""
        for session in self.ask("/api/sessions"):
            self.ask(f"/api/sessions/{session['id']}", "DELETE")

    def held(self) -> float:
        """Memory of the server and its kernels [MB], what they share counted twice."""
        process = psutil.Process(self.server.process.pid)
        return sum(each.memory_info().rss for each in (
            process, *process.children(recursive=True))) / 1e6

    def close(self) -> None:
        """Stop the server; one that has ended by itself says its last words."""
        ended = self.server.process.poll()
        try:
            assert ended is None, (ended, (self._settings / launch.LOG).read_text(
                encoding="utf-8", errors="replace")[-3000:])
            self.end_kernels()
        finally:
            self.server.stop()


class Desk:
    """One browser window on an office's job."""

    def __init__(self, office: Office, page: Any) -> None:
        self.office, self.page = office, page
        self.name = ""
        self.outside: list[str] = []
        # On a busy machine a page takes long; what never comes fails all the same.
        page.set_default_timeout(120_000)
        page.on("request", self._note)

    def _note(self, request: Any) -> None:
        if not request.url.startswith((self.office.address, "data:", "blob:", "about:",
                                       self.office.address.replace("http", "ws"))):
            self.outside.append(request.url)

    def open(self, name: str) -> float:
        """Open a step's workbook and wait until it can be run; seconds until then."""
        started = time.monotonic()
        self.name = name
        self.page.goto(self.office.link(name))
        self.ready()
        return time.monotonic() - started

    def ready(self) -> None:
        """Wait until "Run this step" can be pressed, as a technician does."""
        self.page.locator(RUN).wait_for(timeout=180_000)

    def run(self) -> float:
        """Press "Run this step" and wait for its end; the seconds it took."""
        started = time.monotonic()
        self.page.locator(RUN).click()
        self.page.wait_for_selector(BUSY, timeout=120_000)
        self.page.wait_for_selector(IDLE, timeout=120_000)
        took = time.monotonic() - started
        # The last outputs and widgets are drawn a moment after the kernel is done.
        self.page.wait_for_timeout(400)
        self.page.wait_for_selector(IDLE, timeout=120_000)
        return took

    def control(self, path: str, nth: int = 0) -> Any:
        """The control of a question by its place."""
        within = f".fpt-at-{handle(path)}"
        found = self.page.locator(f"{within} input, {within} select, {within} textarea")
        return found.nth(nth)

    def save(self) -> None:
        """Save the workbook with the keyboard, and wait until the server has it."""
        with self.page.expect_response(lambda r: r.request.method == "PUT"
                                       and "/api/contents/" in r.url, timeout=120_000):
            self.page.keyboard.press("Control+s")
        self.page.wait_for_timeout(300)

    def type(self, path: str, text: str, nth: int = 0) -> None:
        """Type an answer and leave the field with the Tab key."""
        control = self.control(path, nth)
        control.scroll_into_view_if_needed()
        if control.evaluate("e => e.tagName") == "SELECT":
            control.select_option(text)
            return
        control.fill(text)
        control.press("Tab")

    def said(self, path: str, nth: int = 0) -> str:
        """What stands below a field, once it says something of the answer."""
        field = self.page.locator(f".fpt-field:has(.fpt-at-{handle(path)})").nth(nth)
        told = field.locator(".fpt-ok, .fpt-bad")
        told.wait_for(timeout=120_000)
        return str(told.inner_text())

    def press(self, name: str) -> None:
        """Press a button by its handle."""
        button = self.page.locator(f".fpt-{name}").first
        button.scroll_into_view_if_needed()
        button.click()

    def read(self) -> str:
        """The text of the page."""
        return str(self.page.locator(".jp-Notebook").first.inner_text())

    def wait_for(self, text: str, seconds: float = 20) -> None:
        """Wait until the page says something."""
        self.page.get_by_text(text).first.wait_for(timeout=max(seconds, 90.0) * 1000)

    def misplaced(self) -> list[str]:
        """What would have to be scrolled sideways, is cut, or lies over something else."""
        return list(self.page.evaluate(MISPLACED))

    def windows(self, stride: int) -> int:
        """How many pictures it takes to show the whole page."""
        return int(self.page.evaluate(f"""stride => {{ const e = {SHEET};
          return 1 + Math.ceil(Math.max(e.scrollHeight - e.clientHeight, 0) / stride); }}""",
            stride))

    def scroll(self, down: int) -> None:
        """Show the page from so far below its top."""
        self.page.evaluate(f"down => {{ {SHEET}.scrollTop = down; }}", down)
        self.page.wait_for_timeout(120)

    def picture(self, path: Path) -> None:
        """A picture of the window."""
        self.page.screenshot(path=str(path))

    def faults(self, axe: str) -> list[str]:
        """What axe-core finds wrong in the workbook's own content.

        Left out is what JupyterLab itself draws: the list of cells.
        """
        self.page.evaluate(axe)
        found = self.page.evaluate("""async () => (await axe.run(
          {include: [['.jp-MarkdownOutput'], ['.jp-OutputArea-child'], ['.fpt-now'],
            ['.fpt-clocks'], ['.fpt-aborts']]},
          {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'],
           resultTypes: ['violations']})).violations.map(v => [v.id, v.help,
             v.nodes.map(n => n.target.join(' ') + ' ' + n.html.slice(0, 160))])""")
        return [f"{id}: {help}: {node}" for id, help, nodes in found for node in nodes[:3]]


def drop(page: Any, files: Sequence[Path], field: str = ".fpt-drop") -> None:
    """Let files fall on a field, as the browser itself does."""
    place = page.locator(field)
    place.scroll_into_view_if_needed()
    box = place.bounding_box()
    devices = page.context.new_cdp_session(page)
    for kind in ("dragEnter", "dragOver", "drop"):
        devices.send("Input.dispatchDragEvent", {
            "type": kind, "x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2,
            "data": {"items": [], "files": [str(file) for file in files],
                     "dragOperationsMask": 1}})
