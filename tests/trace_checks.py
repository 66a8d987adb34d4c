"""How much code lies between a check's name and its arithmetic, on the sound sample.

    python tests/trace_checks.py             the table
    python tests/trace_checks.py lift.floor  the functions of one check, with their lines

Every check is run under a profile hook on a test of its own, in which nothing has been calculated
yet. Counted are the package's functions that run while the check's own function runs, each once,
with the lines they have in their file from ``def`` to the end; comprehensions and inner functions
belong to the function around them. What every check speaks, ``LANGUAGE``, is left out together
with what it calls; the second count leaves nothing out.
"""

from __future__ import annotations

import ast
import statistics
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from types import CodeType, FrameType

ROOT = Path(__file__).resolve().parents[1]
if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))

from fptlib.job.start import start_sample  # noqa: E402
from fptlib.procedure.assemble import assemble  # noqa: E402
from fptlib.procedure.functional_test import FunctionalTest, cached  # noqa: E402
from fptlib.procedure.steps import CHECKS  # noqa: E402

PACKAGE = ROOT / "fptlib"
# Modules and rooms that every check speaks: learned once, then known.
LANGUAGE = (
    "errors", "units", "points", "limits", "physics", "trends", "job", "procedure/functional_test",
    "procedure/trended", "procedure/changeovers", "procedure/flags", "procedure/measures",
    "procedure/uncertainty", "procedure/judge", "procedure/verdict",
)
MOST_FILES, MOST_LINES, MOST_LINES_MEDIAN = 3, 60, 40
# The wrapper of what is calculated only once hides nothing and adds nothing.
_WRAPPER = cached(lambda test: None).__code__  # type: ignore[attr-defined]


@dataclass(frozen=True, order=True)
class Function:
    """A function of the package: its module as a path without suffix, its name, the line of its
    first decorator, and of its own first and last line."""

    module: str
    name: str
    decorated: int
    first: int
    last: int

    @property
    def lines(self) -> int:
        """How many lines it has, from ``def`` on."""
        return self.last - self.first + 1


@dataclass(frozen=True)
class Traced:
    """What lies between a check's name and its arithmetic, without and with the language."""

    id: str
    own: frozenset[Function]
    all: frozenset[Function]

    @staticmethod
    def files(found: frozenset[Function]) -> int:
        """How many files these functions lie in."""
        return len({function.module for function in found})

    @staticmethod
    def lines(found: frozenset[Function]) -> int:
        """How many lines these functions have."""
        return sum(function.lines for function in found)


def traced() -> list[Traced]:
    """Every check, traced on the sound sample."""
    with tempfile.TemporaryDirectory() as folder:
        test = assemble(start_sample(Path(folder) / "sound", "sound"))
    return [Traced(id, frozenset(_ran(id, test, language=LANGUAGE)), frozenset(_ran(id, test)))
            for id in CHECKS]


def _ran(id: str, test: FunctionalTest, language: tuple[str, ...] = ()) -> set[Function]:
    """The functions that run while a check's own function does."""
    check, found = CHECKS[id], set()
    own = check.function.__code__
    # For every frame that runs: counted, or (below the language, or outside the check) not.
    inside: list[bool] = []

    def hook(frame: FrameType, event: str, _: object) -> None:
        if event == "call":
            code = frame.f_code
            counts = code is own or (bool(inside) and inside[-1])
            if counts and code is not _WRAPPER and (module := module_of(code)) is not None:
                counts = not spoken(module, language)
                if counts and (function := function_of(module, code)) is not None:
                    found.add(function)
            inside.append(counts)
        elif event == "return" and inside:
            inside.pop()

    # A copy: what the test keeps, and the properties it has calculated, stay behind.
    with _profiled(hook):
        check(replace(test))
    return found


@contextmanager
def _profiled(hook: object) -> Iterator[None]:
    before = sys.getprofile()
    sys.setprofile(hook)  # type: ignore[arg-type]
    try:
        yield
    finally:
        sys.setprofile(before)


def spoken(module: str, language: tuple[str, ...]) -> bool:
    """Whether a module belongs to the language."""
    return any(module == each or module.startswith(each + "/") for each in language)


def module_of(code: CodeType) -> str | None:
    """The module a function is written in; none outside the package."""
    path = Path(code.co_filename)
    return path.relative_to(PACKAGE).with_suffix("").as_posix() if (
        path.is_relative_to(PACKAGE)) else None


def function_of(module: str, code: CodeType) -> Function | None:
    """The outermost function that holds this code; none for a lambda that stands alone."""
    for function in _functions(module):
        if function.decorated <= code.co_firstlineno <= function.last:
            return function
    return None


@cache
def _functions(module: str) -> list[Function]:
    """Every function and method of a module, without those inside others."""
    found: list[Function] = []

    def look(node: ast.AST, within: str) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.FunctionDef):
                decorated = min([child.lineno, *(each.lineno for each in child.decorator_list)])
                found.append(Function(module, within + child.name, decorated, child.lineno,
                                      child.end_lineno or child.lineno))
            else:
                look(child, f"{child.name}." if isinstance(child, ast.ClassDef) else within)

    look(ast.parse((PACKAGE / f"{module}.py").read_text(encoding="utf-8")), "")
    return found


def table(found: list[Traced]) -> str:
    """One line a check: files and lines without the language, and with it."""
    lines = [f"{'check':28} {'files':>5} {'lines':>5}   {'files':>5} {'lines':>5}  "
             "with the language"]
    for each in sorted(found, key=lambda each: -each.lines(each.own)):
        lines.append(f"{each.id:28} {each.files(each.own):5} {each.lines(each.own):5}   "
                     f"{each.files(each.all):5} {each.lines(each.all):5}")
    own, every = ([each.lines(functions) for each, functions in pairs] for pairs in (
        [(each, each.own) for each in found], [(each, each.all) for each in found]))
    lines.append(f"{'median':28} {'':5} {statistics.median(own):5.0f}   "
                 f"{'':5} {statistics.median(every):5.0f}")
    lines.append(f"most {max(each.files(each.own) for each in found)} files and {max(own)} lines; "
                 f"allowed {MOST_FILES} and {MOST_LINES}, median {MOST_LINES_MEDIAN}")
    return "\n".join(lines)


def listed(one: Traced) -> str:
    """The functions of a check, longest first; those of the language after a line."""
    def lines(found: frozenset[Function]) -> list[str]:
        return [f"{each.lines:4}  {each.module}.{each.name}"
                for each in sorted(found, key=lambda each: -each.lines)]

    return "\n".join([one.id, *lines(one.own), "      -- the language", *lines(one.all - one.own)])


if __name__ == "__main__":
    wanted = sys.argv[1:]
    checks = traced()
    print("\n\n".join(listed(each) for each in checks if each.id in wanted)
          if wanted else table(checks))
