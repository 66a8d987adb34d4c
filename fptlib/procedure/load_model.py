"""What the plant's load is in other weather: a regression of the job's own load.

Hourly means outside changeovers over outdoor dry bulb or wet bulb, whichever explains more, in
the simplest form that no other betters (``physics.regression``: a line, change points, pieces),
with a level for each hour of the day, or each of working days and of weekends, where these gain
something. Nothing
is predicted in weather that the trends did not see; holidays are not known.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fptlib.physics import regression
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.measures import weekend

# An hour counts with two thirds of it known; a level is fitted where each of its hours was seen
# three times; and a day of hours is the least to fit anything to (common practice, no source).
LEAST_KNOWN, FEWEST_EACH, FEWEST_HOURS = 2.0 / 3.0, 3, 24
# So far beyond what was seen the line still counts [degF].
BEYOND_SEEN = 1.0
# How the load goes on into the cold shows over the last so many degrees that were seen, and no
# further beyond them [degF] (common practice, no source).
COLDER = 10.0
# The published edges of the pieces, with so many hours in each [degF].
EDGES, FEWEST_IN_PIECE = (30.0, 45.0, 55.0, 65.0, 75.0, 90.0), 20
# The levels, from one for all hours to one for each of working days and weekends.
LEVELS = {"none": "no time of week", "day": "a level for each hour of the day",
          "week": "a level for each hour of working days and of weekends"}


@dataclass(frozen=True)
class LoadModel:
    """A fitted load [tons] over ``driver`` (outdoor_dry_bulb or wet_bulb) and time of week.

    ``seen`` is the range of the driver in the training, ``points`` its hours (driver, load).
    """

    driver: str
    levels: str
    fit: regression.Fit
    edges: tuple[float, ...]
    seen: tuple[float, float]
    points: np.ndarray

    def columns(self, driver: np.ndarray, hours: np.ndarray) -> np.ndarray:
        """What stands beside the form's slopes: levels, and pieces where it has them."""
        return beside(driver, hours, self.levels, self.edges)

    def predict(self, driver: np.ndarray, hours: np.ndarray) -> np.ndarray:
        """Load [tons] at the driver's values [degF] in hours (datetime64, the site's own time);
        NaN in weather that was not seen."""
        tons = self.fit.predict(driver, self.columns(driver, hours))
        return np.where(self.known(driver), np.maximum(tons, 0.0), np.nan)

    def known(self, driver: np.ndarray) -> np.ndarray:
        """Whether such weather was seen."""
        low, high = self.seen
        return np.asarray((driver >= low - BEYOND_SEEN) & (driver <= high + BEYOND_SEEN))

    def at_most(self, driver: np.ndarray, hours: np.ndarray) -> np.ndarray:
        """Load [tons] that is not exceeded: as predicted, and in weather up to ``COLDER`` colder
        than was seen on the steepest line that the coldest ``COLDER`` degrees of it allow (k = 2),
        level where they fall towards the cold; NaN elsewhere."""
        low = self.seen[0]
        ends = np.array([low, low + COLDER])
        columns = self.columns(ends, hours[[0, 0]])
        moved = np.diff(regression.jacobian(self.fit, ends, columns), axis=0)[0]
        known_to = 2.0 * self.fit.rmse * np.sqrt(
            self.fit.n / self.fit.effective * (moved @ self.fit.spread @ moved))
        rise = max(known_to - float(np.diff(self.fit.predict(ends, columns))[0]), 0.0) / COLDER
        beyond = np.maximum(low - driver, 0.0)
        tons = self.predict(np.maximum(driver, low), hours) + rise * beyond
        return np.where(self.known(driver) | (beyond <= COLDER), tons, np.nan)

    def uncertainty(self, driver: np.ndarray, hours: np.ndarray) -> np.ndarray:
        """Expanded uncertainty (k = 2) of one hour's load [tons]: the scatter of hours about the
        line and what the line is known to."""
        lost = self.fit.n / self.fit.effective
        leverage = self.fit.leverage(driver, self.columns(driver, hours))
        return np.asarray(2.0 * self.fit.rmse * np.sqrt(1.0 + lost * leverage))

    def mean_error(self, driver: np.ndarray, hours: np.ndarray) -> float:
        """Expanded uncertainty (k = 2) of the mean over many hours [tons]: what the line is known
        to, for the scatter of single hours averages out."""
        slopes = regression.jacobian(self.fit, driver, self.columns(driver, hours)).mean(axis=0)
        lost = self.fit.n / self.fit.effective
        return float(2.0 * self.fit.rmse * np.sqrt(lost * (slopes @ self.fit.spread @ slopes)))

    def __str__(self) -> str:
        fit, (low, high) = self.fit, self.seen
        weather = "dry bulb" if self.driver == "outdoor_dry_bulb" else "wet bulb"
        changes = "".join(f", change point {each:.0f} °F" for each in fit.changes)
        form = "pieces" if self.edges else fit.form
        return (f"{form} over outdoor {weather} {low:.0f} to {high:.0f} °F{changes}, "
                f"{LEVELS[self.levels]}; {fit.n} hours, {fit.effective:.0f} of them independent; "
                f"adjusted R² {fit.r2_adjusted:.3f}, CV(RMSE) {100.0 * fit.cv_rmse:.1f} % "
                f"(divisor n - p, p = {fit.p})")


@cached
def fit(test: FunctionalTest) -> LoadModel | None:
    """The job's load model, or ``None`` where load or weather are not trended or too few hours
    were seen."""
    if test.missing("load"):
        return None
    hours, load = hourly(test, test.load)
    fitted = [fitted_to(name, hours, values, load) for name, values in drivers(test).items()]
    found = [each for each in fitted if each]
    return min(found, key=lambda each: each.fit.rmse, default=None)


def drivers(test: FunctionalTest) -> dict[str, np.ndarray]:
    """Hourly means of the weather that is trended, by driver."""
    found = {}
    if test.has("outdoor_dry_bulb"):
        found["outdoor_dry_bulb"] = hourly(test, test["outdoor_dry_bulb"])[1]
    if not test.missing("wet_bulb"):
        found["wet_bulb"] = hourly(test, test.wet_bulb)[1]
    return found


def fitted_to(driver: str, hours: np.ndarray, x: np.ndarray, load: np.ndarray
              ) -> LoadModel | None:
    """A model of hours (datetime64), driver [degF] and load [tons]; NaN rows do not count."""
    known = ~np.isnan(x + load)
    hours, x, load = hours[known], x[known], load[known]
    if len(load) < FEWEST_HOURS:
        return None
    best: regression.Fit | None = None
    form: tuple[str, tuple[float, ...]] = "", ()
    edges = piece_edges(x)
    others: list[tuple[tuple[float, ...], regression.Fit | None]]
    for name in LEVELS:
        columns = level_columns(hours, name)
        if columns.sum(axis=0).min() < FEWEST_EACH:
            break
        others = [((), regression.chosen(x, load, columns))]
        if edges:
            others.append((edges, regression.fit(
                "columns", x, load, beside(x, hours, name, edges))))
        for kind, other in others:
            if other and (best is None or regression.gained(best, other) < regression.SIGNIFICANT):
                best, form = other, (name, kind)
    if best is None:
        return None
    return LoadModel(driver, form[0], best, form[1], (float(x.min()), float(x.max())),
                     np.column_stack([x, load]))


def piece_edges(x: np.ndarray, edges: Iterable[float] = EDGES) -> tuple[float, ...]:
    """Those of ``edges`` that leave enough hours in every piece; the published ones."""
    kept: list[float] = []
    for edge in edges:
        low = kept[-1] if kept else -np.inf
        if min(((x >= low) & (x < edge)).sum(), (x >= edge).sum()) >= FEWEST_IN_PIECE:
            kept.append(edge)
    return tuple(kept)


def beside(driver: np.ndarray, hours: np.ndarray, levels: str, edges: tuple[float, ...]
           ) -> np.ndarray:
    """The columns beside a form's slopes: its levels, then its pieces."""
    columns = level_columns(hours, levels)
    return np.column_stack([columns, regression.pieces(driver, edges)]) if edges else columns


def level_columns(hours: np.ndarray, levels: str) -> np.ndarray:
    """One column of ones and zeros for each level."""
    if levels == "none":
        return np.ones((len(hours), 1))
    clock = (hours - hours.astype("M8[D]")).astype("m8[h]").astype(int)
    later = 24 * weekend(hours) if levels == "week" else 0
    return np.eye(24 if levels == "day" else 48)[clock + later]


@cached
def clock_hours(test: FunctionalTest) -> tuple[np.ndarray, int, int]:
    """The whole hours of the record (datetime64, the site's own time), the row the first begins
    in, and how many rows an hour has."""
    rows, start = test.rows(60.0), test.time(0)
    late = (start.minute + start.second / 60.0) / test.minutes
    first = round(-late) % rows
    count = max((len(test) - first) // rows, 0)
    return test.grid.local(first + rows * np.arange(count)).astype("M8[h]"), first, rows


def hourly(test: FunctionalTest, values: np.ndarray, changing: bool = False
           ) -> tuple[np.ndarray, np.ndarray]:
    """The whole hours of the record and the means of ``values`` in them; those of changeovers only
    where asked for with ``changing``."""
    hours, first, rows = clock_hours(test)
    counted = values if changing else np.where(test.changing, np.nan, values)
    table = counted[first:][: len(hours) * rows]
    table = table.reshape(-1, rows)
    known = ~np.isnan(table)
    enough = known.sum(axis=1) >= LEAST_KNOWN * rows
    means = np.where(known, table, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    return hours, np.where(enough, means, np.nan)


@cached
def local_times(test: FunctionalTest) -> np.ndarray:
    """When each row begins (datetime64, the site's own time); a change of the clocks counts from
    the quarter-hour on in which it falls."""
    every = test.rows(15.0)
    starts = test.grid.local(np.arange(0, len(test), every)).astype("M8[s]")
    within = (np.arange(every) * test.minutes * 60.0).astype("m8[s]")
    return np.asarray((starts[:, None] + within).ravel()[: len(test)])


def by_row(test: FunctionalTest, model: LoadModel) -> np.ndarray:
    """The load of the model in every row [tons]."""
    driver = test["outdoor_dry_bulb"] if model.driver == "outdoor_dry_bulb" else test.wet_bulb
    return model.predict(np.nan_to_num(driver, nan=np.inf), local_times(test))
