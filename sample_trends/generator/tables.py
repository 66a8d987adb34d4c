"""The tables of changeovers in the samples' README, from the generator's own truth."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd

from sample_trends.generator.run import Event, Result

_STARTS = "request"
_COLUMNS = ("request", "handover", "recovered", "exit")
_HEAD = "| no. | request | handover | setpoint back | exit | remark |\n|---|---|---|---|---|---|"


def changeover_table(result: Result) -> str:
    """One row for each request, as Markdown."""
    rows: list[list[Event]] = []
    for event in result.truth:
        if event.kind == _STARTS:
            rows.append([])
        if rows:
            rows[-1].append(event)
    return "\n".join([_HEAD, *(_row(n, events) for n, events in enumerate(rows, start=1))])


def _row(number: int, events: list[Event]) -> str:
    times = {event.kind: _minute(event.time) for event in events}
    told = (e for e in events if e.kind in ("trip", "abandoned"))
    remark = "; ".join(f"{e.kind} {_minute(e.time)} ({e.detail})" for e in told)
    cells = [str(number), *(times.get(kind, "none") for kind in _COLUMNS), remark]
    return "| " + " | ".join(cells) + " |"


def _minute(time: pd.Timestamp) -> str:
    return f"{time:%Y-%m-%d %H:%M}"


def write_table(readme: Path, name: str, table: str) -> None:
    """Replace the table between the marks of that name."""
    text = readme.read_text(encoding="utf-8")
    pattern = re.compile(rf"(<!-- changeovers: {name} -->\n).*?(<!-- end -->)", re.DOTALL)
    new = pattern.sub(lambda marks: f"{marks[1]}{table}\n{marks[2]}", text)
    readme.write_bytes(new.encode("utf-8"))
