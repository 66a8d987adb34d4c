"""What a check needs of the trends, and which points can meet it.

A need is a point's name, a numbered family (``chiller_{n}_alarm``, which means every one), or
one of the quantities that can come from several points: ``request``, ``chillers``,
``wet_bulb``, ``reset_setpoint``, ``load``, ``power``, ``exchanger_flows``,
``chiller_leaving_water``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fptlib.procedure.case import Case

POWER_PARTS = ("tower_fan_power", "chw_pump_power", "cw_pump_power")

_ALTERNATIVES: dict[str, tuple[tuple[str, ...], ...]] = {
    "request": (("economizer_command",), ("economizer_active",)),
    "wet_bulb": (("outdoor_wet_bulb",), ("outdoor_dry_bulb", "outdoor_humidity")),
    "reset_setpoint": (("chw_reset_setpoint",), ("chw_supply_setpoint",)),
    "load": (("chw_flow", "chw_supply_temp", "chw_return_temp"),),
    "exchanger_flows": (("hx_chw_flow", "hx_cw_flow"),),
}


def lacking(case: Case, need: str) -> list[str]:
    """The points that are missing for a need; none where it is met."""
    if need in _ALTERNATIVES:
        return _of_all(case, _ALTERNATIVES[need])
    if need == "chillers":
        unknown = [n for n in case.chiller_numbers if not case.is_known(n)]
        return [f"chiller_{n}_running" for n in unknown or ([] if case.chiller_numbers else [1])]
    if need == "power":
        return _power(case)
    if need == "chiller_leaving_water":
        own = case.trends.missing(_own_leaving(case))
        return case.trends.missing(["chw_supply_temp"]) if own else []
    if "{n}" in need:
        return case.trends.missing(need.format(n=n) for n in _family(case, need))
    return case.trends.missing([need])


def points_of(case: Case, need: str) -> list[str]:
    """Every trended point that a need can be met from."""
    if need == "chillers":
        names = [f"chiller_{n}_{what}" for n in case.chiller_numbers
                 for what in ("running", "power", "amps")]
    elif need == "power":
        names = ["plant_power", *_chiller_powers(case), *POWER_PARTS]
    elif need == "chiller_leaving_water":
        names = [*_own_leaving(case), "chw_supply_temp"]
    elif "{n}" in need:
        names = [need.format(n=n) for n in _family(case, need)]
    else:
        names = [name for way in _ALTERNATIVES.get(need, ((need,),)) for name in way]
    return [name for name in names if name in case.frame]


def _of_all(case: Case, alternatives: Sequence[Sequence[str]]) -> list[str]:
    lacks = [case.trends.missing(names) for names in alternatives]
    return [] if any(not lack for lack in lacks) else lacks[0]


def _power(case: Case) -> list[str]:
    if case.has("plant_power"):
        return []
    return case.trends.missing([*_chiller_powers(case), *POWER_PARTS])


def _chiller_powers(case: Case) -> list[str]:
    return [f"chiller_{n}_power" for n in case.chiller_numbers]


def _own_leaving(case: Case) -> list[str]:
    return [f"chiller_{n}_chw_leaving_temp" for n in case.chiller_numbers]


def _family(case: Case, need: str) -> list[int]:
    """The numbers of a family; every plant has a first chiller and tower cell, though no pump
    that its equipment limit counts."""
    if need.startswith("pump"):
        return case.pump_numbers
    return (case.tower_numbers if need.startswith("tower") else case.chiller_numbers) or [1]
