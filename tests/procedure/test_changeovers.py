"""Changeovers from status series whose outcome is plain to see."""

from __future__ import annotations

import numpy as np

from fptlib.procedure.changeovers import changeovers
from fptlib.procedure.status import any_running, running_by_signals


def status(text: str) -> np.ndarray:
    return np.array([{"0": 0.0, "1": 1.0, ".": np.nan}[letter] for letter in text])


def minutes(commanded: str, chillers: str) -> list[tuple[int | None, ...]]:
    return [(c.enabled, c.transition, c.exit_row, c.abandoned)
            for c in changeovers(status(commanded), status(chillers), 1.0)]


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
    found = any_running([status("0011"), status("0..0")])
    assert found[0] == 0.0 and np.isnan(found[1]) and found[2:].tolist() == [1.0, 1.0]


def test_power_proves_running_where_status_is_not_trended() -> None:
    power = {"chiller_1_power": status("0011") * 200.0 + 2.0}
    found = running_by_signals(power, 1)
    assert found is not None and found.tolist() == [0.0, 0.0, 1.0, 1.0]
    assert running_by_signals(power, 2) is None
