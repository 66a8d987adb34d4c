"""Prices by the lines of a rate sheet, demand as it is billed, and the same money everywhere.

Worked values: those of the reference tables of demand charges (DEM-20 to DEM-27), computed there
with plain arithmetic or pandas; the ratchet's rule is that of PNNL's FEDS ("What is a demand
ratchet?").
Rates and prices are invented.
"""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import time
from pathlib import Path

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest

from fptlib.errors import JobError
from fptlib.job import answers
from fptlib.job.folder import Job
from fptlib.job.schema import DEMAND, ENERGY, RIDER, Charge, Tariff
from fptlib.portfolio.screening import hours
from fptlib.procedure import enable, load_model, peaks, savings, tariff
from fptlib.procedure.assemble import assemble
from fptlib.procedure.measures import interval_demand
from fptlib.record import owners_page

SHARED = Path(os.environ.get("FPTLIB_SHARED") or Path(__file__).parents[3] / "shared")
YEAR = np.datetime64("2026-01-01T00", "h") + np.arange(8760)
MONTHS = np.array([620, 610, 640, 700, 880, 1120, 1250, 1190, 1010, 760, 650, 630], dtype=float)
SUMMER = {"first_month": "June", "last_month": "September"}


def energy(name: str, price: float, **line: object) -> Charge:
    return Charge(name=name, kind=ENERGY, price=price, **line)


def demand(price: float = 12.0, **line: object) -> Charge:
    return Charge(name="demand", kind=DEMAND, price=price, **line)


def rider(name: str, price: float, **line: object) -> Charge:
    return Charge(name=name, kind=RIDER, price=price, **line)


FLAT = Tariff(currency="USD", charges=(energy("all hours", 0.1),))


@pytest.mark.parametrize(("interval", "window", "peak"), [
    (15.0, "clock", 2030 / 3), (15.0, "sliding", 2030 / 3), (30.0, "clock", 575.0),
    (30.0, "sliding", 1780 / 3)])
def test_dem_20_five_minute_means(interval: float, window: str, peak: float) -> None:
    power = np.array([400.0] * 4 + [420, 520, 640, 700, 690, 560, 450, 410] + [400.0] * 6)
    found = interval_demand(power, 5.0, interval, window, 13 * 60.0).power
    assert found.max() == pytest.approx(peak, abs=1e-6)
    assert power.sum() / 12.0 == pytest.approx(699.166667, abs=1e-6)


@pytest.mark.parametrize(("window", "peak"), [("clock", 800.0), ("sliding", 900.0)])
def test_dem_21_a_block_depends_on_the_utilitys_clock(window: str, peak: float) -> None:
    power = np.array([600.0] * 7 + [900.0] * 3 + [600.0] * 2)
    assert interval_demand(power, 5.0, 15.0, window, 0.0).power.max() == pytest.approx(peak)


@pytest.mark.parametrize(("day", "energy", "expected"), [
    ("atlanta_eff_default", 128.1691, {15: (12.56809, 14.16392), 30: (9.96697, 12.10613),
                                       60: (9.88296, 10.26732)}),
    ("buffalo_eff_typshldr", 70.5709, {15: (5.97189, 8.08855), 30: (5.81536, 6.47636),
                                       60: (5.62642, 5.68959)})])
def test_dem_26_and_27_a_laboratorys_days(
    day: str, energy: float, expected: dict[int, tuple[float, float]]
) -> None:
    """Chillers, pumps and fans of a public laboratory, one-minute means in W; block and rolling
    demand computed with pandas."""
    file = SHARED / "real_trends" / f"laboratory_{day}.csv.gz"
    if not file.is_file():
        pytest.skip(f"{file.name} is not in the shared folder (set FPTLIB_SHARED)")
    parts = [*(f"ch{n}_power" for n in (1, 2)), *(f"pump{n}_power" for n in (1, 2, 3, 4)),
             *(f"ahu{n}_fan_power" for n in (1, 2))]
    power = pd.read_csv(file, usecols=parts).sum(axis=1).to_numpy() / 1000.0
    assert power.sum() / 60.0 == pytest.approx(energy, abs=1e-4)
    for interval, peaks_ in expected.items():
        found = [interval_demand(power, 1.0, interval, window, 0.0).power.max()
                 for window in ("clock", "sliding")]
        assert found == pytest.approx(peaks_, abs=1e-5)


@pytest.mark.parametrize(("line", "total"), [
    ({"ratchet": 80.0}, 12_570), ({"ratchet": 60.0}, 10_710), ({"ratchet": 50.0}, 10_080),
    ({"ratchet": 75.0, "ratchet_first": "June", "ratchet_last": "September"}, 12_070),
    ({}, MONTHS.sum())])
def test_dem_22_and_23_a_ratchet_over_the_year(line: dict[str, object], total: float) -> None:
    found = tariff.billed(demand(**line), np.arange(24) % 12, np.tile(MONTHS, 2))[12:]
    assert found.sum() == pytest.approx(total, abs=1e-6)
    assert (found >= MONTHS).all()


def test_dem_24_a_test_that_sets_a_peak_is_billed_for_eleven_months_more() -> None:
    """1400 kW in February at 14 a kW and month: 18,900 of it, 5,600 in the month itself."""
    from_march = np.roll(MONTHS, -2)
    months, line = (np.arange(24) + 2) % 12, demand(ratchet=80.0)
    usual = np.concatenate([from_march, from_march])
    tested = usual.copy()
    tested[11] = 1400.0
    extra = (tariff.billed(line, months, tested) - tariff.billed(line, months, usual)) * 14.0
    assert extra[11:23].sum() == pytest.approx(18_900.0, abs=1e-6)
    assert extra[11] == pytest.approx(5_600.0, abs=1e-6)


def test_dem_25_lines_add_up_as_on_a_bill() -> None:
    """On-peak 820 kW at 14.00 and all-hours 1010 kW at 5.50: 17,035 a month."""
    on_peak = demand(14.0, days="weekdays",
                     hours_from=time(15), hours_to=time(20))
    power = np.full(8760, 500.0)
    power[24 * 5 + 16], power[24 * 5 + 9] = 820.0, 1010.0
    every = demand(5.5)
    january = YEAR < np.datetime64("2026-02-01")
    assert sum(each.price * power[tariff.counts(each, YEAR) & january].max()
               for each in (on_peak, every)) == pytest.approx(17_035.0)


def test_hours_days_and_months_of_a_line() -> None:
    line = energy("on-peak", 0.2, days="weekdays", hours_from=time(22),
                  hours_to=time(6), first_month="November", last_month="February")
    here = YEAR[tariff.counts(line, YEAR)]
    assert set(tariff.months_of(here)) == {10, 11, 0, 1}
    assert {int(str(at)[11:13]) for at in here} == {22, 23, 0, 1, 2, 3, 4, 5}
    # 2026-01-03 and 04 are Saturday and Sunday.
    assert np.datetime64("2026-01-02T23") in here and np.datetime64("2026-01-03T23") not in here
    assert np.datetime64("2026-01-05T00") in here and np.datetime64("2026-01-04T05") not in here


def test_an_hour_that_no_line_prices_has_no_price() -> None:
    prices = tariff.energy_prices(Tariff(currency="EUR", charges=(
        energy("summer", 0.2, **SUMMER), rider("fuel adjustment", 0.01))),
        YEAR)
    assert np.isnan(prices[0]) and prices[24 * 200] == pytest.approx(0.21)
    case = replace(drawn.case(), tariff=Tariff(currency="EUR", charges=(
        energy("summer", 0.2, **SUMMER),)))
    assert "no line of the rate sheet prices energy at" in savings.gained(case).money


@pytest.mark.parametrize(("lines", "when"), [
    ((energy("all hours", 0.1), energy("on-peak", 0.2, hours_from=time(14), hours_to=time(20),
                                       days="weekdays", **SUMMER)), "14:00 on a Friday in June"),
    ((energy("night", 0.1, hours_from=time(22), hours_to=time(6, 1)),
      energy("day", 0.2, hours_from=time(6), hours_to=time(22))), "06:00 on a Monday in January")])
def test_two_lines_that_price_one_hour_stop_the_job(lines: tuple[Charge, ...], when: str) -> None:
    with pytest.raises(JobError, match=f"both price energy at {when}") as raised:
        tariff.with_one_price(Tariff(currency="USD", charges=lines))
    assert "'rider'" in str(raised.value)
    apart = (*lines[1:], rider(lines[0].name, lines[0].price))
    assert tariff.with_one_price(Tariff(currency="USD", charges=apart)).charges == apart


def test_without_currency_or_price_there_is_only_energy() -> None:
    for stated in (Tariff(), Tariff(currency="USD"), replace(FLAT, currency="")):
        found = savings.gained(replace(drawn.case(), tariff=stated))
        assert found.kwh and not found.money and "USD" not in str(found)


def test_money_is_energy_times_price_with_the_energys_uncertainty() -> None:
    found = savings.gained(replace(drawn.case(), tariff=FLAT))
    assert found.kwh is not None and found.uncertainty is not None
    assert found.cost == pytest.approx(0.1 * found.kwh)
    assert found.money == savings.within(0.1 * found.kwh, 0.1 * found.uncertainty) + " USD"


def test_each_row_has_the_price_of_its_own_hour() -> None:
    """Half of the hours at twice the price, against a plain sum over the rows."""
    night = rider("night", 0.1, hours_from=time(0), hours_to=time(12))
    case = replace(drawn.case(), tariff=replace(FLAT, charges=(*FLAT.charges, night)))
    rows, saved = savings.economizer_rows(case), savings.saved_by_row(case)
    assert saved is not None
    expected = sum(saved[row] * (0.2 if case.time(row).hour < 12 else 0.1) / 60.0
                   for row in np.flatnonzero(rows & ~np.isnan(saved)))
    assert savings.gained(case).cost == pytest.approx(expected)


def test_record_owner_and_screening_say_the_same_money() -> None:
    case = replace(drawn.case(), tariff=FLAT)
    lost = savings.lost(case, enable.lost_rows(case))
    assert str(lost) in " ".join(row["answer"] for row in owners_page.worth(case))
    assert lost.money and hours(case).money == lost.money


def test_a_change_of_the_clocks_moves_the_price() -> None:
    """At the second Sunday of March 02:00 is 03:00 (America/Denver)."""
    table = drawn.frame()
    table.index = table.index + (np.datetime64("2026-03-07") - np.datetime64("2026-01-10"))
    case = drawn.case(table)
    assert load_model.local_times(case).tolist() == [
        case.time(row).replace(tzinfo=None) for row in range(len(case))]


# -- peaks -------------------------------------------------------------------------------------


def profile(with_it: np.ndarray, without: np.ndarray, economizer: np.ndarray) -> peaks.Year:
    return peaks.Year(with_it, without, economizer, YEAR)


def test_a_month_on_chillers_has_one_peak_and_a_month_without_has_two() -> None:
    economizer = tariff.months_of(YEAR) == 0
    without = np.full(8760, 300.0)
    found = profile(np.where(economizer, 100.0, without), without, economizer).months(
        np.ones(8760, dtype=bool))
    assert found[0].tolist() == [100.0, 300.0] and found[6].tolist() == [300.0, 300.0]


def test_a_month_with_unknown_hours_is_known_only_where_they_cannot_matter() -> None:
    """Chillers are known at 300 kW and unknown in one hour: above what the economizer's hours
    take in either mode the peak is the same, below them it is not known."""
    economizer = np.arange(8760) % 24 < 6
    without = np.where(economizer, 250.0, 300.0)
    without[12] = np.nan
    every = np.ones(8760, dtype=bool)
    same = profile(np.where(economizer, 100.0, without), without, economizer)
    assert np.isinf(same.month(0, every)).all()
    assert peaks.of_year(same, 5.0).startswith("no lower with the economizer")
    higher = np.where(economizer, 350.0, without)
    open_ = profile(np.where(economizer, 100.0, higher), higher, economizer)
    assert np.isnan(open_.month(0, every)).all()
    assert peaks.of_year(open_, 5.0) == (
        "not known: the trends did not show the load and weather of January")


@pytest.mark.parametrize("sample", ["sound", "before"])
def test_a_few_nights_colder_than_the_trends_saw_hide_no_peak(sample: str) -> None:
    """The samples' year has 49 hours down to 8 °F where the trends saw 15: their load, level in the
    cold, is known well enough to say that every month peaks on chillers."""
    profile = peaks.power_of_year(assemble(Job(f"sample_trends/{sample}"), keep=False))
    assert profile is not None
    assert peaks.of_year(profile, 5.0).startswith("no lower with the economizer")


def test_the_records_peak_is_measured_with_and_modelled_without() -> None:
    case = drawn.case()
    found = peaks.of_record(case)
    assert found is not None
    assert found.with_it == pytest.approx(interval_demand(
        case.demand, 1.0, 15.0, "clock", 0.0).power.max())
    assert found.without == pytest.approx(found.with_it)
    assert str(found).endswith("it falls on chillers in either case")


def test_a_peak_after_an_exit_is_the_changeovers() -> None:
    """Chillers that take the loop's heat within the hour after the exit at 20:16."""
    table = drawn.frame()
    usual = peaks.of_record(drawn.case(table))
    table.loc[drawn.at("20:30") : drawn.at("20:59"), "plant_power"] = 600.0
    found = peaks.of_record(drawn.case(table))
    assert usual is not None and found is not None
    assert found.with_it == 600.0 and found.without == pytest.approx(usual.without)
    assert str(found).endswith("a changeover set it")
    case = replace(drawn.case(table), tariff=FLAT)
    more = found.with_it - found.without
    said = peaks.of_changeover(case, found, demand(10.0, ratchet=80.0))
    assert f"costs {10.0 * more:,.0f} USD in a month" in said and "80 % of the peak" in said
    assert peaks.of_changeover(case, usual, demand(10.0)) == ""


# -- in the file -------------------------------------------------------------------------------


LINE = {"name": "a", "kind": "energy", "price": 0.1}


@pytest.mark.parametrize(("line", "said"), [
    ({"kind": "energy", "price": 0.1}, "name"), ({"name": "a", "price": 0.1}, "kind"),
    ({**LINE, "hours_from": "14:00"}, "one end only"),
    ({**LINE, "hours_from": "14:00", "hours_to": "14:00"}, "leave both empty"),
    ({**LINE, "ratchet": 80}, "belongs to a demand charge"),
    ({**LINE, "season": "summer"}, "is not known; the answers there are"),
    ({**LINE, "first_month": "Juni"}, "is not offered"),
])
def test_a_line_that_cannot_be_used_says_which_and_what_to_do(
    line: dict[str, object], said: str
) -> None:
    with pytest.raises(JobError, match="tariff.charges, line 1") as raised:
        answers.tariff({"tariff": {"charges": [line]}})
    assert said in str(raised.value)
