"""Lines of the settings sheet that rest on power, approach curves and freezing weather, not on the
path from chillers to exchanger; each says "not known" with the reason where the trends do not carry
it, and is withheld where the replayed sequence does otherwise."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fptlib.physics.guideline36 import condenser_return, predicted_leaving
from fptlib.procedure import approaches, power_models, savings, uncertainty
from fptlib.procedure.approach_curves import exchanger_curve, tower_curve
from fptlib.procedure.cold import water_minimum
from fptlib.procedure.feasibility import water_lift_needed
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.measures import median
from fptlib.procedure.replay import Replay
from fptlib.procedure.sequence import ECONOMIZER, Settings

WITHHELD, UNKNOWN = "none given", "not known"
ON_COST = "comparative exit: leave when the plant draws more per ton on the exchanger than"
ENABLE = "highest outdoor wet bulb at which the economizer may be enabled"
ON_CHILLERS = "condenser-water return setpoint on chillers, °F above the chilled-water setpoint"
# By Guideline 36 the exchanger alone carries the plant where its predicted leaving temperature is
# so far below the setpoint [degF].
STAGE_MARGIN = 1.0
# A load counts as seen up to so much above the most that was (common practice, no source).
NEAR = 1.02


@dataclass(frozen=True)
class Line:
    """One setting, in words with its unit; ``group`` is the step whose checks answer for it,
    ``effect`` what it brings alone."""

    group: str
    name: str
    specified: str
    found: str
    recommended: str
    why: str
    valid: str
    effect: str = "–"


@cached
def break_even(test: FunctionalTest) -> tuple[float, str]:
    """From which run length on [min], its uncertainty added, a changeover has paid for itself, and
    what that rests on; 0 and the reason where it is not known.

    What the plant drew from the enable until the last chiller stopped, above what chillers draw at
    the same load, over what the exchanger saves. An attempt given up has no run to pay for it.
    """
    alone = (test.commanded == 1.0) & (test.chillers_on == 0.0) & ~test.changing
    gain, saved = savings.brought(test, alone), savings.saved_by_row(test)
    downs = [] if saved is None else [
        each.pull_down for each in test.requests if each.transition is not None
        and each.end > each.row and not np.isnan(saved[each.pull_down]).any()]
    cost, unknown = savings.brought(test, test.within(downs)), "break-even run length not known: "
    if saved is None or not downs or gain.kw is None or gain.uncertainty is None:
        return 0.0, unknown + (gain.problem or (
            "no settled hour on the exchanger was seen" if downs else
            "no pull-down was seen through at loads at which chillers were seen"))
    assert cost.kwh is not None and cost.uncertainty is not None
    kw, kw_doubt, count = gain.kw, gain.uncertainty / gain.known, len(downs)
    if kw <= kw_doubt:
        return 0.0, unknown + f"the exchanger saves {kw:.0f} ± {kw_doubt:.0f} kW, perhaps nothing"
    each = [-float(saved[rows].sum()) * test.minutes / 60.0 for rows in downs]
    spread = uncertainty.COVERAGE * float(np.std(each, ddof=1)) / count**0.5 if count > 1 else 0.0
    kwh, doubt = -cost.kwh / count, math.hypot(cost.uncertainty / count, spread)
    several = f"{count} seen, {min(each):.0f} to {max(each):.0f} kWh"
    # One line for chillers is in both: what makes the cost larger makes the saving smaller.
    length = 60.0 * max(kwh, 0.0) / kw
    known = 60.0 * (doubt / kw + abs(kwh) * kw_doubt / kw**2)
    return length + known, (
        f"a changeover draws {kwh:.0f} ± {doubt:.0f} kWh more than chillers at the same load until "
        f"the last one stops ({several if count > 1 else 'one seen'}), the exchanger "
        f"then saves {kw:.0f} ± {kw_doubt:.0f} kW: a run pays from {length:.0f} ± {known:.0f} min "
        "on")


def enable_line(test: FunctionalTest, s: Settings, reset: np.ndarray) -> Line:
    """The highest wet bulb at which the economizer may be enabled over the range of the reset, at
    the load at which the plant changes over, or the least seen above it: an approach as stated, or
    by its curve where that shows more."""
    fixed = test.sequence.enable.wet_bulb
    specified = "–" if fixed is None else f"{fixed:.1f} °F, whatever the reset setpoint"
    tower, exchanger = tower_curve(test), exchanger_curve(test)
    if tower is None or exchanger is None:
        return Line("enable", ENABLE, specified, "–", UNKNOWN, "the trends show no approach curve "
                    f"of the {'towers' if tower is None else 'exchanger'}: too few steady hours on "
                    "the exchanger, or points not trended", "–")
    usual, (low, high) = approaches.usual(test, test.load), tower.seen
    least, most = exchanger.seen[:, 0]
    tons = np.array(max(usual, least))
    tons = np.maximum(tons, tons * low[1] / tower.range_at(tons))
    flow = tons * median(exchanger.points[:, 1] / exchanger.points[:, 0])
    valid = (f"wet bulb {low[0]:.0f} to {high[0]:.0f} °F, {min(tons, most):.0f} to {most:.0f} "
             "tons, where the approach curves were seen")
    if not (tons <= NEAR * most and tower.range_at(tons) <= NEAR * high[1]):
        return Line("enable", ENABLE, specified, "–", UNKNOWN, "the plant changes over at "
                    f"{usual:.0f} tons, more than the approach curves were seen at", valid)
    least_tower, least_exchanger = (0.0 if each is None else each.value for each in (
        test.plant.tower_approach, test.plant.exchanger_approach))
    air = np.linspace(low[0], high[0], 50)
    fall = np.maximum(least_tower, tower.approach(air, tons))
    plate = max(least_exchanger, float(exchanger.approach(tons, flow)))
    needed = air + fall + s.tower_tolerance + plate + s.exchanger_tolerance
    doubt = np.hypot(np.hypot(tower.uncertainty(air, tons), exchanger.uncertainty(tons, flow)),
                     approaches.enable_sensors(test))
    setpoints = dict.fromkeys(np.round(np.linspace(np.nanmin(reset), np.nanmax(reset), 4), 1))
    return Line("enable", ENABLE, specified, "–", "; ".join(
        _highest(setpoint, air, needed, doubt) for setpoint in setpoints),
        f"reset setpoint minus exchanger approach {plate:.1f}, tolerances "
        f"{s.exchanger_tolerance:.1f} and {s.tower_tolerance:.1f}, and a tower approach of "
        f"{fall[-1]:.1f} to {fall[0]:.1f} °F at {tons:.0f} tons (the plant changes over at "
        f"{usual:.0f}){_by_guideline(test, setpoints)}", valid)


def _by_guideline(test: FunctionalTest, setpoints: Iterable[float]) -> str:
    """The same by the stage test of Guideline 36, for comparison; empty without stated
    approaches."""
    stated = test.plant.tower_approach, test.plant.exchanger_approach
    if stated[0] is None or stated[1] is None:
        return ""
    above = float(predicted_leaving(0.0, 1.0, stated[0].value, stated[1].value)) + STAGE_MARGIN
    return ("; for comparison, ASHRAE Guideline 36, 5.20.4.15, without tuning and with the "
            "approaches as stated: " + "; ".join(
                f"{each - above:.1f} °F at {each:.1f}" for each in setpoints))


def _highest(setpoint: float, air: np.ndarray, needed: np.ndarray, doubt: np.ndarray) -> str:
    """The wet bulb whose needed setpoint is this one, where the curves were seen."""
    if setpoint < needed[0] or setpoint > needed[-1]:
        beyond = f"below {air[0]:.0f}" if setpoint < needed[0] else f"above {air[-1]:.0f}"
        return (f"not known at a reset setpoint of {setpoint:.1f} ({beyond} °F wet bulb, where the "
                "towers were not seen)")
    per_degree = (needed[-1] - needed[0]) / (air[-1] - air[0])
    highest, known = (float(np.interp(setpoint, needed, each)) for each in (air, doubt))
    return (f"{highest:.1f} ± {known / per_degree:.1f} °F at a reset setpoint of {setpoint:.1f}")


def water_on_chillers(test: FunctionalTest, reset: np.ndarray, lowest: float) -> Line:
    """The condenser-water return setpoint while chillers carry the load: a lift over their load
    between the minimum and that of design, by Guideline 36."""
    design, needed = test.plant.cw_return_design, water_lift_needed(test, lowest)
    seen = np.full(1, np.nan) if test.missing("cw_return_temp", "request", "chillers") else (
        test["cw_return_temp"] - reset)[test.chiller_mode & ~test.changing]
    found = "–" if np.isnan(seen).all() else (
        f"observed {np.nanpercentile(seen, 5):.0f} to {np.nanpercentile(seen, 95):.0f} °F above it")
    least = float(np.nanmin(reset))
    if design is None or isinstance(needed, str) or design - least <= needed:
        why = (needed if isinstance(needed, str) else "the plan states no design condenser-water "
               "return temperature" if design is None else f"{design:.0f} °F at design leaves less "
               f"than the minimum lift of {needed:.1f} °F")
        return Line("running", ON_CHILLERS, "–", found, UNKNOWN, why, "–")
    lifts = (f"{float(condenser_return(0.0, part, needed, design - least)):.1f} at {part:.0%}"
             for part in (1.0, 0.5, 0.25, 0.0))
    return Line("running", ON_CHILLERS, "–", found, f"{', '.join(lifts)} of the chillers' capacity",
                f"ASHRAE Guideline 36, 5.20: from the minimum lift of {needed:.1f} °F to that of "
                f"design, {design:.0f} less {least:.1f} °F", "on chillers alone: not in the "
                "pull-down, nor in economizer mode")


def on_cost(test: FunctionalTest, specified: str) -> Line:
    """The comparative exit: what chillers draw for each ton over the load, and at which wet bulb
    the exchanger comes to draw as much; the replay leaves by it."""
    models = power_models.models(test)
    if models is None:
        return Line("exit", ON_COST, specified, "–", UNKNOWN, power_models.problem(test), "–")
    delay = test.limits["exit.comparative_delay"]
    (low, least), (high, most) = models.exchanger.seen
    setpoint = median(test.reset_setpoint[(test.commanded == 1.0) & ~test.changing])
    air, said, reached = np.linspace(setpoint - most, setpoint - least, 50), [], []
    for tons in np.linspace(low, high, 3):
        at = np.full(50, tons), np.full(50, setpoint)
        chillers, doubt = models.on_chillers(*at)[0], models.chillers_error(*at)
        dearer = air[models.on_exchanger(*at, air) >= chillers]
        if math.isfinite(chillers):
            said.append(f"{chillers / tons:.2f} ± {doubt / tons:.2f} kW/ton at {tons:.0f} tons")
            reached += [f"from {dearer[0]:.0f} °F wet bulb on at {tons:.0f} tons"] if len(
                dearer) else []
    if not said:
        return Line("exit", ON_COST, specified, "–", UNKNOWN,
                    "chillers were never seen near the exchanger's loads", "–")
    return Line("exit", ON_COST, specified, "–", f"{', '.join(said)}, for {delay:.0f} min",
                f"what chillers draw there at a setpoint of {setpoint:.0f} °F; by the trends the "
                f"exchanger draws as much {', '.join(reached) or 'nowhere that was seen'}",
                f"{low:.0f} to {high:.0f} tons, wet bulb {air[0]:.0f} to {air[-1]:.0f} °F")


def fans_in_frost(test: FunctionalTest, replay: Replay | None) -> Line:
    """Fan speed in freezing weather, by the condenser water that the towers must not go below."""
    freezing = test.limits["cold.air"]
    name = f"tower fans in freezing weather (outdoor air at or below {freezing:.0f} °F)"
    if missing := test.missing("outdoor_dry_bulb", "cw_supply_temp", "tower_{n}_fan_speed"):
        return Line("cold", name, "–", "–", UNKNOWN, f"not trended: {', '.join(missing)}", "–")
    frost = test["outdoor_dry_bulb"] <= freezing
    if not frost.any():
        return Line("cold", name, "–", "–", UNKNOWN, "no freezing weather in these trends", "–")
    least = math.ceil(2.0 * (water_minimum(test) + uncertainty.expanded(
        test, {"cw_supply_temp": 1.0}))) / 2.0
    speeds = np.concatenate([test[f"tower_{n}_fan_speed"][frost] for n in test.tower_numbers])
    seen = "–" if np.isnan(speeds).all() else (
        f"observed {np.nanmin(speeds):.0f} to {np.nanmax(speeds):.0f} %")
    coldest = math.inf if replay is None else float(np.nanmin(replay.condenser[frost]))
    if coldest < least:
        return Line("cold", name, "–", seen, WITHHELD, "in freezing weather the replayed condenser "
                    f"water goes down to {coldest:.1f} °F, below {least:.1f}", "–")
    reach, valid = _full_fans(test, frost & (test.commanded == 1.0), least)
    return Line("cold", name, "–", seen,
                f"above {test.limits['running.fan_minimum']:.0f} % only with condenser water at or "
                f"above {least:.1f} °F; at minimum or off below",
                f"the minimum of {water_minimum(test):.1f} °F and what the sensor is known to; "
                f"{reach}", valid)


def _full_fans(test: FunctionalTest, rows: np.ndarray, least: float) -> tuple[str, str]:
    """What full fans would make of the coldest of these rows, and the highest speed that it
    leaves."""
    curve = tower_curve(test)
    load = np.full(len(test), np.nan) if test.missing("load") else test.load
    given = test.wet_bulb[rows], load[rows]
    water = np.full(1, np.nan) if curve is None else given[0] + curve.approach(*given)
    if curve is None or np.isnan(water).all():
        return "what full fans would make of it is not known", "highest speed not known"
    at = int(np.nanargmin(water))
    doubt = float(np.broadcast_to(curve.uncertainty(*given), water.shape)[at])
    return (f"full fans would make it {water[at]:.1f} ± {doubt:.1f} °F at the coldest seen",
            "up to 100 %, in the weather and at the load seen" if water[at] - doubt >= least else
            "highest speed not known: no curve is sure below half speed")


def effect(test: FunctionalTest, replay: Replay, reset: np.ndarray) -> Line:
    """What the settings bring over this record, by the function that record and screening use."""
    more = (replay.mode == ECONOMIZER) & test.chiller_mode
    less = (replay.mode != ECONOMIZER) & (test.commanded == 1.0) & (test.chillers_on == 0.0)
    gone = f"; takes away {savings.brought(test, less)}" if less.any() else ""
    return Line("", "all of them together, hours on the exchanger in this record", "–", "–",
                f"adds {savings.lost(test, more, reset)}{gone}", "in this record the sequence "
                "replayed against what the plant did (hours taken away were run outside of these "
                "settings); in a typical year against the sequence with the settings as found",
                "–")
