"""On and off, from series whose outcome is plain to see (a letter is one row)."""

from __future__ import annotations

import numpy as np
import pytest

from fptlib.procedure.status import debounce, running_by_signals


def rows(text: str) -> np.ndarray:
    return np.array([{"0": 0.0, "1": 1.0, ".": np.nan}[letter] for letter in text])


def text(status: np.ndarray) -> str:
    return "".join("." if np.isnan(value) else f"{value:.0f}" for value in status)


@pytest.mark.parametrize(("given", "minutes", "expected"), [
    ("0011..1100", 1.0, "0011111100"),
    ("11" + "." * 30 + "11", 1.0, "1" * 34),
    ("11" + "." * 31 + "11", 1.0, "11" + "." * 31 + "11"),
    ("11.....00", 1.0, "111111100"),
    ("11......00", 1.0, "11......00"),
    ("..1100..", 1.0, "..1100.."),
    ("11.00", 60.0, "11100"),
    ("111101111", 1.0, "111111111"),
    ("111100111", 1.0, "111100111"),
    ("111101111", 5.0, "111101111"),
    ("0111", 1.0, "0111"),
    ("00101.1", 1.0, "0000111"),
])
def test_short_gaps_are_held_and_flickers_left_out(
    given: str, minutes: float, expected: str
) -> None:
    # Another signal of the same equipment that did not change.
    still = np.ones(len(given))
    assert text(debounce(rows(given), minutes, [still])[0]) == expected


def test_chatter_that_nothing_contradicts_or_another_signal_follows_is_counted() -> None:
    given = rows("111101111")
    assert text(debounce(given, 1.0)[0]) == "111101111"
    follows, still = given * 180.0 > 0.0, np.ones(9)
    assert text(debounce(given, 1.0, [follows.astype(float)])[0]) == "111101111"
    assert debounce(given, 1.0, [still])[1] == 1


def test_a_heater_in_a_standing_chiller_is_no_running() -> None:
    table = {"chiller_1_power": rows("0011") * 180.0, "chiller_2_power": rows("1111") * 1.0}
    found = running_by_signals(table, 2)
    assert found is not None and text(found) == "0000"


def test_a_status_without_a_value_gives_way_to_power_and_a_gap_in_it_too() -> None:
    power = rows("0110") * 180.0
    silent = {"chiller_1_running": rows("...."), "chiller_1_power": power}
    gappy = {"chiller_1_running": rows("0..1"), "chiller_1_power": power}
    for table, expected in ((silent, "0110"), (gappy, "0111")):
        found = running_by_signals(table, 1)
        assert found is not None and text(found) == expected
    assert running_by_signals({"chiller_1_running": rows("....")}, 1) is None
