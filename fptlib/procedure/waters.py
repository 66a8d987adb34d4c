"""Sump, loop, towers and exchanger as a simple balance, so that a replayed sequence has water to
read where the plant itself did something else."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fptlib.physics.sump import LB_PER_GALLON
from fptlib.procedure import approaches
from fptlib.procedure.approach_curves import tower_curve
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.measures import median
from fptlib.procedure.sequence import CHILLERS, ECONOMIZER, Settings
from fptlib.procedure.verdict import NotTested

# Where the sump's volume or the towers' flow is not known, and how quickly a chiller's leaving
# water follows its setpoint [min] (common practice, no source).
USUAL_SUMP, CHILLER_LAG = 15.0, 2.0
# In the pull-down the towers aim so far below what the transition needs [degF].
BELOW = 0.5
# The open exchanger takes so much of the flow from one chiller beside it, where its flow is not
# metered (common practice, no source).
EXCHANGER_SHARE = 0.65
# A ton cools so many lb.degF a minute.
LB_DEGF_PER_TON = 200.0


@dataclass(frozen=True)
class Waters:
    """How sump and loop move: a list has one value a row, temperatures in degF.

    ``reach`` is what the towers reach at full fans, ``exchanger`` the exchanger's approach,
    ``lag`` the sump's time constant [min], ``pace`` the most it moves [degF/min], ``usual`` the
    condenser water while chillers carry the load, ``spare`` how quickly the loop can be cooled
    [degF/min], ``range`` of the condenser in the pull-down and ``beside`` the open exchanger,
    which takes that ``share`` of the flow from the last chiller.
    """

    reach: list[float]
    exchanger: list[float]
    spare: list[float]
    lag: float
    pace: float
    usual: float
    range: float
    beside: float
    share: float
    basis: tuple[str, ...]

    def condenser(self, row: int, now: float, mode: int, reset: float, settings: Settings,
                  minutes: float) -> float:
        """Condenser water a row later."""
        goal = (self.usual if mode == CHILLERS else reset - self.exchanger[row]
                if mode == ECONOMIZER else
                reset - settings.exchanger_approach - settings.margin - BELOW)
        goal, most = max(self.reach[row], goal), self.pace * minutes
        # Full fans cool the sump towards what they reach, and are slowed when it is cold enough.
        far = self.reach[row] if now > goal else goal
        move = min(max((far - now) * -math.expm1(-minutes / self.lag), -most), most)
        return max(now + move, goal) if now > goal else now + move

    def supply(self, row: int, now: float, mode: int, active: float, condenser: float,
               opened: float, minutes: float) -> float:
        """Chilled water a row later: chillers at their setpoint, the exchanger at its approach,
        both mixed while it is ``opened`` by so much."""
        exchanged = condenser + self.exchanger[row]
        mixed = active + self.share * opened * (exchanged - active)
        goal = exchanged if mode == ECONOMIZER else mixed
        move = (goal - now) * -math.expm1(-minutes / CHILLER_LAG)
        return now + (move if mode == ECONOMIZER else max(move, -self.spare[row] * minutes))


@cached
def waters(test: FunctionalTest) -> Waters:
    """Sump, loop, towers and exchanger of this plant, from plan and trends; ``basis`` says from
    what, and what is assumed.

    Raises:
        NotTested: an approach is neither stated nor to be seen.
    """
    said = [f"approaches: {approaches.basis(test)}"]
    tower, curve = approaches.tower(test).seen, tower_curve(test)
    exchanger = approaches.exchanger(test).seen
    load = np.full(len(test), np.nan) if test.missing("load") else test.load
    design = test.plant.exchanger.load or float(np.nanmax(load, initial=1.0))
    stated = approaches.exchanger(test).value
    reach = test.wet_bulb + (tower[0] if tower else approaches.tower(test).value)
    # As the predicted leaving temperature of ASHRAE Guideline 36-2021, 5.20.3.1, has it.
    apart = exchanger[0] if exchanger else stated * np.minimum(
        np.nan_to_num(load / design, nan=1.0), 1.0)
    volume, lag = test.plant.sump_volume, USUAL_SUMP
    if volume and curve is not None and not math.isnan(curve.flow):
        usual_range = float(curve.usual_range)
        effect = usual_range / (usual_range + float(np.nanmedian(reach - test.wet_bulb)))
        lag = volume / (curve.flow * effect)
        said.append(f"sump of {volume:,.0f} gal over {curve.flow:,.0f} gpm: {lag:.0f} min")
    else:
        said.append(f"sump: {lag:.0f} min assumed, volume or tower flow not known")
    falls = [float(np.nanmax(-_over_ten_minutes(test, request.pull_down), initial=0.0)) / 10.0
             for request in test.requests]
    pace = max(falls, default=0.0)
    said.append(f"condenser water fell by up to {pace:.2f} °F/min in the pull-downs seen" if pace
                else "no pull-down seen: the fall of condenser water is not limited")
    tons = sum(chiller.capacity or math.nan for chiller in test.plant.chillers)
    spare = np.full(len(test), np.inf)
    if test.plant.loop_volume and not math.isnan(tons) and tons:
        spare = np.maximum(tons - load, 0.0) * LB_DEGF_PER_TON / (
            test.plant.loop_volume * LB_PER_GALLON)
        spare = np.where(np.isnan(spare), np.inf, spare)
    ranges = condenser_range(test)
    usual = median(test["cw_supply_temp"][test.chiller_mode & ~test.changing])
    return Waters(carried_on(reach), carried_on(apart), spare.tolist(), lag, pace or math.inf,
                  usual, *ranges[:2], _exchanger_share(test), (*said, ranges[2]))


def _over_ten_minutes(test: FunctionalTest, rows: slice) -> np.ndarray:
    apart, water = test.rows(10.0), test["cw_supply_temp"][rows]
    if len(water) <= apart:
        return np.zeros(1)
    return (water[apart:] - water[:-apart]) * 10.0 / (apart * test.minutes)


RANGE_NOT_TRENDED = "condenser water entering or leaving the chillers is not trended"


@cached
def condenser_range(test: FunctionalTest) -> tuple[float, float, str]:
    """Condenser water through a running chiller [degF]: usual in the pull-downs, the least that
    was seen there, and from what. The last chiller has its least beside the open exchanger, which
    takes flow and load from it."""
    seen, outside = [np.empty(0)], [np.empty(0)]
    for n in test.chiller_numbers:
        point = test.water_lift_points(n)[0]
        if not (test.has(point) and test.has("cw_supply_temp")):
            continue
        on = (test.running(n) == 1.0) & (
            test.since_start(n) >= test.limits["lift.start_allowance"])
        through = test[point] - test["cw_supply_temp"]
        down = test.within(request.pull_down for request in test.requests)
        seen.append(through[on & down & ~np.isnan(through)])
        outside.append(through[on & ~down & ~np.isnan(through)])
    if len(found := np.concatenate(seen)):
        return (median(found), float(found.min()),
                f"condenser range {median(found):.1f} °F in the pull-downs seen, at the least "
                f"{found.min():.1f}")
    if len(found := np.concatenate(outside)):
        low = float(np.percentile(found, 10.0))
        return (median(found), low / 2.0,
                f"no pull-down seen: condenser range {median(found):.1f} °F, half of the least "
                "beside the open exchanger assumed")
    return 0.0, 0.0, f"{RANGE_NOT_TRENDED}: no range counted"


def _exchanger_share(test: FunctionalTest) -> float:
    """The most of the flow that the exchanger took beside a running chiller."""
    if not test.has("hx_chw_flow", "chw_flow"):
        return EXCHANGER_SHARE
    beside = test.within(request.pull_down for request in test.requests) & (test.chillers_on == 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        seen = (test["hx_chw_flow"] / test["chw_flow"])[beside]
    seen = seen[(seen > 0.1) & (seen < 1.0)]
    return float(seen.max()) if len(seen) else EXCHANGER_SHARE


def opened(settings: Settings, in_mode: float) -> float:
    """How far the exchanger's valve is open, so long into the transition [1]."""
    return min(1.0, in_mode / settings.opening) if settings.opening else 1.0


def carried_on(values: np.ndarray) -> list[float]:
    """The last known value through gaps, and the first before it."""
    known = np.flatnonzero(~np.isnan(values))
    if not len(known):
        raise NotTested("nothing is known of weather, setpoint or load")
    last = np.searchsorted(known, np.arange(len(values)), side="right") - 1
    held: list[float] = values[known[np.maximum(last, 0)]].tolist()
    return held
