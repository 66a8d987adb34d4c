"""Changeovers from status series whose outcome is plain to see."""

from __future__ import annotations

import pandas as pd

from fptlib.procedure.episodes import changeovers
from fptlib.procedure.status import any_running, running


def series(text: str) -> pd.Series:
    index = pd.date_range("2026-01-10", periods=len(text), freq="min", tz="America/Denver")
    values = {"0": 0.0, "1": 1.0, ".": float("nan")}
    return pd.Series([values[letter] for letter in text], index=index)


def minutes(commanded: str, chillers: str) -> list[tuple[int | None, ...]]:
    command = series(commanded)
    start = command.index[0]

    def minute(moment: pd.Timestamp | None) -> int | None:
        return None if moment is None else int((moment - start).total_seconds() // 60)

    return [(minute(c.request), minute(c.handover), minute(c.exit), minute(c.abandoned))
            for c in changeovers(command, series(chillers))]


def test_request_handover_and_exit() -> None:
    assert minutes("0011111100", "1111000111") == [(2, 4, 7, None)]


def test_exit_before_the_command_goes_off() -> None:
    assert minutes("0011111110", "1111000111") == [(2, 4, 7, None)]


def test_chiller_starts_shortly_after_the_command_goes_off() -> None:
    assert minutes("0011110000", "1111000011") == [(2, 4, 8, None)]


def test_all_in_one_row() -> None:
    assert minutes("0011110000", "1100001111") == [(2, 2, 6, None)]


def test_abandoned_attempt() -> None:
    assert minutes("0011110000", "1111111111") == [(2, None, None, 6)]


def test_run_before_the_trends_begin_has_no_request() -> None:
    assert minutes("1111100000", "0000011111") == [(None, None, 5, None)]


def test_chiller_that_comes_back_ends_the_run_and_the_next_has_no_request() -> None:
    assert minutes("0011111111", "1110001100") == [(2, 3, 6, None), (None, 8, None, None)]


def test_gap_hides_and_nothing_is_invented() -> None:
    assert minutes("0011111100", "11...00111") == [(2, None, 7, None)]


def test_one_unknown_chiller_leaves_the_plant_unknown() -> None:
    table = pd.DataFrame({"a": series("0011"), "b": series("0..0")})
    assert any_running(table).tolist()[0] == 0.0
    assert pd.isna(any_running(table).iloc[1])
    assert any_running(table).tolist()[2:] == [1.0, 1.0]


def test_power_proves_running_where_status_is_not_trended() -> None:
    power = pd.DataFrame({"chiller_1_power": series("0011") * 200.0 + 2.0})
    found = running(power, 1)
    assert found is not None and found.tolist() == [0.0, 0.0, 1.0, 1.0]
    assert running(power, 2) is None
