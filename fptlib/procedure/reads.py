"""What a test reads of its job's answers while it is judged, as places in ``job.toml``.

A step is out of date when something it read was changed, and nothing else. What is read is noted
while it happens, so that no list of it can be wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from copy import copy
from dataclasses import fields, replace
from typing import Any, TypeVar

from fptlib.procedure.functional_test import FunctionalTest

_Held = TypeVar("_Held")
READINGS = "readings"
EVERYTHING = ""
# What the trends themselves are made from; every step reads them.
OF_THE_TRENDS = ("site.time_zone", "site.step_minutes", "files", "points")
_PLACES = {"condition": "job.condition", "wet_bulb_source": "site.wet_bulb_source",
           "weather": "site.weather_file", "readings": READINGS, "marks": "marks",
           "sequence": "sequence", "tariff": "tariff", "aborts": "abort", "overrides": "overrides"}
# Noted by what is inside them, or made from the trends.
_INSIDE = {"grid", "plant", "limits", "sensors", "instruments", "kept", "flickers"}
_SITE = {"altitude", "time_zone"}


def watched(test: FunctionalTest) -> tuple[FunctionalTest, set[str]]:
    """The same test, and the places it has read so far; a place nobody knows is everything."""
    read = set(OF_THE_TRENDS)
    chillers = tuple(_noting(each, f"plant.chiller_{each.number}.{{}}".format, read)
                     for each in test.plant.chillers)
    limits, sensors = copy(test.limits), copy(test.sensors)
    for held, name, path in ((limits, "deviations", "limits"), (sensors, "stated", "sensors")):
        object.__setattr__(held, name, _Noting(getattr(held, name), path, read))
    inside = replace(test, limits=limits, sensors=sensors,
                     plant=_noting(replace(test.plant, chillers=chillers), _of_plant, read),
                     instruments=_Noting(test.instruments, "instruments", read))
    return _noting(inside, lambda name: _PLACES.get(name, EVERYTHING), read, _INSIDE), read


def _of_plant(name: str) -> str:
    return f"site.{name}" if name in _SITE else f"plant.{name}"


def _noting(held: _Held, place: Callable[[str], str], read: set[str],
            but: frozenset[str] | set[str] = frozenset()) -> _Held:
    """A copy that notes the place of each field when it is read."""
    kind: Any = type(held)
    names = {each.name for each in fields(kind)}

    class Noting(kind):
        __slots__ = ()

        def __getattribute__(self, name: str) -> Any:
            if name in names and name not in but:
                read.add(place(name))
            return super().__getattribute__(name)

    made: _Held = object.__new__(Noting)
    for name in names:
        object.__setattr__(made, name, getattr(held, name))
    return made


class _Noting(Mapping[str, Any]):
    """A table of tables that notes which of its rows are asked for, there or not."""

    def __init__(self, held: Mapping[str, Any], path: str, read: set[str]) -> None:
        self._held, self._path, self._read = held, path, read

    def __getitem__(self, name: str) -> Any:
        self._read.add(f'{self._path}."{name}"')
        return self._held[name]

    def __iter__(self) -> Iterator[str]:
        self._read.add(self._path)
        return iter(self._held)

    def __len__(self) -> int:
        self._read.add(self._path)
        return len(self._held)
