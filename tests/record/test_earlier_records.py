"""Records that earlier versions signed still verify, print, compare and come out the same."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from fptlib.record import render, retest, signing
from fptlib.record.locate import Located, locate
from fptlib.record.pdf import record_of_pdf
from fptlib.record.trusted_keys import TrustedKeys
from fptlib.record.verify import verify
from fptlib.workbook.sign_off import recalculated
from sample_trends.generator import simulate
from sample_trends.generator.epw import write_epw
from sample_trends.generator.samples import BEFORE, SOUND, WEATHER_FILE
from sample_trends.generator.trend_files import write_trends

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "tests" / "data" / "records"
TRUSTED = TrustedKeys.read(FOLDER / "trusted.jwks")
RECORDS = sorted(path for path in FOLDER.iterdir() if path.suffix in (".json", ".pdf"))
SIGNED_BY = {"before.json": "technician engineer", "sound.json": "technician",
             "exchanger_parallel.json": "technician engineer", "small.pdf": "technician"}
DIGESTS = {
    "before.json": "78a45821a4ba4fe8a7b6c7d32850b17f871ab7b7bf7e1b31ac17b9a273674663",
    "sound.json": "15a99fea347b2eed47c0691e2beaabc0c0612db35965985aecc3b9c7810eb577",
    "exchanger_parallel.json": "ac84e506460192e064aa8f58890a4abd8fbeb92bf0afc561847bc2d6c5dc7d8b",
    "small.pdf": "ded865e4a1dd6f0b9b35c5f81f200218090985643011a15bcbabb0b85d94da24",
}
# Checks that a later version judges otherwise than the one that signed, each with its reason.
JUDGED_OTHERWISE = {
    "recovery.demand": "a peak counts from 5 % above the ordinary one",
    "recovery.stable": "watched for two hours after the recovery instead of one",
    "running.exchanger": "UA row by row, plates only where stated",
    "instruments.heat_balance": "a stated limit, not what the sensors' accuracy explains",
    "instruments.wet_bulb": "the sentence shows the median of the absolute difference",
    "enable.missed": "the uncertainty knows what the approach curves contradict",
    "running.supply": "only rows within the band can take a pass away",
    "lift.setpoint": "by the warmest condenser water within the timing tolerance",
    "exit.equipment": "a limit above what is installed tests nothing",
    "exit.comparative": "below all that chillers ever drew where not compared, a tenth compared",
}


@pytest.fixture(params=RECORDS, ids=lambda path: path.name)
def found(request: pytest.FixtureRequest) -> Located:
    return locate(request.param)


def test_it_verifies(found: Located) -> None:
    checked = verify(found.record, TRUSTED, None)
    assert checked.good, checked.lines()
    assert checked.digest == DIGESTS[found.path.name]
    assert [signer.role for signer in checked.signers] == SIGNED_BY[found.path.name].split()
    assert checked.sent_back is (found.path.name == "exchanger_parallel.json")


def test_it_prints(found: Located) -> None:
    checks = signing.read(found.record).payload["checks"]
    shown = render.html(found.record, {}).decode("utf-8")
    assert all(f"<code>{check['id']}</code>" in shown for check in checks)
    printed = render.pdf(found.record, {})
    assert record_of_pdf(printed) == found.record
    tables = {table.name: table for table in render.tables(signing.read(found.record).payload)}
    assert [row[0] for row in tables["checks"].rows] == [check["id"] for check in checks]
    assert render.to_xlsx(list(tables.values()))


def test_a_retest_and_its_record_are_compared() -> None:
    before, after = (locate(FOLDER / name).record for name in ("before.json", "sound.json"))
    closings = retest.closings(before, after)
    assert len(closings) == 12 and all(closing.closed for closing in closings)
    shown = render.comparison(before, after, {}, {}).decode("utf-8")
    assert "12 of 12 deficiencies are closed by the retest." in shown


@pytest.mark.parametrize("sample", ["before", "sound"])
def test_it_comes_out_the_same_from_its_trends(sample: str, tmp_path: Path) -> None:
    """The plants of the day changed over as the one before the correction still does: the
    exchanger opened at once and the chillers stopped two minutes later."""
    now = {"before": BEFORE, "sound": SOUND}[sample]
    then = replace(now, sequence=replace(now.sequence, exchanger_opening=0.4, stop_spacing=2))
    write_trends(simulate(then).frame, tmp_path / "trends")
    write_epw(tmp_path / "trends" / WEATHER_FILE, then.site, then.seed)
    of = locate(FOLDER / f"{sample}.json")
    compared = recalculated(of, tmp_path / "trends")
    recorded = {check["id"] for check in signing.read(of.record).payload["checks"]}
    differ = [difference.line() for difference in compared
              if difference.check in recorded and not difference.same
              and difference.check not in JUDGED_OTHERWISE]
    assert recorded <= {difference.check for difference in compared}
    assert differ == []
