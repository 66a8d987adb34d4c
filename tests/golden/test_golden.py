"""Every check, event and moment is as the golden file has it.

What parts from it is a change of behaviour: it is written anew (``write.py``) only in a commit
that says why.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import pytest
from golden_cases import Absent, families
from snapshot import compare, load, rows, same
from write import file_of

# One case in so many is compared in the fast tier, other ones every day.
TURNS = 40
CASES = [(family, name) for family, cases in families().items() for name in cases]


def marked() -> Iterator[object]:
    for number, (family, name) in enumerate(CASES):
        fast = family == "samples" or number % TURNS == date.today().toordinal() % TURNS
        marks = () if fast else (pytest.mark.full,)
        yield pytest.param(family, name, marks=marks, id=f"{family}: {name}")


@pytest.mark.parametrize(("family", "name"), list(marked()))
def test_case_is_as_it_was(family: str, name: str) -> None:
    try:
        now = rows(families()[family][name]())
    except Absent as absent:
        pytest.skip(str(absent))
    assert not compare(load(file_of(family))[name], now)


def test_no_case_is_forgotten() -> None:
    kept = [(family, name) for family in families() for name in load(file_of(family))]
    assert sorted(kept) == sorted(CASES)


def test_a_difference_is_found_in_numbers_words_moments_and_rows() -> None:
    old, new = (load(file_of("samples"))["sound"] for _ in range(2))
    check = next(check for check in new["checks"] if len(check["events"]) > 1)
    check["events"][0]["margin"] += 0.001
    check["events"][0]["text"] += "."
    check["events"][0]["start"] = "2026-01-01T00:00:00-07:00"
    new["changeovers"].pop()
    new["checks"].pop()
    parted = compare(old, new)
    assert {one.field for one in parted} == {"margin", "text", "start", "number", "the check"}
    assert len(parted) == 5
    assert same(1000.0, 1000.05) and same(0.0, 0.00005) and not same(1.0, 1.001)
