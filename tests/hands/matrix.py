"""Every fault at every plant hand and interval: found, undecided, missed, false.

    python tests/hands/matrix.py                         prints one row a fault
    python tests/hands/matrix.py --hand third            of one hand alone
    python tests/hands/matrix.py --only hasty --open     of what has this in its name; with reasons
    python tests/hands/matrix.py --interval 15           at these rows alone
    python tests/hands/matrix.py --guide                 writes the summary into DEVELOPERS.md

The first hand is the fault library of ``tests/faults`` (each fault at the base plant and at one
more in turn); the second and, where its simulator is installed, the third have a folder here.
*Undecided*: the check that must fail is indeterminate or says why it cannot be tested. *Unseen*: of
these, the rows are longer than the product asks for beforehand (``trend_request.provable``).
*False*: a check fails and nothing that is true of the plant breaks it.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from itertools import cycle
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FIRST_HAND = ROOT / "tests" / "faults"
for _folder in (ROOT, FIRST_HAND, ROOT / "tests" / "support"):
    if str(_folder) not in sys.path:
        sys.path.append(str(_folder))

from fptlib.procedure.trend_request import longest_rows  # noqa: E402
from tests.hands.expected import ASTRAY, MUST, allowed  # noqa: E402
from tests.hands.judged import HAND_OF, INTERVALS, Judged, Said, judged  # noqa: E402

HANDS = ("first", "second", "third")
GUIDE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- matrix: begin -->\n", "<!-- matrix: end -->\n"
TESTED = {"pass", "fail", "indeterminate"}


@dataclass
class Row:
    """What came of one fault (or of a sound plant: no ``must``) at a hand's plants.

    ``found``, ``undecided``, ``missed`` count what must fail, by interval, ``unseen`` of the
    undecided what no such row can show; ``left`` says why. ``false`` are the false fails (check,
    interval, plant); ``tested`` and ``open`` count the checks judged and left indeterminate where
    nothing is wrong with what they ask; ``contrary`` are checks that pass at one interval and fail
    at another; ``astray`` failed at another moment than the true one.
    """

    hand: str
    fault: str
    must: str = ""
    found: Counter[int] = field(default_factory=Counter)
    undecided: Counter[int] = field(default_factory=Counter)
    unseen: Counter[int] = field(default_factory=Counter)
    left: list[str] = field(default_factory=list)
    missed: Counter[int] = field(default_factory=Counter)
    tested: Counter[int] = field(default_factory=Counter)
    open: Counter[int] = field(default_factory=Counter)
    false: list[tuple[str, int, str]] = field(default_factory=list)
    contrary: list[tuple[str, str]] = field(default_factory=list)
    astray: list[tuple[str, int, str]] = field(default_factory=list)
    by_check: Counter[tuple[str, str, int]] = field(default_factory=Counter)

    def must_fail(self, ids: Iterable[str], said: dict[str, Said], minutes: int) -> None:
        """Count whether any of ``ids`` finds the fault."""
        verdicts = {said[id].verdict for id in ids if id in said}
        into = (self.found if "fail" in verdicts
                else self.missed if verdicts <= {"pass", "not applicable"} else self.undecided)
        into[minutes] += 1
        if into is not self.found:
            self.unseen[minutes] += all(said[id].blind for id in ids if id in said)
            self.left += [f"    {minutes} min, {id}: {said[id].verdict}: {said[id].reason}"
                          for id in ids if id in said]
        # Of checks that answer for it together, one that finds it is enough.
        found = {id for id in ids if id in said and said[id].verdict == "fail"}
        for id in found or set(ids) & set(said):
            self.by_check[id, "must", minutes] += 1
            self.by_check[id, "found", minutes] += id in found

    def others(self, said: dict[str, Said], may: set[str], minutes: int, plant: str) -> None:
        """Count the checks that have no reason to fail."""
        for id, what in said.items():
            if id in may or what.verdict not in TESTED:
                continue
            self.tested[minutes] += 1
            self.open[minutes] += what.verdict == "indeterminate"
            for verdict in ("sound", what.verdict):
                self.by_check[id, verdict, minutes] += 1
            if what.verdict == "fail":
                self.false.append((id, minutes, plant))

    def compare(self, said: dict[int, dict[str, Said]], plant: str) -> None:
        """Note the checks that pass at one interval and fail at another."""
        for id in next(iter(said.values())):
            if {"pass", "fail"} <= {each[id].verdict for each in said.values()}:
                self.contrary.append((id, plant))

    @property
    def line(self) -> str:
        def each(count: Counter[int]) -> str:
            return "/".join(str(count[minutes]) for minutes in INTERVALS)

        false = Counter(minutes for _, minutes, _ in self.false)
        return (f"{self.hand:7} {self.fault:32} {each(self.found):>9} {each(self.undecided):>9} "
                f"{each(self.unseen):>9} "
                f"{each(self.missed):>9} {each(false):>9} {len(self.contrary):4} "
                f"{len(self.astray):4}  {self.must}")


def scenario_row(case: Judged) -> Row:
    """The row of one scenario of the second or third hand."""
    expected = sorted(case.scenario.expected & set(MUST))
    ids = " | ".join(" or ".join(f"{id}" for id in sorted(MUST[kind])) for kind in expected)
    row = Row(HAND_OF[case.name], case.name,
              ids or ("nothing" if case.scenario.sound else "no check asks"))
    for minutes, said in case.said.items():
        for kind in expected:
            row.must_fail(MUST[kind], said, minutes)
            row.astray += [(id, minutes, case.name) for id in sorted(MUST[kind] & set(said))
                           if _astray(case, kind, said[id], minutes)]
        row.others(said, allowed(case.kinds), minutes, case.name)
    row.compare(case.said, case.name)
    return row


def _astray(case: Judged, kind: str, said: Said, minutes: int) -> bool:
    """Whether a check failed and none of its failures touches a true moment of the kind."""
    true = [(first - minutes, last + minutes + ASTRAY.get(kind, 0))
            for what, first, last in case.truth if what == kind]
    return bool(said.failures) and not any(
        begin <= last and end >= first for begin, end in said.failures for first, last in true)


def first_row(fault: str, plants: tuple[str, ...], intervals: tuple[int, ...] = INTERVALS) -> Row:
    """The row of one fault of the first hand's library at some of its plants."""
    from faulty_case import Run
    from moments import moments

    entry = Run(fault, plants[0]).entry
    must = entry.fails if entry else ()
    row = Row("first", fault or "sound", " | ".join(must) or "nothing")
    may = {*must, *(entry.may_fail + entry.indeterminate if entry else ())}
    for plant in plants:
        run, said = Run(fault, plant), {}
        for minutes in intervals:
            checks = run.checks(minutes)
            longest = longest_rows(run.case(minutes))
            said[minutes] = {id: Said(str(check.verdict), check.reason, (),
                                      minutes > longest.get(id, minutes))
                             for id, check in checks.items()}
            for id in must:
                row.must_fail((id,), said[minutes], minutes)
                within = run.result.frame.index[minutes] - run.result.frame.index[0]
                failures = [e for e in checks[id].events if str(e.verdict) == "fail"]
                if failures and not any(moment.holds(event.start, within) for event in failures
                                        for moment in moments(run, id)):
                    row.astray.append((id, minutes, plant))
            row.others(said[minutes], may, minutes, plant)
        row.compare(said, plant)
    return row


def first_hand() -> Iterator[tuple[str, tuple[str, ...]]]:
    """Each fault at the base plant and one other in turn; no fault at all of them."""
    from library import FAULTS
    from plants import PLANTS

    base, *others = [plant.name for plant in PLANTS]
    yield "", (base, *others)
    for entry, other in zip(FAULTS, cycle(others), strict=False):
        yield entry.name, (base, other)


def _row(what: tuple[str, tuple[str, ...]] | str, intervals: tuple[int, ...] = INTERVALS) -> Row:
    return (scenario_row(judged(what, intervals)) if isinstance(what, str)
            else first_row(*what, intervals))


def matrix(hands: Iterable[str] = HANDS, only: str = "", intervals: tuple[int, ...] = INTERVALS
           ) -> list[Row]:
    """Every row of faults with ``only`` in their name, worked out on all cores."""
    todo: list[tuple[str, tuple[str, ...]] | str] = []
    todo += [each for each in first_hand() if only in each[0]] if "first" in hands else ()
    todo += [name for name, hand in HAND_OF.items() if hand in hands and only in name]
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(partial(_row, intervals=intervals), todo))


def shown(rows: list[Row]) -> str:
    """The whole table as text."""
    head = (f"{'hand':7} {'fault':32} {'found':>9} {'undecided':>9} {'unseen':>9} {'missed':>9} "
            f"{'false':>9} "
            f"{'ctr':>4} {'off':>4}  must fail (at {'/'.join(map(str, INTERVALS))} min)")
    return "\n".join([head, *(row.line for row in rows)])


def summary(rows: list[Row]) -> str:
    """The guide's table: totals by hand and interval, and what is wrong by name."""
    lines = ["| hand | interval | faults found | of those that such rows can show | undecided "
             "| missed | sound checks that fail | sound checks undecided |",
             "| --- | --- | --- | --- | --- | --- | --- | --- |"]
    for hand in dict.fromkeys(row.hand for row in rows):
        for minutes in INTERVALS:
            lines.append(_total(hand, minutes, [row for row in rows if row.hand == hand]))
    lines += ["", *_named("Missed or undecided at one minute", _open_at_one(rows)),
              *_named("Beyond what rows can show, as the product says beforehand", _unseen(rows)),
              *_named("Undecided in longer rows", _open_beyond_one(rows)),
              *_named("False fails", _false(rows)),
              *_named("Contradictions between intervals", {
                  f"`{id}` {row.fault}" for row in rows for id, _ in row.contrary}),
              *_named("Failed at another moment than the true one", {
                  f"`{id}` {row.fault}" for row in rows for id, _, _ in row.astray}),
              *_named("True and asked by no check", {
                  row.fault for row in rows if row.must == "no check asks"}),
              "", *_by_check(rows)]
    return "\n".join(lines) + "\n"


def _by_check(rows: list[Row]) -> list[str]:
    """A row for every check: what it measures, what it needs, and how often it was wrong."""
    from fptlib.procedure.steps import STEPS

    total: Counter[tuple[str, str, int]] = Counter()
    for row in rows:
        total.update(row.by_check)

    def rates(id: str, what: str, of: str) -> str:
        return " ".join(f"{total[id, what, at]}/{total[id, of, at]}" for at in INTERVALS)

    lines = ["Each check at 1, 5 and 15 minutes, over all hands. What it cannot know: it is not "
             "tested without these points, and undecided at so many plants sound in what it asks.",
             "",
             "| check | what is measured | not tested without | undecided of sound "
             "| false fails of sound | faults found |", "| --- | --- | --- | --- | --- | --- |"]
    for each in (check for step in STEPS for check in step.checks):
        measured = " ".join((each.function.__doc__ or "").split())
        needs = ", ".join(f"`{need}`" for need in each.needs) or "–"
        lines.append(f"| `{each.id}` | {measured} | {needs} | "
                     f"{rates(each.id, 'indeterminate', 'sound')} | "
                     f"{rates(each.id, 'fail', 'sound')} | {rates(each.id, 'found', 'must')} |")
    return lines


def _total(hand: str, minutes: int, rows: list[Row]) -> str:
    found, undecided, unseen, missed, tested, left = (
        sum(getattr(row, name)[minutes] for row in rows)
        for name in ("found", "undecided", "unseen", "missed", "tested", "open"))
    every = found + undecided + missed
    false = sum(1 for row in rows for _, at, _ in row.false if at == minutes)
    return (f"| {hand} | {minutes} min | {found} of {every} | {found} of {every - unseen} "
            f"({100 * found / (every - unseen):.0f} %) | {undecided} | {missed} | "
            f"{false} of {tested} ({100 * false / tested:.1f} %) | "
            f"{100 * left / tested:.0f} % |")


def _open_at_one(rows: list[Row]) -> set[str]:
    return {f"{row.fault} ({row.must})" for row in rows if row.undecided[1] or row.missed[1]}


def _unseen(rows: list[Row]) -> set[str]:
    return {f"{row.fault} ({', '.join(str(at) for at in INTERVALS if row.unseen[at])} min)"
            for row in rows if row.unseen.total()}


def _open_beyond_one(rows: list[Row]) -> set[str]:
    at = {row.fault: [each for each in INTERVALS[1:] if row.undecided[each] > row.unseen[each]]
          for row in rows}
    return {f"{fault} ({', '.join(map(str, open_at))} min)" for fault, open_at in at.items()
            if open_at}


def _false(rows: list[Row]) -> set[str]:
    at: dict[tuple[str, str], list[int]] = {}
    for row in rows:
        for id, minutes, plant in row.false:
            at.setdefault((id, f"{row.fault}" if plant == row.fault else f"{row.fault} at {plant}"),
                          []).append(minutes)
    return {f"`{id}` {where} ({', '.join(map(str, minutes))} min)"
            for (id, where), minutes in at.items()}


def _named(title: str, what: set[str]) -> list[str]:
    return [f"* {title}: {'; '.join(sorted(what)) or 'none'}."]


def guide_with(new: str) -> str:
    """The contributor guide with the summary in its place."""
    before, rest = GUIDE.read_text(encoding="utf-8").split(BEGIN)
    return before + BEGIN + new + END + rest.split(END)[1]


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    asked.add_argument("--hand", action="append", choices=HANDS)
    asked.add_argument("--only", default="", help="faults with this in their name")
    asked.add_argument("--interval", action="append", type=int, choices=INTERVALS)
    asked.add_argument("--open", action="store_true", help="say why a fault is undecided")
    asked.add_argument("--guide", action="store_true", help="write the summary into the guide")
    given = asked.parse_args()
    found = matrix(given.hand or HANDS, given.only, tuple(given.interval or INTERVALS))
    print(shown(found))
    if given.open:
        print("\n".join(line for row in found for line in (row.fault, *row.left) if row.left))
    elif not (given.only or given.interval):
        print(summary(found))
    if given.guide and not (given.hand or given.only or given.interval):
        GUIDE.write_text(guide_with(summary(found)), encoding="utf-8", newline="\n")
