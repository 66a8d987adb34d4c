"""What the plant draws on chillers and on the exchanger, at the same load and weather.

Two regressions of the job's own steady quarter-hours, so that like is compared with like: a night
on the exchanger with what chillers would have drawn that night, never with a day on chillers.
Chillers over load and lift (condenser water minus chilled-water setpoint), for a chiller's power
goes with load times lift (common practice, no source); the exchanger over load and how far the
wet bulb lies below the setpoint, which the fans follow.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fptlib import points
from fptlib.physics import regression
from fptlib.procedure.chiller_baseline import FEWEST_BLOCKS, block_means
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.measures import median

# What a mode is known to, in the mean over what is given [kW].
Error = Callable[..., float]
NEEDS = ("request", "chillers", "power", "load", "wet_bulb", "reset_setpoint", "cw_supply_temp")
# Condenser water on chillers in cold weather: that of the coldest third of their quarter-hours.
COLDEST = 1.0 / 3.0
# A load beyond what was seen by more than this share of it is not predicted (common practice, no
# source): at night the load is below what chillers were seen at.
BEYOND_LOAD = 0.25
# Nor a lift beyond what was seen by more than this [degF]: a reset that rises by night lowers the
# lift by about as much.
BEYOND_LIFT = 5.0


@dataclass(frozen=True)
class PowerModel:
    """A fitted mode: plant power [kW] over load [tons] and ``drive`` [degF], times the load where
    ``times_load``; ``seen`` are the lowest and highest load and drive of the training.
    ``straight`` is the same without the square of the load.
    """

    fit: regression.Fit
    straight: regression.Fit
    times_load: bool
    seen: np.ndarray

    def columns(self, load: np.ndarray, drive: np.ndarray) -> np.ndarray:
        """The columns of the form; the exchanger's drive is held at the edge of what was seen."""
        held = drive if self.times_load else np.clip(drive, *self.seen[:, 1])
        return _columns(load, held, self.times_load)

    def predict(self, load: np.ndarray, drive: np.ndarray) -> np.ndarray:
        """Plant power [kW]; NaN at loads and lifts too far from what was seen."""
        (low, least), (high, most) = self.seen
        known = (load >= low * (1.0 - BEYOND_LOAD)) & (load <= high * (1.0 + BEYOND_LOAD))
        if self.times_load:
            known &= (drive >= least - BEYOND_LIFT) & (drive <= most + BEYOND_LIFT)
        found = self.columns(load, drive) @ self.fit.coefficients
        return np.where(known, found, np.nan)

    def mean_error(self, load: np.ndarray, drive: np.ndarray) -> float:
        """Expanded uncertainty (k = 2) of the mean prediction [kW]: what the coefficients are known
        to, what another form would say, and once the scatter, which is mostly what the form
        leaves out of every hour alike."""
        slopes = self.columns(load, drive).mean(axis=0)
        lost = self.fit.n / self.fit.effective
        known = lost * float(slopes @ self.fit.spread @ slopes)
        form = slopes @ self.fit.coefficients - slopes[[0, 1, 3]] @ self.straight.coefficients
        return float(np.hypot(self.fit.rmse * np.sqrt(4.0 * known + 1.0), form))


def _columns(load: np.ndarray, drive: np.ndarray, times_load: bool) -> np.ndarray:
    # Scaled to order one; tons and degF would be badly conditioned.
    share = load / 1000.0
    last = share * drive / 10.0 if times_load else drive / 10.0
    return np.column_stack([np.ones_like(share), share, share**2, last])


@dataclass(frozen=True)
class Models:
    """Both modes of a plant. ``condenser`` is the condenser water on chillers in cold weather
    [degF] and ``spread`` how far it was from that there (k = 2)."""

    chillers: PowerModel
    exchanger: PowerModel
    condenser: float
    spread: float

    def on_chillers(self, load: np.ndarray, setpoint: np.ndarray) -> np.ndarray:
        """What chillers draw in cold weather [kW] at a load [tons] and setpoint [degF]."""
        return self.chillers.predict(load, self.condenser - setpoint)

    def on_exchanger(self, load: np.ndarray, setpoint: np.ndarray, wet_bulb: np.ndarray
                     ) -> np.ndarray:
        """What the economizer draws [kW]."""
        return self.exchanger.predict(load, setpoint - wet_bulb)

    def chillers_error(self, load: np.ndarray, setpoint: np.ndarray) -> float:
        """Expanded uncertainty of the mean on chillers [kW], the condenser water's among it."""
        per_degree = float(self.chillers.fit.coefficients[3]) * float(load.mean()) / 1e4
        return float(np.hypot(self.chillers.mean_error(load, self.condenser - setpoint),
                              per_degree * self.spread))

    def exchanger_error(self, load: np.ndarray, setpoint: np.ndarray, wet_bulb: np.ndarray
                        ) -> float:
        """Expanded uncertainty of the mean on the exchanger [kW]."""
        return self.exchanger.mean_error(load, setpoint - wet_bulb)

    def dearer(self, load: np.ndarray, setpoint: np.ndarray, wet_bulb: np.ndarray) -> np.ndarray:
        """Where the exchanger draws more than chillers by more than these are known to; not where
        either is not known."""
        more = self.on_exchanger(load, setpoint, wet_bulb) - self.on_chillers(load, setpoint)
        known = ~np.isnan(more)
        if not known.any():
            return known
        return np.asarray(known & (more > self.chillers_error(load[known], setpoint[known])))

    def __str__(self) -> str:
        said = []
        for name, model in (("chillers", self.chillers), ("exchanger", self.exchanger)):
            low, high = model.seen[:, 0]
            said.append(f"{name}: {model.fit.n} steady quarter-hours at {low:.0f} to {high:.0f} "
                        f"tons, CV(RMSE) {100.0 * model.fit.cv_rmse:.1f} % (divisor n - p)")
        return "; ".join(said)


@cached
def problem(test: FunctionalTest) -> str:
    """Why power cannot be compared at the same load; empty where it can."""
    if missing := test.missing(*NEEDS):
        return "not trended: " + ", ".join(points.point(name).meaning for name in missing)
    for name, rows in _steady(test).items():
        if rows.sum() < FEWEST_BLOCKS:
            return f"fewer than {FEWEST_BLOCKS} steady quarter-hours on {name}"
    return ""


@cached
def models(test: FunctionalTest) -> Models | None:
    """The job's models, or ``None`` where ``problem`` says why there are none."""
    if problem(test):
        return None
    load, air = block_means(test).load, block_means(test).wet_bulb
    setpoint, condenser = (quarters(test, each) for each in (
        test.reset_setpoint, test["cw_supply_temp"]))
    rows = _steady(test)
    cold = rows["chillers"] & (air <= np.quantile(air[rows["chillers"]], COLDEST))
    water = condenser[cold]
    return Models(_fitted(test, rows["chillers"], load, condenser - setpoint, True),
                  _fitted(test, rows["the exchanger"], load, setpoint - air, False),
                  median(water), 2.0 * float(np.std(water)))


def _fitted(test: FunctionalTest, rows: np.ndarray, load: np.ndarray, drive: np.ndarray,
            times_load: bool) -> PowerModel:
    columns, power = _columns(load[rows], drive[rows], times_load), block_means(test).power[rows]
    found, straight = (regression.fit("columns", load[rows], power, each)
                       for each in (columns, columns[:, [0, 1, 3]]))
    assert found is not None and straight is not None
    seen = np.percentile(np.column_stack([load[rows], drive[rows]]), [0, 100], axis=0)
    return PowerModel(found, straight, times_load, seen)


@cached
def _steady(test: FunctionalTest) -> dict[str, np.ndarray]:
    """The quarter-hours of each mode, none of them in a changeover."""
    blocks = block_means(test)
    level = ~np.isnan(quarters(test, test.reset_setpoint) + quarters(
        test, test["cw_supply_temp"]))
    alone = (test.chillers_on == 0.0) & (test.commanded == 1.0)
    return {name: blocks.whole(rows & ~test.changing) & level for name, rows in (
        ("chillers", test.chiller_mode), ("the exchanger", alone))}


def quarters(test: FunctionalTest, values: np.ndarray) -> np.ndarray:
    """Means of the quarter-hours of ``block_means``."""
    blocks = block_means(test)
    rows = values[blocks.first :][: len(blocks.load) * blocks.rows]
    return np.asarray(rows.reshape(-1, blocks.rows).mean(axis=1))
