"""The chiller baseline against published chiller curves: machines A to E of the check values
(section 6, EIR form; a public data set of manufacturers' machines), as if each had been trended."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from fptlib.physics.chiller_power import Baseline

TONS = 3.51685  # kW
APPROACH = 7.0  # tower, °F: so that the wet bulb stands for entering condenser water


@dataclass(frozen=True)
class Machine:
    """Reference capacity [kW] and COP; the three published curves; chilled water [°F]; entering
    condenser water [°F] and part load that its regression is stated for."""

    capacity: float
    cop: float
    cap: tuple[float, ...]
    eir: tuple[float, ...]
    part: tuple[float, ...]
    chw: float
    ecw: tuple[float, float]
    plr: tuple[float, float]

    def at(self, ecw: np.ndarray, plr: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Load [tons] and power [kW]."""
        x, y = (self.chw - 32.0) / 1.8, (ecw - 32.0) / 1.8
        cap, eir = (a + b * x + c * x * x + d * y + e * y * y + f * x * y
                    for a, b, c, d, e, f in (self.cap, self.eir))
        part = self.part[0] + self.part[1] * plr + self.part[2] * plr**2
        return plr * self.capacity * cap / TONS, self.capacity * cap / self.cop * eir * part


MACHINES = {
    "A": Machine(2391.3, 6.44, (.3676388, -.0508768, -.001772675, .09518123, -.003403878,
                                .004526983),
                 (.6230142, -.02371649, .0003996265, .02874515, -.0002115103, -.0001526191),
                 (.09774812, .2490111, .6539378), 44.0, (55.0, 75.0), (.20, 1.0)),
    "B": Machine(1635.2, 6.36, (.7639212, .01160405, -.005344185, .03306796, -.002100827,
                                .004920586),
                 (.7355981, -.01083354, -.0009244662, .01458943, 8.494647e-6, .0001279572),
                 (.2581595, .2707154, .4707425), 48.0, (55.0, 80.0), (.18, 1.0)),
    "C": Machine(1758.3, 6.28, (.7079149, -.002006276, -.002596043, .03005922, -.001056423,
                                .002045705),
                 (.5605391, -.01377994, 6.569542e-5, .01321951, .0002686074, -.0005011451),
                 (.1861223, .5482049, .2647377), 44.0, (60.0, 95.0), (.20, 1.0)),
    "D": Machine(1881.0, 6.53, (.8561286, .04130164, -.0007109335, .004306273, -.0006336613,
                                .0007211635),
                 (.4434989, .04361264, -.001733337, .009915503, .0004312717, -.001122346),
                 (.05272116, .4176382, .531087), 46.0, (49.0, 80.0), (.19, 1.0)),
    "E": Machine(1157.0, 5.62, (1.076248, .005436724, -.0003893302, -.00435331, -.0002402031,
                                .000840908),
                 (1.075567, -.03893571, .001082499, -.005782829, .0006574492, -.0005302886),
                 (.1608589, -.2058215, 1.043133), 44.0, (52.2, 75.0), (.19, 1.0)),
}


@pytest.mark.parametrize(("name", "ecw", "plr", "kw_per_ton", "tons"), [
    ("A", 75.0, 1.0, .5598, 681.2), ("A", 65.0, .5, .3876, 375.3), ("B", 65.0, .5, .4848, 266.6),
    ("C", 65.0, .75, .4140, 384.4), ("D", 49.0, .75, .3473, 470.0), ("E", 53.0, .5, .3370, 177.2)])
def test_the_curves_are_typed_as_published(name: str, ecw: float, plr: float, kw_per_ton: float,
                                           tons: float) -> None:
    load, power = MACHINES[name].at(np.array([ecw]), np.array([plr]))
    assert load[0] == pytest.approx(tons, rel=2e-3)
    assert power[0] / load[0] == pytest.approx(kw_per_ton, abs=2e-3 * kw_per_ton + 2e-4)


def trended(machine: Machine, seed: int, least: float = 0.5, blocks: int = 200
            ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Quarter-hours at random within what was seen: the upper part of the load, eight degrees."""
    rng = np.random.default_rng(seed)
    middle = 0.5 * sum(machine.ecw)
    ecw = rng.uniform(middle - 4.0, middle + 4.0, blocks)
    load, power = machine.at(ecw, rng.uniform(least, 0.95, blocks))
    return load, ecw - APPROACH, power * (1.0 + rng.normal(0.0, 0.01, blocks))


@pytest.mark.parametrize("name", MACHINES)
def test_a_baseline_keeps_its_uncertainty_where_it_was_seen(name: str) -> None:
    """Of held-out quarter-hours some 95 % lie within the stated uncertainty (k = 2), and none is
    5 % off: a quadratic in load and a line in wet bulb carry these machines there."""
    machine = MACHINES[name]
    fit = Baseline.fitted(*trended(machine, 1))
    load, wet, power = trended(machine, 2)
    found = fit.predict(load, wet)
    known = ~np.isnan(found)
    assert known.mean() > 0.9
    missed = np.abs(found - power / load)[known]
    assert (missed <= fit.uncertainty(load, wet)[known]).mean() >= 0.93
    assert (missed / (power / load)[known]).max() < 0.05


@pytest.mark.parametrize("name", MACHINES)
def test_nothing_is_said_beyond_what_was_seen(name: str) -> None:
    """Colder condenser water and lighter load than any trended: a regression's own box would let
    both pass, and for one published machine it gives nonsense there."""
    machine = MACHINES[name]
    fit = Baseline.fitted(*trended(machine, 1))
    middle = 0.5 * sum(machine.ecw)
    ecw = np.array([machine.ecw[0], middle, middle])
    plr = np.array([0.7, machine.plr[0] + 0.05, 0.7])
    load, _ = machine.at(ecw, plr)
    said = fit.predict(load, ecw - APPROACH)
    assert np.isnan(said[:2]).all() and not np.isnan(said[2])


def test_a_published_set_that_is_nonsense_within_its_own_limits_is_refused() -> None:
    """V6.5: a set's own box includes part load 0.30, where it says 1.187 kW/ton against .3534 of
    its other form; its neighbours .5644 (half load) and .4876 (full). A plant that was trended
    from half load up says nothing at 0.30, whatever its curves would; and one whose trends hold
    such quarter-hours says so in its uncertainty."""
    tons = 400.0
    rng = np.random.default_rng(5)
    share, ecw = rng.uniform(0.5, 1.0, 300), rng.uniform(71.0, 79.0, 300)
    above = np.interp(share, [0.5, 1.0], [.5644, .4876])
    load = tons * share
    sane = Baseline.fitted(load, ecw - APPROACH, load * above)
    at = np.array([0.30 * tons]), np.array([75.0 - APPROACH])
    assert np.isnan(sane.predict(*at)).all()
    low = rng.uniform(0.29, 0.31, 30)
    mixed = Baseline.fitted(
        np.r_[load, tons * low], np.r_[ecw, rng.uniform(71.0, 79.0, 30)] - APPROACH,
        np.r_[load * above, tons * low * 1.187])
    assert mixed.uncertainty(*at)[0] > 10.0 * sane.uncertainty(np.array([0.6 * tons]), at[1])[0]
