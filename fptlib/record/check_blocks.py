"""The checks in full, for whoever recalculates: every event with what its formula was given."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from fptlib import points
from fptlib.job.tables import labelled
from fptlib.procedure.verdict import Verdict
from fptlib.record.blocks import ANSWERS, Block, Content, Figures, figure, table, text
from fptlib.record.text import clean, likelihood, number, offset_of, span
from fptlib.units import shown

# More quantities than this have a table of their own, under that of the events.
_MOST_BESIDE = 4
_CHANGEOVER = "changeover "


def overview(content: Content) -> list[Block]:
    """Every check in one line, and what holds for the pages that follow."""
    usual = offset_of(content["test"]["trended_from"])
    clock = [text(f"Times in the appendix are the site's, UTC{usual}, where no other offset stands "
                  "beside them.")] if usual else []
    return [*table("", {"Check": 44, "Verdict": 15, "Measured": 14, "Limit": 13, "± (k = 2)": 14}, [
        [check["question"], Verdict(check["verdict"]),
         *(shown(value, check["unit"]) for value in (
             check["measured"], check["limit"], check["uncertainty"] or None))]
        for check in content["checks"]]), *clock]


def step(content: Content, of: Content, figures: Figures, shown_before: Collection[str]
         ) -> list[Block]:
    """The checks of one step; a picture that stands with a deficiency is not shown again."""
    left = {name: image for name, image in figures.items() if name not in shown_before}
    usual = offset_of(content["test"]["trended_from"])
    return [
        *(block for check in content["checks"] if check["step"] == of["step"]
          for block in _check(check, left, usual)),
        *figure(of["step"], of["title"], left),
        *table("Answers given in the workbook", ANSWERS,
               labelled(f"answers.{of['step']}", content["answers"].get(of["step"], {}))),
    ]


def _check(check: Content, figures: Figures, usual: str) -> list[Block]:
    numbers = {"Measured": check["measured"], "Limit": check["limit"], "Margin": check["margin"],
               # Zero is what a check without an uncertainty of its own carries: no statement.
               "Uncertainty (k = 2)": check["uncertainty"] or None}
    words = {name: clean(points.plain(check[name]))
             for name in ("id", "question", "reason", "basis", "meaning", "adjust")}
    if words["reason"] in words["meaning"]:
        words["meaning"] = ""
    return [{
        "kind": "check", **words, "verdict": check["verdict"],
        "values": [[label, clean(shown(value, check["unit"]))] for label, value in numbers.items()
                   if value is not None],
        "probability": likelihood(check["probability"]),
        "events": _events(check, usual),
    }, *figure(check["id"], check["question"], figures)]


def _events(check: Content, usual: str) -> list[Block]:
    """Every event, with the quantities of the formula beside it where they fit; what was the same
    in every event is said once."""
    names, same = _quantities(check)
    beside = names if len(names) <= _MOST_BESIDE else []
    # The check's own verdict says it for each of them.
    mixed = any(event["verdict"] != check["verdict"] for event in check["events"])
    ours = all(event["name"].startswith(_CHANGEOVER) for event in check["events"])
    widths = {"Changeover" if ours else "Event": 18, "When": 21,
              "What was seen": 61 - 9 * len(beside) - 12 * mixed,
              **dict.fromkeys(beside, 9), **({"Verdict": 12} if mixed else {})}
    verdict = [[Verdict(event["verdict"])] if mixed else [] for event in check["events"]]
    rows = [[points.plain(event["name"].removeprefix(_CHANGEOVER if ours else "")),
             span(event["start"], event["end"], usual), points.plain(event["text"]),
             *_given(event, beside), *said]
            for event, said in zip(check["events"], verdict, strict=True)]
    shown_here = table(f"In every event: {same}" if same else "", widths, rows)
    if beside or not names:
        return shown_here
    return [*shown_here, *table(
        "How it was calculated", {"Event": 16, **dict.fromkeys(names, max(84 // len(names), 8))},
        [[points.plain(event["name"]), *_given(event, names)]
         for event in check["events"] if event["quantities"]])]


def _given(event: Content, names: list[str]) -> list[str]:
    quantities = event["quantities"]
    return [number(quantities[name]) if name in quantities else "" for name in names]


def _quantities(check: Content) -> tuple[list[str], str]:
    """The quantities that differ between events, and those that do not, in words."""
    known: list[dict[str, Any]] = [event["quantities"] for event in check["events"]
                                   if event["quantities"]]
    given = {name: [number(row.get(name)) for row in known]
             for name in dict.fromkeys(name for row in known for name in row)}
    steady = [name for name, values in given.items() if len(known) > 1 and len(set(values)) == 1]
    if len(steady) == len(given):
        steady = []
    return ([name for name in given if name not in steady],
            "; ".join(f"{name} = {given[name][0]}" for name in steady))
