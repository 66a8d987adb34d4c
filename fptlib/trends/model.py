"""A model of the site as the word for its columns: Brick (Turtle) or Project Haystack (JSON).

A model's point becomes words, its equipment with its number and then its class or tags, which
``names.py`` reads as it reads a header; so there is one table of points, and values and physics
judge a model's word as they judge a name. A column is that point by its timeseries reference, its
label or its id. Sources, from memory where not said otherwise: Brick 1.3 and 1.4 (class names as in
the published ontology), its ``ref`` extension, QUDT's units; Project Haystack's JSON, versions 4
and 3, and its tags.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fptlib.errors import IntakeError
from fptlib.trends.cells import split_unit
from fptlib.trends.columns import Column, Meant
from fptlib.trends.names import read

_LARGEST = 64 << 20
# So far up from a point lies its equipment: a damper of an air handler, a fan of a tower cell.
_UP = 4
# Units of QUDT as files write them.
_QUDT = {
    "DEG_F": "degF", "DEG_C": "degC", "K": "K", "GAL_US-PER-MIN": "gpm", "L-PER-SEC": "L/s",
    "M3-PER-HR": "m3/h", "KiloGM-PER-SEC": "kg/s", "KiloW": "kW", "W": "W", "PERCENT": "%",
    "PERCENT_RH": "%RH", "PSI": "psi", "KiloPA": "kPa", "PA": "Pa", "HectoPA": "hPa",
    "IN_HG": "inHg", "BAR": "bar", "A": "A", "AMP": "A", "TON_FG": "tons",
    "KiloBTU_IT-PER-HR": "MBtu/h",
}
# Haystack's tags of equipment; others say how it is built. Those of a point stand in this order.
_EQUIPMENT = ("chillerPlant", "chiller", "coolingTower", "heatExchanger", "weatherStation", "ahu",
              "boiler", "vav", "fcu", "rtu", "condenser", "evaporator", "pump", "fan", "damper",
              "valve")
_ORDER = ("outside", "discharge", "mixed", "return", "chilled", "condenser", "hot", "water", "air",
          "bypass", "leaving", "entering", "isolation", "economizing", "elec", "active", "delta",
          "wetBulb", "dryBulb", "barometric", "temp", "pressure", "flow", "humidity", "speed",
          "power", "current", "load", "valve", "damper", "fan", "pump", "run", "enable", "fault",
          "alarm", "effective", "sensor", "cmd", "sp")
# Further tags that say what a point measures; any other says how it is kept.
_OTHER = {"co2", "co", "volt", "pf", "angle", "illuminance", "velocity", "concentration", "phase"}


@dataclass(frozen=True)
class _Thing:
    """A point or equipment of a model: its words, what it is called, what it belongs to."""

    words: str
    names: tuple[tuple[str, ...], ...]
    above: tuple[str, ...] = ()
    unit: str = ""


def named(columns: Sequence[Column], models: Iterable[Path], unread: dict[str, str]
          ) -> list[Column]:
    """The columns, those that a model knows with its word for them.

    Args:
        columns: of all trend files.
        models: Brick models (``.ttl``) and Haystack grids (``.json``).
        unread: takes, by file, what is wrong with a model.
    """
    found = list(columns)
    for path in models:
        try:
            points = list(_points(path))
        except IntakeError as error:
            unread[path.name] = str(error)
            continue
        tables = [_by_name(points, level) for level in range(3)]
        meant = [_meant(column, tables) for column in found]
        if found and not any(meant):
            unread[path.name] = (
                f"model '{path.name}': none of its {len(points)} points is a column of the trend "
                "files, by timeseries reference, label or id; export both from the same system, "
                "or give the columns the ids of the model")
        found = [column if word is None or column.model else replace(
            column, model=word, unit=column.unit or word.unit)
            for column, word in zip(found, meant, strict=True)]
    return found


# -- which column is which point ------------------------------------------------------------------

def _by_name(points: Sequence[tuple[Meant, _Thing]], level: int) -> dict[str, list[Meant]]:
    """The points by what they are called: 0 by timeseries reference, 1 by label, 2 by id."""
    found: dict[str, list[Meant]] = {}
    for meant, thing in points:
        for key in {form for name in thing.names[level] for form in _forms(name)}:
            found.setdefault(key, []).append(meant)
    return found


def _meant(column: Column, tables: Sequence[Mapping[str, list[Meant]]]) -> Meant | None:
    """The point that a column is; None where it is none, or may be one of several."""
    for table in tables:
        # As it is written comes before what is left without signs.
        for at in range(2):
            for text in (column.name, split_unit(column.name)[0], column.said):
                if hit := table.get(_forms(text)[at]):
                    return hit[0] if len(hit) == 1 else None
    return None


def _forms(text: str) -> tuple[str, str]:
    low = " ".join(text.casefold().split())
    # The mark keeps the two forms apart.
    return low, "\0" + re.sub(r"[^a-z0-9]+", "", low)


# -- a point's words ------------------------------------------------------------------------------

def _points(path: Path) -> Iterator[tuple[Meant, _Thing]]:
    """Every point of a model in words.

    Raises:
        IntakeError: the file is too large, or no such model.
    """
    if path.stat().st_size > _LARGEST:
        raise IntakeError(f"model '{path.name}' has more than {_LARGEST >> 20} MiB; export the "
                          "plant alone")
    things, points = (_brick if path.suffix.lower() == ".ttl" else _haystack)(path)
    if not points:
        raise IntakeError(f"model '{path.name}' holds no point; export the points of the plant "
                          "with their equipment")
    for id in points:
        thing, above = things[id], _above(things[id], things)
        words = thing.words
        # Water of a chilled beam is not the plant's: no word of it may be lost.
        if thing.above and not above:
            words += " of equipment that the model does not list"
        elif above and not _understood(above[-1]):
            words += f" of {above[-1].words}"
        yield Meant(" ".join(map(_numbered, above)), words, thing.unit), thing


def _above(thing: _Thing, things: Mapping[str, _Thing]) -> list[_Thing]:
    """What a point belongs to, the outermost first: its own equipment whatever it is, above that
    machines only, for a loop is of both waters."""
    found: list[_Thing] = []
    for step in range(_UP):
        thing = next((things[id] for id in thing.above if id in things), _Thing("", ()))
        if thing in found or not thing.words:
            break
        if not step or read(thing.words).all("of"):
            found.insert(0, thing)
    return found


def _understood(thing: _Thing) -> bool:
    """Whether it is a machine that the tables know, or every word of it says something here."""
    name = read(thing.words)
    return bool(name.all("of")) or not name.unknown


def _numbered(thing: _Thing) -> str:
    """Equipment as its class and its number or letter: ``Chiller 2``."""
    words = thing.words.replace("_", " ")
    for name in (name for names in thing.names for name in names):
        number, letter = read(f"{words} {name}").key
        if not number and not letter and (digits := re.findall(r"\d+", name)):
            number = int(digits[-1])
        if number or letter:
            return f"{words} {number or ''} {letter.upper()}"
    return words


# -- Brick ----------------------------------------------------------------------------------------

def _brick(path: Path) -> tuple[dict[str, _Thing], list[str]]:
    try:
        import rdflib
    except ImportError:
        raise IntakeError(f"model '{path.name}' is a Brick model, which takes a further package: "
                          "run pip install 'fptlib[brick]', then read it again") from None
    graph = rdflib.Graph()
    try:
        graph.parse(data=path.read_bytes(), format="turtle")
    # A parser of others' files raises whatever it likes.
    except Exception as error:
        raise IntakeError(f"model '{path.name}' is no Turtle that can be read "
                          f"({str(error).strip().splitlines()[0][:120]}); export the model again"
                          ) from error
    held: dict[Any, list[tuple[str, Any]]] = {}
    above: dict[Any, list[str]] = {}
    for subject, predicate, thing in graph:
        verb = _local(predicate)
        held.setdefault(subject, []).append((verb, thing))
        if verb in ("isPointOf", "isPartOf"):
            above.setdefault(subject, []).append(str(thing))
        elif verb in ("hasPoint", "hasPart"):
            above.setdefault(thing, []).append(str(subject))
    things = {}
    for subject, said in held.items():
        kind = sorted(_local(thing) for verb, thing in said
                      if verb == "type" and "brickschema.org" in str(thing))
        if kind:
            references = [text for verb, thing in said for text in (
                held.get(thing, ()) if verb in ("timeseries", "hasExternalReference",
                                                "hasTimeseriesReference") else ((verb, thing),))]
            ids = [str(value) for verb, value in references
                   if verb in ("hasTimeseriesId", "object-name")]
            unit = next((_local(thing) for verb, thing in said if verb == "hasUnit"), "")
            things[str(subject)] = _Thing(
                kind[0], (tuple(ids), tuple(str(v) for verb, v in said if verb == "label"),
                          (_local(subject),)),
                tuple(sorted(above.get(subject, ()))), _QUDT.get(unit, ""))
    points = [str(subject) for subject, said in held.items() if str(subject) in things and (
        any(verb == "isPointOf" for verb, _ in said) or things[str(subject)].words.endswith(
            ("_Sensor", "_Setpoint", "_Command", "_Status", "_Alarm")))]
    return things, sorted({*points, *(str(thing) for said in held.values() for verb, thing in said
                                      if verb == "hasPoint" and str(thing) in things)})


def _local(name: Any) -> str:
    return re.split(r"[#/:]", str(name))[-1]


# -- Haystack -------------------------------------------------------------------------------------

def _haystack(path: Path) -> tuple[dict[str, _Thing], list[str]]:
    try:
        grid = json.loads(path.read_text(encoding="utf-8-sig"))
        rows = [row for row in grid["rows"] if isinstance(row, dict)]
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise IntakeError(f"model '{path.name}' is no Haystack grid in JSON; export the points and "
                          "equipment of the plant as Haystack JSON") from error
    things, points = {}, []
    for row in rows:
        tags = {name for name, value in row.items() if _kind(value) == "marker"}
        id, label = _text(row.get("id"))
        own = sorted((tag for tag in tags if tag in _OTHER or not read(tag).unknown),
                     key=lambda tag: _ORDER.index(tag) if tag in _ORDER else -1)
        is_point = _kind(row.get("point")) == "marker"
        points += [id] if is_point else []
        above, of = _text(row.get("equipRef"))
        dis, nav = (_text(row.get(key))[0] for key in ("dis", "navName"))
        names = tuple(filter(None, (label, dis, nav, nav and of and f"{of} {nav}")))
        kind = own if is_point else [tag for tag in _EQUIPMENT if tag in tags] or [*own, *names[:1]]
        things[id] = _Thing(" ".join(kind), ((), names, (id,)),
                            (above,) if above else (), _text(row.get("unit"))[0])
    return things, points


def _kind(value: Any) -> str:
    """What a value of Haystack's JSON is; version 3 writes ``m:`` where 4 writes an object."""
    if isinstance(value, dict):
        return str(value.get("_kind", ""))
    return {"m:": "marker", "r:": "ref"}.get(str(value)[:2], "text")


def _text(value: Any) -> tuple[str, str]:
    """A text, or a reference's id and label."""
    if isinstance(value, dict):
        return str(value.get("val", "")), str(value.get("dis", ""))
    text = str(value or "")
    if text.startswith("r:"):
        id, _, label = text[2:].partition(" ")
        return id, label
    return text.removeprefix("s:"), ""
