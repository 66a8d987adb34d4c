"""The record's last page, in an owner's words: what the economizer brings, what was lost, what a
year and two degrees of setpoint are worth, demand, water, emissions and money, each with its
uncertainty, and what is not known."""

from __future__ import annotations

import numpy as np

from fptlib.answer import answers_of
from fptlib.job.schema import DEMAND, ENERGY, Plant
from fptlib.procedure import (
    approaches,
    enable,
    load_model,
    peaks,
    power_models,
    reset,
    savings,
    tariff,
    tower_water,
    year,
)
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.measures import median
from fptlib.procedure.verdict import NotTested

_NO_YEAR = ("not known: the job has no weather file of a typical year; put an EPW file of a nearby "
            "station into trends/ and name it in the plan")
_PEAK = "What is the highest demand, with and without it?"
_NO_APPROACH = "not known: the approaches are neither stated nor to be seen in the trends"


def worth(test: FunctionalTest) -> list[dict[str, str]]:
    """Questions of an owner with their answers, in order."""
    days = f"{len(test) * test.minutes / 1440.0:.0f} days"
    rows = {f"What did the economizer save in these {days}?": _gained(test),
            "What was lost while chillers ran and it could have carried the load?": _lost(test),
            **_of_year(test), **_demand(test),
            "How much water do the towers take in economizer mode?": _water(test),
            "What are the emissions?": _emissions(test)}
    if found := power_models.models(test):
        rows["What does this rest on?"] = (
            f"the plant's own readings at the same load and weather, chillers against exchanger: "
            f"{found}; load: {load_model.fit(test) or 'not known'}")
    rows["How sure is it?"] = (
        "± is where the truth lies in nineteen cases of twenty. Energy is that of chillers, tower "
        "fans and pumps. Holidays and next year's weather are not known.")
    rows["What is it in money?"] = _money(test)
    return [{"question": question, "answer": answer} for question, answer in rows.items()]


def _money(test: FunctionalTest) -> str:
    if not tariff.lines(test.tariff, ENERGY):
        return ("not stated: no price was given. Multiply the kWh by the energy price of the "
                "season and hour; demand charges are not in it.")
    return (f"stated beside the kWh, at the price of each hour by the lines of the rate sheet"
            f"{f' {test.tariff.schedule}' if test.tariff.schedule else ''}. Demand charges are "
            "stated apart; taxes, riders that are no line, and holidays are not in it.")


def _demand(test: FunctionalTest) -> dict[str, str]:
    """The highest demand of the record and of a typical year, and what demand charges lose."""
    if test.missing("request", "chillers", "demand") or power_models.problem(test):
        return {_PEAK: "not known: " + (power_models.problem(test) or "power is not trended")}
    try:
        found = peaks.of_record(test)
    except NotTested as error:
        return {_PEAK: f"not known: {error}"}
    window = answers_of(Plant)["demand_window"].shown(test.plant.demand_window)
    rows = {_PEAK: f"{found}; {window} of {test.limits['recovery.demand_interval']:g} min" if found
            else "not known: too few hours of load and weather, or none on the exchanger"}
    if test.weather is None or not _has_line(test) or not (profile := peaks.power_of_year(test)):
        return rows
    rows["What is its highest hour of a typical year?"] = peaks.of_year(
        profile, peaks.one_hour(test))
    rows |= {f"What does it take off the demand charge {charge.name}?":
             peaks.charge_saved(test, profile, charge) + (
                 peaks.of_changeover(test, found, charge) if found else "")
             for charge in tariff.lines(test.tariff, DEMAND)}
    return rows


def _water(test: FunctionalTest) -> str:
    """What the towers evaporated on the exchanger, in the record and in a typical year."""
    if problem := tower_water.problem(test):
        return f"not known: {problem}"
    rows = (test.commanded == 1.0) & (test.chillers_on == 0.0)
    found = tower_water.evaporated(test, test.load[rows], test["outdoor_dry_bulb"][rows],
                                   test.wet_bulb[rows], test.minutes / 60.0)
    if found is None:
        return "not known: no load on the exchanger was trended"
    said = f"on the exchanger alone {tower_water.stated(test, found)}"
    if found.more is not None:
        said += (f"; on chillers {100.0 * found.more:.0f} % more at the same load, for their own "
                 "heat is rejected too")
    if test.weather is None or not _has_line(test):
        return said
    hours = year.hours(test, reset.setpoint_of_year(test)).counted
    found = tower_water.evaporated(
        test, year.weather_load(test)[hours], np.asarray(test.weather["outdoor_dry_bulb"])[hours],
        year.weather_wet_bulb(test)[hours], 1.0)
    return f"{said}; in a typical year {tower_water.stated(test, found)}" if found else said


def _emissions(test: FunctionalTest) -> str:
    """Emissions of the energy saved, by the factor that the owner states."""
    stated = test.tariff
    if stated.emission_factor is None or not stated.emission_source:
        return ("not stated: no emission factor was given with its source; it is a matter of the "
                "grid and the year")
    if test.missing("request", "chillers") or not (found := savings.gained(test)).amount:
        return "not known: the energy saved is not known"
    kilos = [stated.emission_factor * (each or 0.0) for each in (found.kwh, found.uncertainty)]
    return (f"{savings.within(*kilos)} kg CO2 less in this record, at "
            f"{stated.emission_factor:g} kg/kWh ({stated.emission_source})")


def _gained(test: FunctionalTest) -> str:
    if missing := test.missing("request", "chillers"):
        return f"not known: not trended: {', '.join(missing)}"
    return str(savings.gained(test))


def _lost(test: FunctionalTest) -> str:
    if missing := test.missing(*enable.missed.needs):
        return f"not known: not trended: {', '.join(missing)}"
    if not approaches.known(test):
        return _NO_APPROACH
    return str(savings.lost(test, enable.lost_rows(test)))


def _has_line(test: FunctionalTest) -> bool:
    return not test.missing("chw_supply_setpoint", "outdoor_dry_bulb") and bool(
        len(reset.reset_line(test)[0]))


def _of_year(test: FunctionalTest) -> dict[str, str]:
    """A typical year as the setpoint is reset now, and two degrees more of it."""
    asked = "What does it save in a typical year, as the setpoint is reset now?"
    if test.weather is None:
        return {asked: _NO_YEAR}
    if not _has_line(test):
        return {asked: "not known: the trends show no reset line"}
    setpoint = median(test["chw_supply_setpoint"])
    more = reset.worth_of(test, setpoint, 2.0)
    if more is None:
        return {asked: _NO_APPROACH}
    line = reset.setpoint_of_year(test)
    why = year.why_apart(test, line)
    return {asked: year.stated(test, line),
            **({"Why two numbers of hours?": why} if why else {}),
            f"What are 2 °F more chilled-water setpoint worth, from {setpoint:.0f} °F on?":
            "in a typical year, where the air handlers and the humidity of the rooms allow it: "
            f"{more}"}
