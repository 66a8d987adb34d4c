"""Lines of the settings sheet that rest on power and on freezing weather, not on the path from
chillers to exchanger; each says "not known" with the reason where the trends do not carry it, and
is withheld where the replayed sequence does otherwise."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fptlib.procedure import power_models, savings, uncertainty
from fptlib.procedure.approach_curves import tower_curve
from fptlib.procedure.cold import water_minimum
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.measures import median
from fptlib.procedure.replay import Replay
from fptlib.procedure.sequence import ECONOMIZER

WITHHELD, UNKNOWN = "none given", "not known"


@dataclass(frozen=True)
class Line:
    """One setting, in words with its unit; ``group`` is the step whose checks answer for it."""

    group: str
    name: str
    specified: str
    found: str
    recommended: str
    why: str
    valid: str


def on_cost(test: FunctionalTest, specified: str) -> Line:
    """The comparative exit: what chillers draw for each ton over the load, and at which wet bulb
    the exchanger comes to draw as much; the replay leaves by it."""
    name = "comparative exit: leave when the plant draws more per ton on the exchanger than"
    models = power_models.models(test)
    if models is None:
        return Line("exit", name, specified, "–", UNKNOWN, power_models.problem(test), "–")
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
        return Line("exit", name, specified, "–", UNKNOWN,
                    "chillers were never seen near the exchanger's loads", "–")
    return Line("exit", name, specified, "–", f"{', '.join(said)}, for {delay:.0f} min",
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
    hours = float(less.sum()) * test.minutes / 60.0
    return Line("", "all of them: hours on the exchanger that they add to this record", "–", "–",
                str(savings.lost(test, more, reset)),
                f"the sequence replayed; {hours:.1f} h that the plant ran on the exchanger are not "
                "in it", "–")
