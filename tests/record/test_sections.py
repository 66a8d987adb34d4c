"""What the pages say so that each reader needs no other: plain names, the site's clock, a work
order that is whole, nothing said twice."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest
import record_support as support

from fptlib import points
from fptlib.job.tables import labelled
from fptlib.procedure.verdict import Verdict
from fptlib.record import sections
from fptlib.record.report import report
from fptlib.record.text import site_moment

CAUSES = "Likely no ramp, then a ramp set too steep: ramp it. See the settings sheet."
SHEET = {"verdict": "feasible", "reason": "", "helps": [], "not_replayed": "", "disagreements": [],
         "lines": [{"group": group, "name": name, "specified": "", "found": "", "why": "",
                    "recommended": value, "valid": "", **effect} for group, name, value, effect in (
                        # A record made before has no effect.
                        ("recovery", "largest rise in ten minutes", "1.6 °F", {}),
                        ("exit", "exit delay", "17 min",
                         {"effect": "against the limit: gains 0.3 h"}))]}


@pytest.mark.parametrize(("moment", "zone", "said"), [
    ("2026-01-20T20:17:00+00:00", "America/Denver", "2026-01-20 13:17 -07:00 (20:17 UTC)"),
    ("2026-01-21T03:17:00+00:00", "America/Denver",
     "2026-01-20 20:17 -07:00 (2026-01-21 03:17 UTC)"),
    ("2026-01-20T20:17:00+00:00", "", "2026-01-20 20:17 +00:00"),
    ("2026-01-20T20:17:00+00:00", "No/Where", "2026-01-20 20:17 +00:00"),
    ("2026-01-20T20:17:00", "America/Denver", "2026-01-20 20:17"),
    ("2026-01-20", "America/Denver", "2026-01-20"),
    ("last week", "America/Denver", "last week"), (None, "America/Denver", "")])
def test_a_signed_moment_stands_on_the_sites_clock(moment: Any, zone: str, said: str) -> None:
    assert site_moment(moment, zone) == said


def test_points_have_their_plain_names() -> None:
    assert points.plain("not trended: hx_chw_pressure_drop, chiller_2_running") == (
        "not trended: chilled-water pressure drop of the exchanger, chiller 2 running")
    assert points.plain("CH_2 and chw_supply_temp_of_others") == (
        "CH_2 and chw_supply_temp_of_others")


def made(folder: Path) -> dict[str, Any]:
    rows = ({"load, tons": 200.0, "approach, °F": 1.8}, {"load, tons": 230.0, "approach, °F": 1.8})
    first = support.make_check().events[0]
    events = tuple(dataclasses.replace(first, quantities=row) for row in rows)
    check = support.make_check(adjust=CAUSES, events=events)
    same = support.make_check("recovery.duration", adjust=CAUSES)
    unproven = support.make_check("lift.flow", Verdict.NOT_TESTED, events=(), adjust="",
                                  reason="not trended: chw_flow",
                                  meaning="Nothing is proven: not trended: chw_flow.")
    content = {**support.make_payload(support.make_job(folder), [check, same, unproven]),
               "settings_sheet": SHEET}
    record = support.signed(content, support.make_keys(), ("technician",))
    return report(record, {"recovery": support.png()})


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    return made(tmp_path_factory.mktemp("pages") / "job")


def blocks(shown: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [block for section in shown["sections"] for block in section["blocks"]
            if block["kind"] == kind]


def test_a_work_order_says_each_thing_once(shown: dict[str, Any]) -> None:
    first, second = ({row[0]["text"]: row[1]["text"] for row in table["rows"]}
                     for table in blocks(shown, "table")
                     if table["caption"].startswith("Deficiency D"))
    assert first["Likely causes"] == "1. no ramp\n2. a ramp set too steep"
    assert first["Recommended"] == "Ramp it. See the settings sheet."
    assert first["Settings sheet"] == "largest rise in ten minutes: 1.6 °F"
    assert first["Steps to repeat"] == "Setpoint recovery"
    assert "Picture" not in first and second["Picture"] == "with deficiency D1"
    # On the first page and with its deficiency; the step does not show it again.
    assert [figure["key"] for figure in blocks(shown, "figure")] == ["recovery"] * 2


def test_the_settings_sheet_says_what_each_setting_brings_where_the_record_has_it(
        shown: dict[str, Any]) -> None:
    table = next(each for each in blocks(shown, "table")
                 if each["caption"].startswith("Settings sheet"))
    assert [row[-1]["text"] for row in table["rows"]] == ["–", "against the limit: gains 0.3 h"]


def test_answers_stand_in_the_order_of_the_forms() -> None:
    signed = {"chw_flow": 800, "cw_flow": 900, "load": 320, "tag": "HX-1"}
    assert [label for label, _ in labelled("plant.exchanger", signed)] == [
        "Tag", "Load", "Chilled-water flow", "Condenser-water flow"]


def test_the_test_stands_before_the_signatures_and_what_recalculates_it_behind(
        shown: dict[str, Any]) -> None:
    titles = [section["title"] for section in shown["sections"]]
    assert titles[0] == "1  At a glance" and titles[-1].endswith("Trends and files")
    signed = next(n for n, title in enumerate(titles) if title.endswith("  Signatures"))
    assert not any(title.startswith("A") for title in titles[:signed])
    assert all(title.startswith("A") for title in titles[signed + 1:])
    assert titles[signed + 1] == "A1  Every check"


def test_checks_that_are_not_proven_for_one_reason_stand_together() -> None:
    rows = [{"question": f"Q{n}?", "verdict": verdict, "reason": reason} for n, (verdict, reason)
            in enumerate([("pass", ""), ("not tested", "not trended: chw_flow"),
                          ("indeterminate", "too near; but it rests on a doubt"),
                          ("not tested", "not trended: chw_flow")])]
    assert sections._unproven(rows) == [
        ["Q2?", Verdict.INDETERMINATE, "too near"],
        ["Q1?\nQ3?", Verdict.NOT_TESTED, "not trended: chilled-water flow of the plant"]]


def test_a_check_says_each_thing_once(shown: dict[str, Any]) -> None:
    checks = {check["id"]: check for check in blocks(shown, "check")}
    events, = checks["recovery.rate"]["events"]
    assert events["caption"] == "In every event: approach, °F = 1.8"
    assert events["head"] == ["Changeover", "When", "What was seen", "load, tons"]
    assert [[cell["text"] for cell in row] for row in events["rows"]] == [
        ["2", "2026-01-12 06:10 to 06:40", "the setpoint rose 5.10 degF in ten minutes", load]
        for load in ("200", "230")]
    flow = checks["lift.flow"]
    assert flow["reason"] == "not trended: chilled-water flow of the plant"
    assert flow["meaning"] == ""
