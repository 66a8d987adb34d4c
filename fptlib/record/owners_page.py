"""The record's last page, in an owner's words: what the economizer brings, what was lost, what a
year and two degrees of setpoint are worth, each with its uncertainty, and what is not known."""

from __future__ import annotations

from fptlib.procedure import approaches, enable, load_model, power_models, reset, savings, year
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.measures import median

_NO_YEAR = ("not known: the job has no weather file of a typical year; put an EPW file of a nearby "
            "station into trends/ and name it in the plan")
_NO_APPROACH = "not known: the approaches are neither stated nor to be seen in the trends"


def worth(test: FunctionalTest) -> list[dict[str, str]]:
    """Questions of an owner with their answers, in order."""
    days = f"{len(test) * test.minutes / 1440.0:.0f} days"
    rows = {f"What did the economizer save in these {days}?": _gained(test),
            "What was lost while chillers ran and it could have carried the load?": _lost(test),
            **_of_year(test)}
    if found := power_models.models(test):
        rows["What does this rest on?"] = (
            f"the plant's own readings at the same load and weather, chillers against exchanger: "
            f"{found}; load: {load_model.fit(test) or 'not known'}")
    rows["How sure is it?"] = (
        "± is where the truth lies in nineteen cases of twenty. Energy is that of chillers, tower "
        "fans and pumps. Holidays and next year's weather are not known.")
    rows["What is it in money?"] = (
        "not stated: no price was given. Multiply the kWh by the energy price of the season and "
        "hour; demand charges are not in it.")
    return [{"question": question, "answer": answer} for question, answer in rows.items()]


def _gained(test: FunctionalTest) -> str:
    if missing := test.missing("request", "chillers"):
        return f"not known: not trended: {', '.join(missing)}"
    return str(savings.gained(test))


def _lost(test: FunctionalTest) -> str:
    if missing := test.missing(*enable.missed.needs):
        return f"not known: not trended: {', '.join(missing)}"
    if not (approaches.tower(test) and approaches.exchanger(test)):
        return _NO_APPROACH
    return str(savings.lost(test, enable.lost_rows(test)))


def _of_year(test: FunctionalTest) -> dict[str, str]:
    """A typical year as the setpoint is reset now, and two degrees more of it."""
    asked = "What does it save in a typical year, as the setpoint is reset now?"
    if test.weather is None:
        return {asked: _NO_YEAR}
    if test.missing("chw_supply_setpoint", "outdoor_dry_bulb") or not len(
            reset.reset_line(test)[0]):
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
            f"{more} a year, where the air handlers and the humidity of the rooms allow it"}
