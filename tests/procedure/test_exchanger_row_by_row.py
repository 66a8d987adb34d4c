"""UA of the exchanger, row by row: a clean one reads clean however flow and load swing.

The waters are drawn with the effectiveness of a counterflow exchanger (Kays and London, Compact
Heat Exchangers) and 500 gpm.°F of heat capacity per gpm, worked out here.
"""

from __future__ import annotations

from dataclasses import replace

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest
from drawn_plant import at

from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import judge
from fptlib.procedure.verdict import Verdict

BTU = 500.0
# At the drawn plant's design: 1000 gpm, 58 to 48 and 45 to 55 °F, so 3 °F at both ends.
CLEAN = 1000.0 * BTU * 10.0 / 3.0


def leaving(hot: np.ndarray, cold: np.ndarray, hot_flow: np.ndarray, cold_flow: np.ndarray,
            ua: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Hot and cold water leaving a counterflow exchanger [degF]."""
    small, large = np.minimum(hot_flow, cold_flow), np.maximum(hot_flow, cold_flow)
    ratio, units = np.minimum(small / large, 0.999999), ua / (BTU * small)
    decay = np.exp(-units * (1.0 - ratio))
    heat = (1.0 - decay) / (1.0 - ratio * decay) * small * (hot - cold)
    return hot - heat / hot_flow, cold + heat / cold_flow


def swinging(share: float = 1.0, plates: float = 0.0, low: float = 0.5) -> pd.DataFrame:
    """Half a day on the exchanger with flows and load that swing, each in its own time; ``share``
    of the clean UA at design flow (fouling is a resistance of its own), ``plates`` of the clean
    resistance in the plates."""
    table = drawn.frame()
    run = (table.index >= drawn.HANDOVER) & (table.index < drawn.EXIT)
    t = np.arange(run.sum())
    # Twice in three hours the load is high, and then the flow with it.
    high = (t % 90) < 40
    hot_flow = np.where(high, 1000.0, 1000.0 * low) + 30.0 * np.sin(t / 11.0)
    cold_flow = np.where((t % 70) < 40, 1000.0, 700.0)
    films = (hot_flow / 1000.0) ** -0.7 + (cold_flow / 1000.0) ** -0.7
    ua = CLEAN / ((1.0 - plates) / 2.0 * films + plates + 1.0 / share - 1.0)
    cold = table.loc[run, "cw_supply_temp"].to_numpy()
    hot = cold + np.where(high, 13.0, 8.0)
    hot_out, cold_out = leaving(hot, cold, hot_flow, cold_flow, ua)
    columns = {"hx_chw_flow": hot_flow, "hx_cw_flow": cold_flow, "hx_chw_entering_temp": hot,
               "hx_chw_leaving_temp": hot_out, "hx_cw_entering_temp": cold,
               "hx_cw_leaving_temp": cold_out}
    for name, values in columns.items():
        table.loc[run, name] = values
    return table


def case(table: pd.DataFrame, **design: float) -> FunctionalTest:
    exchanger = replace(drawn.PLANT.exchanger, **design)
    return drawn.case(table, plant=replace(drawn.PLANT, exchanger=exchanger))


@pytest.mark.parametrize("low", [0.5, 0.8])
def test_a_clean_exchanger_reads_clean_while_its_flows_swing(low: float) -> None:
    found = judge(case(swinging(low=low)), "running.exchanger")
    assert found.verdict is Verdict.PASS, found.reason
    assert found.measured == pytest.approx(100.0, abs=1.0)


def test_the_share_of_the_plates_counts_where_it_is_stated() -> None:
    found = judge(case(swinging(plates=0.15), plate_share=15.0), "running.exchanger")
    assert found.measured == pytest.approx(100.0, abs=1.0)
    unknown = judge(case(swinging(plates=0.15)), "running.exchanger")
    assert unknown.measured is not None and unknown.uncertainty is not None
    assert abs(unknown.measured - 100.0) < unknown.uncertainty
    assert found.uncertainty is not None and found.uncertainty < unknown.uncertainty


def test_an_exchanger_that_lost_half_its_ua_fails() -> None:
    found = judge(case(swinging(share=0.5)), "running.exchanger")
    assert found.verdict is Verdict.FAIL, found.reason
    assert found.measured == pytest.approx(50.0, abs=3.0)


def test_sensors_within_whose_accuracy_the_waters_cross_decide_nothing() -> None:
    table = swinging()
    run = (table.index >= drawn.HANDOVER) & (table.index < drawn.EXIT)
    ends = table.loc[run, "hx_chw_leaving_temp"] - table.loc[run, "hx_cw_entering_temp"]
    table.loc[run, "hx_chw_leaving_temp"] -= ends - 0.05
    found = judge(case(table), "running.exchanger")
    assert found.verdict is not Verdict.PASS


@pytest.mark.parametrize(("share", "minutes", "verdict"), [
    (0.5, 1, Verdict.FAIL), (1.0, 1, Verdict.PASS), (0.5, 15, Verdict.NOT_TESTED)])
def test_an_exchanger_that_fails_soon_is_judged_by_its_short_run(
    share: float, minutes: int, verdict: Verdict
) -> None:
    """Back at the reset setpoint at 04:35, chillers again at 05:15: no hour to judge the supply by,
    and two samples of a quarter-hour are too few."""
    table = swinging(share=share)
    over = table.index >= at("05:15")
    table.loc[over, ["economizer_command", "economizer_active", "hx_chw_flow", "hx_cw_flow"]] = 0.0
    table.loc[over, ["chiller_1_running", "chiller_1_power"]] = 1.0, 180.0
    test = drawn.case(table, minutes)
    assert test.steady(test.runs[0]) is None
    found = judge(test, "running.exchanger")
    assert found.verdict is verdict, found.reason
    if minutes == 1:
        assert found.measured == pytest.approx(100.0 * share, abs=3.0)
