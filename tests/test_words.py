"""What users read uses the trade's words: every sentence of the library, the words of the checks,
README, worked example and the notebooks' text. Ids such as ``enable.dwell`` stand in signed records
and stay."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
# What the trade does not say, and what it says instead (common practice, no source).
WORDS = {
    r"\bgo(es)? over\b(?! (its|the) limit)|\bwent over\b": "changes over",
    r"\b[Ww]ay (in|out)\b(?!,)": "entering, leaving economizer mode",
    r"(?<![\w.`])handover\b(?![.\w`])": "transition to the exchanger",
    r"(?<![\w.`])dwell\b": "enable delay",
    r"minimum stay|(?<![.\w])attempts\b": "minimum run time; changeovers",
    r"(?<![.\w])conductance\b": "UA",
    r"\bmaker'?s?'?\b": "manufacturer",
    r"\bcut-out": "cutout",
    r"\bhand switch|\bheld by hand|\bby hand\b(?! at once)": "overridden, HOA switch",
    r"\bcalm\b|ran away|without a rush|worn by": "steady state; drifted off; ramped; cycling",
    r"power per ton": "kW/ton",
    r"[Ww]orked out|[Cc]omputed anew": "calculated, recalculated",
    r"\bmend(s|ed)?\b": "correct",
    r"stood (above|below|too)": "was above",
    r"\blet go\b|given back": "released",
    r"louvre|colour|pressurise": "louver, color, pressurized",
    r"for so long": "for at most, for",
    r"\bsent back|\bSENT BACK|is told\b": "returned for correction; shown",
    r"read back": "verified in AUTO",
    r"\b(the|each|a|without a) request\b(?! for)(?! of files)": "economizer enable",
    r"leave of the owner|most equipment for|what must be so": "permission; maximum; prerequisites",
    r"\bexit one of these reasons\b|starve": "valid cause; lose oil return",
}
FOUND = {re.compile(pattern): instead for pattern, instead in WORDS.items()}


def documentation(tree: ast.AST) -> set[int]:
    """The strings nobody but a maintainer reads: docstrings, and strings that stand alone."""
    return {id(node.value) for node in ast.walk(tree)
            if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)}


def in_code(path: Path) -> Iterator[tuple[str, str]]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    silent = documentation(tree)
    for node in ast.walk(tree):
        if (isinstance(node, ast.Constant) and isinstance(node.value, str)
                and id(node) not in silent and " " in node.value.strip()):
            yield f"{path.relative_to(ROOT)}:{node.lineno}", node.value


def in_text(path: Path) -> Iterator[tuple[str, str]]:
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        yield f"{path.relative_to(ROOT)}:{number}", line


def in_notebook(path: Path) -> Iterator[tuple[str, str]]:
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
        if cell["cell_type"] == "markdown":
            yield str(path.relative_to(ROOT)), "".join(cell["source"])


def read_by_users() -> Iterator[tuple[str, str]]:
    for path in sorted((ROOT / "fptlib").rglob("*.py")):
        yield from in_code(path)
    for name in ("README.md", "workbooks/worked_example.md", "workbooks/own_procedure.md",
                 "fptlib/procedure/words.toml"):
        yield from in_text(ROOT / name)
    for path in sorted((ROOT / "workbooks").glob("*.ipynb")):
        yield from in_notebook(path)


def test_users_read_the_words_of_the_trade() -> None:
    wrong = [f"{place}: '{match[0]}', say {instead}: {text.strip()[:90]!r}"
             for place, text in read_by_users()
             for pattern, instead in FOUND.items() if (match := pattern.search(text))]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("sentence", [
    "the supply stood above setpoint", "correct what it says; mend that line",
    "the dwell before the request", "the exchanger's conductance", "it was sent back",
    "Attempts and minimum stay of the plant", "cut-out of chiller 1"])
def test_the_scan_finds_them(sentence: str) -> None:
    assert any(pattern.search(sentence) for pattern in FOUND)
