"""Power of a chiller by Gordon-Ng, fitted to the job's own trends.

(Te/Tc)(1 + 1/COP) - 1 = a1 Te/Q + a2 (Tc - Te)/(Tc Q) + a3 (1 + 1/COP) Q/Tc, with
Te chilled water leaving and Tc condenser water entering in K, Q the load in kW; a1 is
internal entropy generation [kW/K], a2 heat leak [kW], a3 thermal resistance [K/kW].

The model knows no surge, inlet vanes or hot gas, and a2 is often not identifiable from
real trends: trust predictions inside what was seen, never coefficients, never outside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from fptlib.physics._kinds import Array, Quantity, any_kind, refuse
from fptlib.physics._saturated_air import ABSOLUTE_ZERO
from fptlib.physics.errors import ImpossibleState, OutsideObserved, TooFewSamples
from fptlib.physics.refrigerant import KW_PER_TON
from fptlib.physics.uncertainty import coverage_factor, effective_samples

LEAST_SAMPLES = 20.0  # independent ones, common practice
_COEFFICIENTS = 3
_DIRECTIONS = 400


@dataclass(frozen=True, slots=True, eq=False)
class ChillerModel:
    """A fitted chiller: coefficients, quality of the fit, and the states it has seen."""

    coefficients: tuple[float, ...]  # a1 [kW/K], a2 [kW], a3 [K/kW]
    scatter: float  # of the left side, standard deviation
    spread: Array  # covariance of the coefficients over scatter squared
    effective_count: float
    cv_rmse: float  # of power [%]
    centre: Array
    scale: Array
    reach: Array  # of the seen states in every direction of ``_compass``


@any_kind
def power(
    load: Quantity,
    chw_leaving: Quantity,
    cw_entering: Quantity,
    entropy: Quantity,
    leak: Quantity,
    resistance: Quantity,
) -> Quantity:
    """Power of a chiller of known coefficients.

    Args:
        load [tons]: scalar or array.
        chw_leaving [degF]: scalar or array.
        cw_entering [degF]: scalar or array.
        entropy [kW/K]: a1.
        leak [kW]: a2.
        resistance [K/kW]: a3.

    Returns:
        Power [kW].

    Raises:
        ImpossibleState: the load is not above zero, or more than the resistance lets pass.

    Source: Gordon, Ng and Chua, as given in ASHRAE literature (from memory).

    >>> round(power(1500.0, 44.33, 85.73, 1.18090, -254.56150, 6.73480e-4), 1)
    847.9
    """
    heat, cold, warm = KW_PER_TON * load, _kelvin(chw_leaving), _kelvin(cw_entering)
    passing = cold - resistance * heat
    bad = (heat <= 0.0) | (passing <= 0.0)
    total = (heat + entropy * cold + leak * (1.0 - cold / warm)) * warm
    return refuse(
        bad, total / np.where(bad, 1.0, passing) - heat,
        "{load} tons at {cold} and {warm} degF cannot be",
        load=load, cold=chw_leaving, warm=cw_entering,
    )


def fit(
    load: Any, chw_leaving: Any, cw_entering: Any, power: Any, least_samples: float = LEAST_SAMPLES
) -> ChillerModel:
    """Fit the model to steady trends of one running chiller, in order of time.

    Rows with a missing value are left out. Neighbouring samples are not independent:
    their number is reduced to the effective one before any uncertainty is stated.

    Args:
        load [tons]: array.
        chw_leaving [degF]: array.
        cw_entering [degF]: array.
        power [kW]: array.
        least_samples [-]: independent samples without which no fit is made.

    Returns:
        Fitted model [-].

    Raises:
        ImpossibleState: a load or power is not above zero.
        TooFewSamples: too few independent samples, or too alike to tell coefficients.

    Source: least squares with scaled columns.

    >>> tons = np.linspace(150.0, 550.0, 40)
    >>> chw, cw = 42.0 + 4.0 * np.sin(tons), 70.0 + 9.0 * np.cos(3.0 * tons)
    >>> kw = power(tons, chw, cw, 0.25, 40.0, 0.003)
    >>> [round(a, 4) for a in fit(tons, chw, cw, kw).coefficients]
    [0.25, 40.0, 0.003]
    """
    states, kilowatts = _sound_rows(load, chw_leaving, cw_entering, power)
    columns, left_side = _regression(states, kilowatts)
    scaling = np.sqrt((columns**2).sum(axis=0))
    inverse = _inverse(columns / scaling)
    scaled = inverse @ (columns / scaling).T @ left_side
    residual = left_side - columns @ (scaled / scaling)
    count = effective_samples(residual)
    if count < least_samples:
        raise TooFewSamples(
            f"{len(residual)} samples are worth {count:.1f} independent ones, "
            f"{least_samples:g} are needed"
        )
    return _model(states, kilowatts, scaled / scaling, residual, inverse, scaling, count)


@any_kind
def predict(
    model: ChillerModel,
    load: Quantity,
    chw_leaving: Quantity,
    cw_entering: Quantity,
    confidence: float = 0.95,
) -> tuple[Quantity, Quantity, Quantity]:
    """Power of the fitted chiller, with the interval a single reading should fall in.

    Args:
        model [-]: from ``fit``.
        load [tons]: scalar or array.
        chw_leaving [degF]: scalar or array.
        cw_entering [degF]: scalar or array.
        confidence [-]: of the interval.

    Returns:
        Power, its lower and its upper limit [kW].

    Raises:
        OutsideObserved: the state lies outside what the trends have seen.

    Source: prediction interval of least squares, with the effective sample count.

    >>> tons = np.linspace(150.0, 550.0, 40)
    >>> chw, cw = 42.0 + 4.0 * np.sin(tons), 70.0 + 9.0 * np.cos(3.0 * tons)
    >>> kw = power(tons, chw, cw, 0.25, 40.0, 0.003)
    >>> [round(p, 1) for p in predict(fit(tons, chw, cw, kw), 300.0, 42.0, 70.0)]
    [148.4, 148.4, 148.4]
    """
    load, chw_leaving, cw_entering = np.broadcast_arrays(load, chw_leaving, cw_entering)
    seen = was_observed(model, load, chw_leaving, cw_entering)
    missing = np.isnan(load + chw_leaving + cw_entering)
    safe = np.where(seen, np.stack([load, chw_leaving, cw_entering]), model.centre.reshape(
        (-1,) + (1,) * load.ndim))
    middle = power(*safe, *model.coefficients)
    half = _half_width(model, safe, np.asarray(middle), float(confidence))
    blank = np.where(missing, np.nan, 0.0)
    return tuple(
        refuse(
            ~np.asarray(seen) & ~missing, value + blank,
            "{load} tons, {chw} degF leaving, {cw} degF entering is outside the fitted trends",
            OutsideObserved, load=load, chw=chw_leaving, cw=cw_entering,
        )
        for value in (middle, middle - half, middle + half)
    )


@any_kind
def was_observed(
    model: ChillerModel, load: Quantity, chw_leaving: Quantity, cw_entering: Quantity
) -> Quantity:
    """Whether a state lies within the convex hull of the fitted trends.

    The hull is looked at from 400 directions, so that it is at most about one percent
    of its size too wide at its corners.

    Args:
        model [-]: from ``fit``.
        load [tons]: scalar or array.
        chw_leaving [degF]: scalar or array.
        cw_entering [degF]: scalar or array.

    Returns:
        True [-] inside; False where a value is missing.

    Source: supporting half-spaces of a convex set.

    >>> tons = np.linspace(150.0, 550.0, 40)
    >>> chw, cw = 42.0 + 4.0 * np.sin(tons), 70.0 + 9.0 * np.cos(3.0 * tons)
    >>> model = fit(tons, chw, cw, power(tons, chw, cw, 0.25, 40.0, 0.003))
    >>> was_observed(model, 300.0, 42.0, 70.0), was_observed(model, 300.0, 42.0, 50.0)
    (True, False)
    """
    state = np.stack(np.broadcast_arrays(load, chw_leaving, cw_entering), axis=-1)
    inside = np.ones(state.shape[:-1], dtype=bool)
    place = (state - model.centre) / model.scale
    for direction, reach in zip(_compass(), model.reach, strict=True):
        inside &= place @ direction <= reach + 1e-9
    return inside


def _kelvin(temperature: Array) -> Array:
    return (temperature - ABSOLUTE_ZERO) / 1.8


def _sound_rows(load: Any, chw_leaving: Any, cw_entering: Any, power: Any) -> tuple[Array, Array]:
    table = np.stack([
        np.asarray(each, dtype=float) for each in (load, chw_leaving, cw_entering, power)
    ])
    table = table[:, np.isfinite(table).all(axis=0)]
    dead = (table[0] <= 0.0) | (table[3] <= 0.0)
    if dead.any():
        raise ImpossibleState(f"{dead.sum()} of {dead.size} samples have no load or no power")
    if dead.size <= _COEFFICIENTS + 1:
        raise TooFewSamples(f"{dead.size} complete samples")
    return table[:3], table[3]


def _regression(states: Array, kilowatts: Array) -> tuple[Array, Array]:
    """The three columns of the model and its left side."""
    heat, cold, warm = KW_PER_TON * states[0], _kelvin(states[1]), _kelvin(states[2])
    work = 1.0 + kilowatts / heat
    columns = np.stack([cold / heat, (warm - cold) / (warm * heat), work * heat / warm], axis=-1)
    return columns, cold / warm * work - 1.0


def _inverse(columns: Array) -> Array:
    """Inverse of the normal matrix of scaled columns."""
    normal = columns.T @ columns
    if np.linalg.cond(normal) > 1e12:
        raise TooFewSamples("the samples are too alike to tell the coefficients apart")
    return np.linalg.inv(normal)


def _model(
    states: Array, kilowatts: Array, coefficients: Array, residual: Array,
    inverse: Array, scaling: Array, count: float,
) -> ChillerModel:
    squares, samples = float(residual @ residual), len(residual)
    fitted = power(*states, *coefficients)
    rms = math.sqrt(float(((fitted - kilowatts) ** 2).sum()) / (samples - _COEFFICIENTS))
    centre, scale = states.mean(axis=1), states.std(axis=1)
    scale = np.where(scale > 0.0, scale, 1.0)
    place = (states.T - centre) / scale
    return ChillerModel(
        coefficients=tuple(float(a) for a in coefficients),
        scatter=math.sqrt(squares / (samples - _COEFFICIENTS)),
        spread=inverse / np.outer(scaling, scaling) * samples / count,
        effective_count=count,
        cv_rmse=100.0 * rms / float(kilowatts.mean()),
        centre=centre, scale=scale,
        reach=np.array([(place @ direction).max() for direction in _compass()]),
    )


def _half_width(model: ChillerModel, state: Array, middle: Array, confidence: float) -> Array:
    """Half width of the interval of a single reading of power."""
    columns, _ = _regression(state, middle)
    variance = 1.0 + np.einsum("...i,ij,...j->...", columns, model.spread, columns)
    factor = coverage_factor(model.effective_count - _COEFFICIENTS, confidence)
    heat, cold, warm = KW_PER_TON * state[0], _kelvin(state[1]), _kelvin(state[2])
    per_left_side = heat * warm / (cold - model.coefficients[2] * heat)
    return factor * model.scatter * np.sqrt(variance) * per_left_side


def _compass() -> Array:
    """Directions spread evenly over the sphere, and the axes."""
    rank = np.arange(_DIRECTIONS) + 0.5
    height = 1.0 - 2.0 * rank / _DIRECTIONS
    turn = math.pi * (1.0 + math.sqrt(5.0)) * rank
    radius = np.sqrt(1.0 - height**2)
    sphere = np.stack([radius * np.cos(turn), radius * np.sin(turn), height], axis=-1)
    return np.concatenate([sphere, np.eye(3), -np.eye(3)])
