"""One cell's text: a number, a unit, a placeholder, a word for on and off, a header."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from fptlib import units

BAD = frozenset((
    "-", "--", "---", "----", "?", "??", "???", "*", "***", "****", "*****", "n/a", "na", "nan",
    "null", "none", "nil", "#n/a", "#value!", "#div/0!", "#ref!", "#name?", "#num!", "#null!",
    "bad", "bad data", "error", "err", "no data", "nodata", "no value", "invalid", "offline",
    "missing", "comm fail", "comm failure", "unreliable", "out of service", "inf", "-inf",
    "+inf", "infinity", "-infinity", "1.#inf", "1.#qnan", "-1.#ind", "not available",
))
# A quality of 0 means good in one system and bad in another, so it is left to the job.
GOOD = frozenset(("", "good", "ok", "valid", "normal", "reliable", "192"))
POOR = frozenset(("bad", "fault", "down", "stale", "uncertain", "questionable", "invalid", "failed",
                  "unreliable", "poor", "disabled", "comm fail", "offline", "error"))
# What systems write where they have no value: limits of their counters, rows of nines.
STAND_INS = (9999.0, -9999.0, 99999.0, -99999.0, 999999.0, 9999.9, -9999.9, 999.0, -999.0, 999.9,
             -999.9, 32767.0, -32768.0, -32767.0, 65535.0, 3276.7, -3276.8, 327.67, -327.68, 6553.5,
             655.35, 1e6)
ON = frozenset((
    "on", "active", "open", "opened", "1", "1.0", "true", "yes", "run", "running", "enabled",
    "enable", "started", "start", "proven", "energized", "ein", "an", "eingeschaltet", "betrieb",
    "in betrieb", "läuft", "marche", "en marche", "en service", "activé", "encendido", "encendida",
    "en marcha", "activado", "acceso", "accesa", "in marcia", "attivo", "ligado", "ligada", "aan",
    "in bedrijf", "till", "på", "til", "päällä", "włączony", "włączona", "zał",
))
OFF = frozenset((
    "off", "inactive", "closed", "close", "0", "0.0", "false", "no", "stop", "stopped",
    "disabled", "disable", "idle", "standby", "not proven", "not running", "de-energized", "aus",
    "ausgeschaltet", "stillstand", "außer betrieb", "steht", "arrêt", "arret", "à l'arrêt",
    "hors service", "désactivé", "apagado", "apagada", "parado", "parada", "desactivado", "spento",
    "spenta", "fermo", "ferma", "desligado", "desligada", "uit", "buiten bedrijf", "från", "av",
    "fra", "pois", "wyłączony", "wyłączona", "wył",
))
ALARM_ON = frozenset(("alarm", "in alarm", "fault", "trip", "tripped", "1", "1.0", "true", "yes",
                      "active", "on", "hold"))
ALARM_OFF = frozenset(("normal", "no alarm", "ok", "none", "clear", "cleared", "0", "0.0", "false",
                       "no", "inactive", "off", "", "reset", "return to normal"))
BLANKS = re.compile(r"[\s\u00a0\u202f]+")
_GROUPED = re.compile(
    r"[-+]?\d{1,3}(?P<by>[,.'\s\u00a0\u202f])\d{3}(?:(?P=by)\d{3})*")
# Signs that typesetters and some locales write in numbers, as the plain ones.
_PLAIN_SIGNS = str.maketrans("\u2212\u2019", "-'")
_PLAIN = re.compile(r"[-+]?\d*[.,]?\d+(?:[eE][-+]?\d+)?")
_CELL = re.compile(
    r"^(?P<number>[-+]?[\d.,'\s\u00a0\u202f]*\d[\d.,]*(?:[eE][-+]?\d+)?)\s*(?P<unit>.*)$")
_UNIT_IN_HEADER = re.compile(r"^(?P<name>.*?)\s*[\[({]\s*(?P<unit>[^\])}]{1,12})\s*[\])}]\s*$")
_UNIT_AT_END = re.compile(r"^(?P<name>.*)_(?P<unit>degF|degC|F|C|K|kW|W|gpm|psi|kPa|kg_s|A)$")
# Units of what a meter counts up, and factors, as headers write them behind the name.
_COUNTED = re.compile(
    r"(?:[kMG]?Wh|[kM]?VAh|ton-?h(?:ou)?rs?|(?:k|M|MM)?Btu|therms?|gal(?:lons)?)", re.IGNORECASE)
_FACTOR = re.compile(
    r"\s*(?:[x×*]\s?1(?:0+|,000)|1(?:00+|,000)s?\s?[x×*]?\s?[a-z/%]+|.*[x×*]\s?1(?:0+|,000))\s*",
    re.IGNORECASE)
# What a transmitter sends, before anything has made a quantity of it.
_SIGNAL = re.compile(r"[Vv]|V(?:DC|AC|dc|ac)|[Vv]olts?|mV|mA|[Mm]illi(?:amps?|volts?)|[Oo]hms?")
_IN_BRACKETS = re.compile(r"[\[({]([^\[\](){}]*)[\])}]")


class Cell(NamedTuple):
    """One text as a number; ``unit`` where it states one, ``bad`` for a placeholder."""

    value: float = np.nan
    unit: str = ""
    bad: bool = False


def cell(text: str, decimal: str, bad: frozenset[str]) -> Cell | None:
    """A text as a number with perhaps a unit, a placeholder, or None."""
    bare = BLANKS.sub(" ", text).strip().translate(_PLAIN_SIGNS)
    if not bare:
        return Cell()
    if bare.lower() in bad:
        return Cell(bad=True)
    found = _CELL.match(bare)
    if not found or (value := number(found["number"], decimal)) is None:
        return None
    return Cell(value, found["unit"].strip())


def number(text: str, decimal: str) -> float | None:
    """A number in writing: blanks, apostrophes or the other sign part thousands, in threes."""
    whole, sign, part = text.strip().partition(decimal)
    if found := _GROUPED.fullmatch(whole):
        if found["by"] == decimal:
            return None
        whole = whole.replace(found["by"], "")
    if re.search(r"['\s.,]", whole + part):
        return None
    try:
        return float(f"{whole}.{part}" if sign else whole)
    except ValueError:
        return None


def marks(text: str) -> list[str]:
    """What a cell of a quality column says: ``{ok,overridden}`` says two things."""
    return [mark.strip() for mark in text.strip().strip("{}").lower().split(",")]


def matching(patterns: Iterable[str]) -> re.Pattern[str] | None:
    """What these texts stand for, ``*`` in them any text; None for none of them."""
    shapes = ["(.*)".join(map(re.escape, text.strip().split("*"))) for text in patterns]
    return re.compile("|".join(shapes), re.IGNORECASE) if shapes else None


def looks_numeric(sample: Sequence[str]) -> bool:
    """Whether most of a column's first cells are plain numbers."""
    cells = [cell for cell in sample if cell]
    return sum(1 for cell in cells if _PLAIN.fullmatch(cell)) > 0.5 * len(cells)


def tidy(text: str) -> str:
    """A header's text on one line, without blanks around it."""
    return " ".join(text.replace("\ufeff", "").replace("\u00a0", " ").split())


def split_unit(header: str) -> tuple[str, str]:
    """A header as name and unit: ``CHWS (°F)`` gives ``CHWS`` and ``°F``."""
    for shape in (_UNIT_IN_HEADER, _UNIT_AT_END):
        if (found := shape.match(header)) and units.alias(found["unit"].replace("_", "/")):
            return found["name"].strip(), found["unit"].replace("_", "/")
    return header, ""


def no_plain_unit(header: str) -> str:
    """What a header says of its numbers that keeps them from being the point's own, or ``""``."""
    *before, last = re.split(r"[\s_]+", header)
    bracketed = _IN_BRACKETS.findall(header)
    for said in (*bracketed, last if len(last) > 1 else ""):
        if _SIGNAL.fullmatch(said.strip()):
            return f"its numbers are in {said.strip()}, the signal of a transmitter"
    for said in (*bracketed, last):
        if _COUNTED.fullmatch(said.strip()):
            return f"its numbers are in {said.strip()}, which a meter counts up"
        # A whole name such as "x100" numbers a column.
        if _FACTOR.fullmatch(said) and (bracketed or before):
            return f"its numbers are to be multiplied ('{said.strip()}')"
    return ""


def shown(text: str, length: int = 40) -> str:
    """A cell's text for a sentence: on one line, printable, not too long."""
    line = " ".join(text.split())
    return "".join(c if c.isprintable() else "?" for c in line)[:length]
