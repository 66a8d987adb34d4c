"""What the procedure must know of a plant beside its trends: design data and sensors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from fptlib import points
from fptlib.physics.atmosphere import pressure_at


@dataclass(frozen=True, slots=True)
class Chiller:
    """One chiller's design data; ``None`` where the job does not state it.

    Temperatures in degF, lift in degF (water) or psi (pressure), capacity in tons.
    """

    number: int
    tag: str = ""
    refrigerant: str = ""
    capacity: float | None = None
    minimum_water_lift: float | None = None
    minimum_pressure_lift: float | None = None
    cutout: float | None = None


@dataclass(frozen=True, slots=True)
class Exchanger:
    """The plate exchanger's design data: degF, gpm, tons."""

    tag: str = ""
    load: float | None = None
    chw_flow: float | None = None
    cw_flow: float | None = None
    chw_entering: float | None = None
    chw_leaving: float | None = None
    cw_entering: float | None = None
    cw_leaving: float | None = None


@dataclass(frozen=True, slots=True)
class Approach:
    """An approach as the job states it, with where it comes from.

    ``basis`` is ``observed`` (the job says when and how in ``remark``) or ``design``.
    Only an observed approach may be taken to share the errors of the trended sensors.
    """

    value: float
    basis: str
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Plant:
    """Plant and site.

    Attributes:
        altitude: of the site [ft].
        time_zone: name of the site's zone in the tz database.
        chillers: design data of every chiller.
        tower_cells: number of tower cells.
        exchanger: the plate exchanger.
        tower_approach, exchanger_approach: as stated in the job, or None.
        loop_volume, sump_volume: [gal], or None.
        equipment_limit: largest number of tower cells, and of the ``pumps`` with them, for
            economizer operation.
        pumps: how many pumps the equipment limit counts; none where it counts cells alone.
        demand_window: ``clock`` or ``sliding``.
    """

    altitude: float
    time_zone: str
    chillers: tuple[Chiller, ...]
    tower_cells: int
    exchanger: Exchanger = Exchanger()
    tower_approach: Approach | None = None
    exchanger_approach: Approach | None = None
    loop_volume: float | None = None
    sump_volume: float | None = None
    equipment_limit: int | None = None
    pumps: int = 0
    demand_window: str = "clock"

    @property
    def atmosphere(self) -> float:
        """Pressure of the standard atmosphere at the site [psia]."""
        return float(pressure_at(self.altitude))

    def chiller(self, n: int) -> Chiller:
        """Design data of chiller ``n``; empty where the job has none."""
        return next((c for c in self.chillers if c.number == n), Chiller(n))


@dataclass(frozen=True, slots=True)
class Sensor:
    """One sensor's errors: half-widths in the point's unit, offset = reading - truth."""

    accuracy: float
    resolution: float = 0.0
    offset: float = 0.0
    relative: bool = False


@dataclass(frozen=True)
class Sensors:
    """The job's sensors; a point without its own entry has the glossary's accuracy."""

    stated: Mapping[str, Sensor] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Sensor:
        if name in self.stated:
            return self.stated[name]
        entry = points.point(name)
        return Sensor(entry.accuracy, relative=entry.relative)


@dataclass(frozen=True, slots=True)
class Reading:
    """One field reading in the glossary's unit, with the instrument that took it; ``taken`` is
    what was written down and ``taken_unit`` its unit."""

    time: pd.Timestamp
    point: str
    value: float
    instrument: str
    taken_by: str
    remark: str = ""
    taken: str = ""
    taken_unit: str = ""


@dataclass(frozen=True, slots=True)
class Instrument:
    """A field instrument; ``accuracy`` is a half-width in ``accuracy_unit`` (which may be per
    cent of the reading), ``None`` where the job does not state it."""

    tag: str
    serial: str
    accuracy: float | None
    calibrated: pd.Timestamp | None
    due: pd.Timestamp | None
    make_model: str = ""
    range: str = ""
    accuracy_unit: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment marked by hand during the live test."""

    time: pd.Timestamp
    what: str
    by: str
