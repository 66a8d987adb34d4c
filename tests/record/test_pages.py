"""The page and the PDF: complete, tagged, repeatable, and deaf to what was typed."""

from __future__ import annotations

import base64
import csv
import io
import json
import re
import shutil
import subprocess
import time
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import openpyxl
import pikepdf
import pytest
import record_support as support
import tomlkit

from fptlib.errors import RecordError
from fptlib.job.folder import Job
from fptlib.job.schema import Instrument, Reading
from fptlib.job.tables import labelled
from fptlib.record import canonical, render, schema, signing
from fptlib.record.payload import payload
from fptlib.record.pdf import RECORD_NAME, record_of_pdf
from fptlib.record.statement import statement
from fptlib.record.text import likelihood
from fptlib.record.verify import verify
from fptlib.units import rounded, shown

KEYS = support.make_keys()
FIGURES = {"recovery.rate": support.png(), "lift": support.png(60, 30)}


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    return support.make_job(tmp_path_factory.mktemp("pages") / "job")


@pytest.fixture(scope="module")
def record(job: Job) -> bytes:
    return support.signed(support.make_payload(job), KEYS, ("technician", "engineer"))


@pytest.fixture(scope="module")
def made(record: bytes) -> bytes:
    return render.pdf(record, FIGURES)


class Reader(HTMLParser):
    """The page's elements, attributes and visible text."""

    def __init__(self, data: bytes) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.pieces: list[str] = []
        self.feed(data.decode())
        self.text = "".join(self.pieces)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_data(self, data: str) -> None:
        if self.tags and self.tags[-1] != "style":
            self.pieces.append(data)


def pdf_text(data: bytes) -> str:
    if not shutil.which("pdftotext"):
        pytest.skip("pdftotext (poppler) is not installed")
    done = subprocess.run(["pdftotext", "-raw", "-", "-"], input=data, capture_output=True,
                          check=True)
    return done.stdout.decode()


def squeezed(text: str) -> str:
    """Text without white space and the breaks that the PDF puts into long words."""
    return "".join(text.replace("\u200b", "").split())


SHOWN = [
    "Changeover test, invented plant", "T-001", "standard 1",
    "5 checks: passed 1, failed 1, could not be decided 1, not tested 1, deferred 1.",
    "The changeover has 1 deficiency to be corrected before acceptance: The load sees a step and "
    "chillers may be called back.",
    "Trend analysis, no functional test", "Preliminary: The plan was not approved.",
    "Demonstration: the data of this record are invented.",
    "The acceptance limits were not frozen before the trends were read.",
    "Set the ramp of the reset to 2 degF in ten minutes.", "before acceptance",
    "clamp-on", "44.06 °F (6.7 °C)", "thermometer", "slow sump", "2026-01-19 16:00 -07:00",
    "Supply above 56 degF for five minutes", "low lift hold", "plant.csv: CHWS-T [degF]",
    KEYS["engineer"].thumbprint, "Blair Senior",
]


@pytest.mark.parametrize("text", SHOWN, ids=range(len(SHOWN)))
def test_page_and_pdf_show(record: bytes, made: bytes, text: str) -> None:
    assert squeezed(text) in squeezed(Reader(render.html(record, FIGURES)).text)
    assert squeezed(text) in squeezed(pdf_text(made))


def test_the_verdicts_are_words_on_the_first_page(made: bytes) -> None:
    first = pdf_text(made).split("\f")[0]
    for word in ("pass", "FAIL", "indeterminate", "not tested", "deferred"):
        assert word in first


def test_the_page_stands_on_its_own(record: bytes) -> None:
    read = Reader(render.html(record, FIGURES))
    assert not {"script", "link", "iframe", "object", "form", "base"} & set(read.tags)
    links = [value for name, value in read.attributes if name in ("src", "href")]
    assert links
    assert all(value.startswith(("data:image/png;base64,", "data:application/json;", "#"))
               for value in links)
    assert ("http-equiv", "Content-Security-Policy") in read.attributes
    assert read.tags.count("img") == 2, "a step's picture stands with its deficiency alone"
    assert sum(name == "alt" and bool(value) for name, value in read.attributes) == 2


def test_the_page_carries_the_record(record: bytes) -> None:
    (link,) = [value for name, value in Reader(render.html(record, {})).attributes
               if value.startswith("data:application/json")]
    assert base64.b64decode(link.split(",", 1)[1]) == record


def test_page_and_pdf_are_repeatable(record: bytes, made: bytes) -> None:
    assert render.html(record, FIGURES) == render.html(record, FIGURES)
    assert render.pdf(record, FIGURES) == made


def test_the_pdf_alone_verifies(record: bytes, made: bytes) -> None:
    assert record_of_pdf(made) == record
    assert verify(record_of_pdf(made), support.trust(KEYS), None).good


def test_the_pdf_is_soon_made_and_small(record: bytes) -> None:
    start = time.perf_counter()
    data = render.pdf(record, FIGURES, "a4")
    assert time.perf_counter() - start < 5.0
    assert len(data) < 5_000_000


def test_the_pdf_keeps_what_it_claims(made: bytes) -> None:
    """The parts of PDF/A-3a and PDF/UA-1 that can be read from the file's structure."""
    with pikepdf.open(io.BytesIO(made)) as document:
        assert document.check_pdf_syntax() == []
        root = document.Root
        assert bool(root.MarkInfo.Marked) and str(root.Lang) == "en"
        assert bool(root.ViewerPreferences.DisplayDocTitle)
        assert "/JavaScript" not in root.get("/Names", {}) and "/OpenAction" not in root
        assert str(root.OutputIntents[0].S) == "/GTS_PDFA1"
        assert [str(file.AFRelationship) for file in root.AF] == ["/Source"]
        assert list(document.attachments) == [RECORD_NAME]
        with document.open_metadata() as metadata:
            assert metadata["pdfaid:part"] == "3" and metadata["pdfaid:conformance"] == "A"
            assert metadata["pdfuaid:part"] == "1" and metadata["dc:title"]
        assert _fonts_embedded(document)
        kinds = _structure(root.StructTreeRoot)
        assert {"/Table", "/TH", "/TD", "/H1", "/H2", "/Figure"} <= set(kinds)
        assert all(alt for alt in kinds["/Figure"])


def _fonts_embedded(document: pikepdf.Pdf) -> bool:
    descriptors = [entry for entry in document.objects
                   if isinstance(entry, pikepdf.Dictionary)
                   and entry.get("/Type") == "/FontDescriptor"]
    return bool(descriptors) and all(
        {"/FontFile2", "/FontFile3"} & set(entry.keys()) for entry in descriptors)


def _structure(node: Any) -> dict[str, list[str]]:
    """Alternative text of every structure element, by kind."""
    found: dict[str, list[str]] = {}
    stack = [node]
    while stack:
        here = stack.pop()
        if isinstance(here, pikepdf.Array):
            stack.extend(here)
        elif isinstance(here, pikepdf.Dictionary):
            if "/S" in here:
                found.setdefault(str(here.S), []).append(str(here.get("/Alt", "")))
            if "/K" in here:
                stack.append(here.K)
    return found


@pytest.mark.parametrize("data", [b"", b"%PDF-1.7", b"nonsense", b"%PDF-1.7\n%%EOF\n"])
def test_a_file_that_is_no_such_pdf_is_told_in_a_sentence(data: bytes) -> None:
    with pytest.raises(RecordError, match="this PDF"):
        record_of_pdf(data)


def test_a_pdf_without_or_with_two_records_is_refused(made: bytes, record: bytes) -> None:
    with pikepdf.open(io.BytesIO(made)) as document:
        del document.attachments[RECORD_NAME]
        stream = io.BytesIO()
        document.save(stream)
    with pytest.raises(RecordError, match="carries 0 attachments"):
        record_of_pdf(stream.getvalue())
    with pikepdf.open(io.BytesIO(made)) as document:
        document.attachments["another.json"] = record
        stream = io.BytesIO()
        document.save(stream)
    with pytest.raises(RecordError, match="carries 2 attachments"):
        record_of_pdf(stream.getvalue())


def _attach_anew(document: Any) -> None:
    """A file of its own behind a page, which the list of attachments does not name."""
    document.pages[0].AF = pikepdf.Array([pikepdf.Dictionary(
        Type=pikepdf.Name.Filespec, F="more", EF=pikepdf.Dictionary(
            F=document.make_stream(b"more")))])


STRANGE = {
    "runs when it is opened": lambda d: d.Root.__setattr__("OpenAction", pikepdf.Dictionary(
        S=pikepdf.Name.JavaScript, JS="app.alert(1)")),
    "an action of a page": lambda d: d.pages[0].__setattr__("AA", pikepdf.Dictionary()),
    "a note over a page": lambda d: d.pages[0].Annots.append(d.make_indirect(pikepdf.Dictionary(
        Type=pikepdf.Name.Annot, Subtype=pikepdf.Name.FreeText, Rect=[0, 0, 9, 9],
        Contents="PASS"))),
    "a link to elsewhere": lambda d: d.pages[0].Annots[0].__setattr__("A", pikepdf.Dictionary(
        S=pikepdf.Name.URI, URI="https://x.example")),
    "a file behind a page": _attach_anew,
    "layers": lambda d: d.Root.__setattr__("OCProperties", pikepdf.Dictionary()),
    "a form": lambda d: d.Root.__setattr__("AcroForm", pikepdf.Dictionary(Fields=[])),
}


@pytest.mark.parametrize("what", STRANGE)
def test_a_pdf_that_can_act_or_hide_is_refused(made: bytes, what: str) -> None:
    with pikepdf.open(io.BytesIO(made)) as document:
        STRANGE[what](document)
        stream = io.BytesIO()
        document.save(stream)
    with pytest.raises(RecordError, match="never has"):
        record_of_pdf(stream.getvalue())


def test_an_update_behind_the_end_of_a_pdf_is_refused(made: bytes) -> None:
    with pytest.raises(RecordError, match="never has: an update behind its end"):
        record_of_pdf(made + b"\n1 0 obj\n<<>>\nendobj\nstartxref\n9\n%%EOF\n")


def test_a_pdf_saved_anew_by_another_program_still_carries_its_record(
    made: bytes, record: bytes
) -> None:
    with pikepdf.open(io.BytesIO(made)) as document:
        stream = io.BytesIO()
        document.save(stream, object_stream_mode=pikepdf.ObjectStreamMode.generate)
    assert record_of_pdf(stream.getvalue()) == record


def test_a_damaged_record_makes_no_page(record: bytes) -> None:
    forged = json.loads(record)
    forged["payload"] = "e30"
    for make in (render.html, render.pdf):
        with pytest.raises(RecordError, match="cannot be used: the signature"):
            make(canonical.encode(forged), {})


def test_what_is_no_png_and_unknown_paper_are_refused(record: bytes) -> None:
    for make in (render.html, render.pdf):
        with pytest.raises(RecordError, match="'lift' is not a PNG"):
            make(record, {"lift": b"<svg onload=alert(1)>"})
    with pytest.raises(RecordError, match="paper"):
        render.pdf(record, {}, "postcard")


HOSTILE = {
    "html": "<script>alert(1)</script><img src=x onerror=alert(1)>\"'><b>&amp;</title>",
    "template": "{{ 7*7 }} {% include 'x' %} ${7*7}",
    "typst": '#read("/etc/passwd") $x^2$ *b* _i_ @ref <label> \\ #pdf.attach("x") // /* `raw`',
    "formula": "=cmd|' /C calc'!A0",
    "plus": "+1+1", "minus": "-1+1", "at": "@SUM(1)", "tab": "\t=1+1", "wide": "＝1+1",
    "path": "../../../etc/passwd\\..\\x",
    "right to left": "invoice\u202efdp.exe \u2066x\u2069 \u200f\u061c",
    "controls": "a\u0001b\u007fc\u0085d\u2028e",
    "letters": "é Ж α 中文 😂",
}


def hostile_job(folder: Path, text: str) -> Job:
    """A job in which every text that can be typed is this one."""
    job = support.make_job(folder)

    def replaced(value: Any, path: str = "") -> Any:
        if isinstance(value, dict):
            return {key: replaced(entry, f"{path}.{key}") for key, entry in value.items()}
        if isinstance(value, list):
            return [replaced(entry, path) for entry in value]
        keep = not isinstance(value, str) or path.endswith((".released", ".placed", ".condition"))
        return value if keep else text

    answers = replaced(job.answers())
    answers["people"]["owner"] = {"name": text}
    answers["answers"] = {"lift": {"remark": text}, "plan": {"remark": text}}
    answers["marks"] = [{"time": text, "what": text, "by": text}]
    answers["deficiencies"] = {"recovery.rate": {"remark": text, "responsible": text}}
    answers["retest"] = {"of_record": text}
    job.file.write_text(tomlkit.dumps(answers), encoding="utf-8")
    return job


def hostile_record(job: Job, text: str) -> bytes:
    check = support.make_check(question=text, reason=text, meaning=text, adjust=text, basis=text,
                               missing=(text,), unit=text)
    reading = Reading(support.at("2026-01-06 10:00"), "chw_flow", 1.0, text, text, text)
    instrument = Instrument(text, text, text, text, 0.2)
    content = payload(job, support.make_trends(job), support.LIMITS, [check], [reading],
                      {text: instrument}, made=support.MOMENT)
    return signing.sign(content, KEYS["technician"], "technician", text, support.MOMENT)


@pytest.fixture(scope="module", params=HOSTILE)
def hostile(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[str, bytes]:
    text = HOSTILE[request.param]
    job = hostile_job(tmp_path_factory.mktemp("hostile") / "job", text)
    return text, hostile_record(job, text)


def visible(text: str) -> str:
    """What a reader must see of it: marks that nobody sees are written out."""
    for mark in "\u202e\u2066\u2069\u200f\u061c\u0001\u007f\u0085\u2028":
        text = text.replace(mark, f"[U+{ord(mark):04X}]")
    return squeezed(text)


def test_typed_text_reaches_the_page_as_text(hostile: tuple[str, bytes], record: bytes) -> None:
    text, forged = hostile
    read, usual = Reader(render.html(forged, {})), Reader(render.html(record, {}))
    assert squeezed(read.text).count(visible(text)) > 30
    assert set(read.tags) <= set(usual.tags)
    assert {name for name, _ in read.attributes} == {name for name, _ in usual.attributes}


def test_typed_text_reaches_the_pdf_as_text(hostile: tuple[str, bytes]) -> None:
    text, forged = hostile
    made = render.pdf(forged, {})
    with pikepdf.open(io.BytesIO(made)) as document:
        assert list(document.attachments) == [RECORD_NAME]
        assert document.check_pdf_syntax() == []
    shown = squeezed(pdf_text(made))
    # A letter that the font cannot draw is written out, and long words are broken.
    words = visible(text).replace("＝", "[U+FF1D]").replace("中", "[U+4E2D]").replace(
        "文", "[U+6587]")
    assert shown.count(words) > 20, words
    assert "root:" not in shown


def test_typed_text_reaches_csv_as_text(hostile: tuple[str, bytes]) -> None:
    text, forged = hostile
    for table in render.tables(signing.read(forged).payload):
        data = render.to_csv(table).decode("utf-8-sig")
        for row in csv.reader(io.StringIO(data, newline="")):
            assert not any(cell.startswith(("=", "+", "@", "\t", "＝")) for cell in row)
            assert not any(cell.startswith("-") and not _is_number(cell) for cell in row)
        if table.name == "readings":
            assert visible(text) in squeezed(data.replace('""', '"'))


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def test_typed_text_reaches_xlsx_as_text(hostile: tuple[str, bytes]) -> None:
    text, forged = hostile
    data = render.to_xlsx(render.tables(signing.read(forged).payload))
    book = openpyxl.load_workbook(io.BytesIO(data))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row
             if cell.value is not None]
    assert {cell.data_type for cell in cells} <= {"s", "n"}
    found = [cell.value for cell in cells if isinstance(cell.value, str)]
    assert sum(visible(text) == squeezed(value) for value in found) > 5


def test_a_million_letters_in_every_field(tmp_path: Path) -> None:
    """Shortened where a page or a cell has no room for them, and it says so there."""
    text = "W" * 1_000_000
    content = signing.read(hostile_record(support.make_job(tmp_path / "job"), text)).payload
    content["job"]["title"] = content["site"]["name"] = text
    forged = signing.sign(content, KEYS["technician"], "technician", text, support.MOMENT)
    assert Reader(render.html(forged, {})).text.count(text) > 10
    assert "1,000,000 characters; the whole text is in the signed record" in squeezed_words(
        pdf_text(render.pdf(forged, {})))
    book = openpyxl.load_workbook(io.BytesIO(render.to_xlsx(render.tables(content))))
    assert "1,000,000 characters" in book["readings"]["G2"].value
    tables = {table.name: render.to_csv(table) for table in render.tables(content)}
    assert text.encode() in tables["readings"]


def squeezed_words(text: str) -> str:
    return " ".join(text.replace("\u200b", "").split())


def test_a_browser_finds_only_text(tmp_path: Path) -> None:
    """The hostile page in a real browser: nothing runs, nothing is asked for."""
    browsers = pytest.importorskip("playwright.sync_api")
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if not chromium:
        pytest.skip("no Chromium on this computer")
    text = HOSTILE["html"]
    forged = hostile_record(hostile_job(tmp_path / "job", text), text)
    (tmp_path / "render.html").write_bytes(render.html(forged, FIGURES))
    said: list[str] = []
    with browsers.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        tab = browser.new_page()
        tab.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
        tab.on("console", lambda message: said.append(message.text))
        tab.on("request", lambda request: said.append(request.url[:60])
               if request.url.startswith("http") else None)
        tab.goto((tmp_path / "render.html").as_uri())
        assert text in tab.inner_text("main")
        assert tab.locator("script, b b, main img[src=x]").count() == 0
        browser.close()
    assert said == []


@pytest.mark.parametrize(("probability", "printed"), [
    (None, "–"), (0.0, "< 1 %"), (0.00999, "< 1 %"), (0.01, "1 %"), (0.5, "50 %"),
    (0.99, "99 %"), (0.9901, "> 99 %"), (1.0, "> 99 %"),
])
def test_a_likelihood_is_never_overstated(probability: float | None, printed: str) -> None:
    assert likelihood(probability) == printed


def test_the_page_prints_no_uncertainty_of_zero_and_no_certainty(record: bytes) -> None:
    shown = render.html(record, {}).decode("utf-8")
    assert "Probability of conformance &gt; 99 %" in shown
    assert not re.search(r"Probability of conformance [01]\.", shown)
    assert not re.search(r"Uncertainty \(k = 2\)\D*\b0 ", shown)


def test_the_approaches_of_the_plant_have_their_unit() -> None:
    rows = labelled("plant", {"tower_approach": {"value": 7.02, "basis": "design"},
                              "chiller_1": {"cutout": 34.0}})
    assert rows == [("Tower approach near changeover: Approach", "7.02 °F"),
                    ("Tower approach near changeover: Basis", "design"),
                    ("Chiller 1: Low-temperature cutout", "34 °F")]


def test_a_check_that_does_not_apply_is_marked_and_counted(job: Job) -> None:
    stated = support.make_payload(job)
    stated["checks"][0] |= {"verdict": "not applicable", "unit": "x\u202ey"}
    stated["statement"] = statement(stated)
    made = support.signed(stated, KEYS, ("technician",))
    page = render.html(made, {}).decode()
    assert "not applicable 1" in page and "\u202e" not in page
    assert squeezed("⊘ not applicable") in squeezed(Reader(page.encode()).text)
    assert squeezed("⊘ not applicable") in squeezed(pdf_text(render.pdf(made, {})))


def test_answers_outside_the_steps_say_where_they_were_given(job: Job) -> None:
    stated = support.make_payload(job)
    stated["answers"] = {"findings": {"remark": "left as found"}}
    page = render.html(support.signed(stated, KEYS, ("technician",)), {}).decode()
    assert "Findings: Remarks" in page


@pytest.mark.parametrize(("minutes", "printed"), [
    (0.0, "0 min"), (2.5, "2.5 min"), (20.0, "20 min"), (271.0, "271 min"), (-121.0, "-121 min"),
    (300.0, "5 h 00 min"), (3674.0, "61 h 14 min"), (-328.4, "-5 h 28 min"), (None, "–")])
def test_a_time_is_printed_as_the_trade_reads_it(minutes: float | None, printed: str) -> None:
    """Common practice, no source: timers in whole minutes, long runs in hours and minutes."""
    assert shown(minutes, "min") == printed


def test_a_small_value_is_not_printed_as_zero() -> None:
    assert (rounded(0.04), rounded(-0.0004), rounded(0.00001), rounded(-0.0)) == (
        "0.04", "-0.0004", "0.0", "0.0")


def test_events_of_an_earlier_record_state_no_changeover(job: Job) -> None:
    stated = support.of_version_3(support.make_payload(job))
    kept = {"changeover", "subject", "first", "last", "quantities"}
    stated["schema"]["version"] = 2
    for check in stated["checks"]:
        check["events"] = [{name: value for name, value in event.items() if name not in kept}
                           for event in check["events"]]
    events = [event for check in schema.current(stated)["checks"] for event in check["events"]]
    assert events and all(event["changeover"] is None for event in events)
