"""Pressures as stated into the glossary's: a gauge shows what lies above the air at the site."""

from __future__ import annotations

from fptlib import units
from fptlib.errors import IntakeError
from fptlib.physics.atmosphere import pressure_at
from fptlib.physics.errors import ImpossibleState


def scale(stated: str, wanted: str, altitude: float | None, where: str) -> units.Scale:
    """The conversion of any unit that a file or a person states, gauge pressures included.

    Args:
        altitude: of the site [ft], or None; only a gauge pressure needs it.
        where: opens the error sentence.

    Raises:
        IntakeError: the unit is unknown or measures something else, or the altitude of a gauge
            pressure is missing or cannot be.
    """
    if not units.is_gauge(stated, wanted):
        return units.scale(stated, wanted, where)
    if altitude is None:
        raise IntakeError(f"{where}: a gauge pressure needs the site's altitude; "
                          "state altitude under [site]")
    try:
        return units.gauge_scale(stated, float(pressure_at(altitude)))
    except ImpossibleState as error:
        raise IntakeError(f"{where}: {error}; mend altitude under [site]") from error
