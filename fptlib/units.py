"""Unit conversion, used at intake, at forms and at display, and nowhere else.

Every point has one unit (see the glossary); this module turns what a file or a person
states into it and back. Temperature differences are not points, so an offset is safe.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fptlib.errors import IntakeError


@dataclass(frozen=True, slots=True)
class Scale:
    """``glossary value = (stated value + before) * factor + after``."""

    factor: float = 1.0
    before: float = 0.0
    after: float = 0.0

    def __call__(self, values: Any) -> Any:
        """Convert a number, array or series to the glossary's unit."""
        if self == Scale():
            return values
        return (values + self.before) * self.factor + self.after

    def back(self, values: Any) -> Any:
        """Convert from the glossary's unit to the stated one."""
        return (values - self.after) / self.factor - self.before


# Exact by definition: 1 psi = 6894.757293168 Pa, 1 gal = 3.785411784e-3 m3,
# 1 ton = 12 000 Btu(IT)/h = 3.5168528 kW (NIST SP 811, from memory).
_PSI = 6894.757293168
_GAL = 3.785411784e-3
_TON = 3.5168528420667

_SCALES: dict[str, dict[str, Scale]] = {
    "degF": {
        "degF": Scale(),
        "degC": Scale(1.8, 0.0, 32.0),
        "K": Scale(1.8, -273.15, 32.0),
    },
    # A difference of temperatures (approach, lift, tolerance) has no offset.
    "degF difference": {"degF difference": Scale(), "degC difference": Scale(1.8)},
    "%RH": {"%RH": Scale(), "fraction": Scale(100.0)},
    "%": {"%": Scale(), "fraction": Scale(100.0)},
    "psia": {
        "psia": Scale(),
        "kPa": Scale(1000.0 / _PSI),
        "Pa": Scale(1.0 / _PSI),
        "bar": Scale(1e5 / _PSI),
        "hPa": Scale(100.0 / _PSI),
        "inHg": Scale(3386.389 / _PSI),
    },
    "psi": {
        "psi": Scale(),
        "kPa": Scale(1000.0 / _PSI),
        "bar": Scale(1e5 / _PSI),
        "ftH2O": Scale(2988.98 / _PSI),
    },
    "gpm": {
        "gpm": Scale(),
        "L/s": Scale(60.0 / 1000.0 / _GAL),
        "L/min": Scale(1.0 / 1000.0 / _GAL),
        "m3/h": Scale(1.0 / 60.0 / _GAL),
        "m3/min": Scale(1.0 / _GAL),
        "m3/s": Scale(60.0 / _GAL),
        # Water at the temperatures of this plant weighs 1 kg per litre within 0.1 %.
        "kg/s": Scale(60.0 / 1000.0 / _GAL),
    },
    "kW": {"kW": Scale(), "W": Scale(1e-3), "MW": Scale(1e3), "hp": Scale(0.745699872)},
    "tons": {
        "tons": Scale(),
        "kW": Scale(1.0 / _TON),
        "W": Scale(1e-3 / _TON),
        "MBtu/h": Scale(1.0 / 12.0),
    },
    "A": {"A": Scale()},
    "on/off": {"on/off": Scale()},
    "alarm": {"alarm": Scale()},
    "min": {"min": Scale(), "h": Scale(60.0), "s": Scale(1.0 / 60.0)},
    "ft": {"ft": Scale(), "m": Scale(1.0 / 0.3048)},
    "gal": {"gal": Scale(), "m3": Scale(1.0 / _GAL), "L": Scale(1e-3 / _GAL)},
}


_GAUGE = {"psig": "psia", "kPag": "kPa", "barg": "bar"}


def gauge_of(absolute: str) -> str:
    """The gauge unit of an absolute pressure's."""
    return next(gauge for gauge, of in _GAUGE.items() if of == absolute)


def is_gauge(stated: str, wanted: str) -> bool:
    """Whether ``stated`` is a gauge pressure of an absolute one."""
    return wanted == "psia" and stated in _GAUGE


def scale(stated: str, wanted: str, where: str, atmosphere: float | None = None) -> Scale:
    """The conversion from ``stated`` to ``wanted``; ``where`` opens the error sentence.

    A gauge shows what is above the ``atmosphere`` [psia] at the site.

    Raises:
        IntakeError: the stated unit is unknown or measures something else, or is a gauge
            pressure and the site's altitude, and so its atmosphere, is not known.
    """
    if is_gauge(stated, wanted):
        if atmosphere is None:
            raise IntakeError(f"{where}: a gauge pressure needs the site's altitude; "
                              "state altitude under [site]")
        return Scale(_SCALES["psia"][_GAUGE[stated]].factor, 0.0, atmosphere)
    known = _SCALES.get(wanted, {wanted: Scale()})
    if stated not in known:
        raise IntakeError(
            f"{where}: unit '{stated}' cannot be turned into {wanted}; "
            f"state one of: {', '.join(known)}"
        )
    return known[stated]


OF_READING = "% of reading"
# A half-width needs no offset, so a gauge's psi fits an absolute pressure.
_SAME_STEP = {"psia": {"psi": Scale(), **{name: _SCALES["psia"][absolute]
                                          for name, absolute in _GAUGE.items()}}}


def half_width(amount: float, stated: str, wanted: str, reading: float) -> float | None:
    """An accuracy in ``stated``, perhaps per cent of the ``reading``, in the unit ``wanted``;
    ``None`` where the stated unit measures something else."""
    if stated == OF_READING:
        return amount / 100.0 * abs(reading)
    known = {**_SCALES.get(wanted, {}), **_SAME_STEP.get(wanted, {})}
    return amount * known[stated].factor if stated in known else None


def half_width_units() -> list[str]:
    """Every unit in which an instrument's accuracy may be stated."""
    measured = ("degF", "gpm", "kW", "psia", "psi", "%RH", "%", "A", "tons")
    units = [unit for wanted in measured
             for unit in {**_SCALES[wanted], **_SAME_STEP.get(wanted, {})}]
    return list(dict.fromkeys([OF_READING, *units]))


def choices(wanted: str) -> list[str]:
    """The units that can be turned into ``wanted`` by themselves."""
    return list(_SCALES.get(wanted, {wanted: Scale()}))


def offered(wanted: str) -> list[str]:
    """``choices``, and the gauge units that need the site's air besides."""
    return choices(wanted) + [unit for unit in _GAUGE if is_gauge(unit, wanted)]


# How files write units: lower case, without blanks, degree signs and full stops.
_ALIASES: dict[str, tuple[str, ...]] = {
    "degF": ("f", "degf", "fahrenheit"),
    "degC": ("c", "degc", "celsius", "centigrade"),
    "K": ("k", "kelvin"),
    "%RH": ("%rh", "rh%", "%r.h", "%", "pct", "percent", "rh"),
    "%": ("%", "pct", "percent", "%open", "%speed"),
    "fraction": ("fraction", "0-1", "p.u", "pu"),
    "psia": ("psia", "psi(a)", "psiabs"),
    "psig": ("psig", "psi(g)"),
    "psi": ("psi", "psid", "lb/in2", "lbf/in2"),
    "kPa": ("kpa", "kpa(a)", "kpaa"),
    "kPag": ("kpag", "kpa(g)"),
    "Pa": ("pa",),
    "hPa": ("hpa", "mbar"),
    "bar": ("bar", "bara"),
    "barg": ("barg",),
    "inHg": ("inhg", "in.hg", "inhga"),
    "ftH2O": ("fth2o", "ftwc", "ftwg", "ft", "ftofhead", "fthead"),
    "gpm": ("gpm", "usgpm", "gal/min", "gals/min", "gallonsperminute"),
    "L/s": ("l/s", "lps", "ls", "l/sec", "liter/s", "litre/s"),
    "L/min": ("l/min", "lpm"),
    "m3/h": ("m3/h", "m3/hr", "m^3/h", "m³/h", "cmh", "m3h"),
    "m3/min": ("m3/min", "m³/min", "m^3/min"),
    "m3/s": ("m3/s", "m³/s", "m^3/s", "cms"),
    "kg/s": ("kg/s", "kgs"),
    "kW": ("kw", "kilowatt", "kilowatts"),
    "W": ("w", "watt", "watts"),
    "MW": ("mw",),
    "hp": ("hp",),
    "tons": ("tons", "ton", "tr", "rt", "tonsr", "tonr", "tonref", "trf"),
    "MBtu/h": ("mbtu/h", "mbh", "kbtu/h", "mbtuh", "kbtuh"),
    "A": ("a", "amp", "amps", "ampere", "amperes"),
    "on/off": ("on/off", "onoff", "off/on", "0/1", "status"),
    "alarm": ("alarm",),
}


_SYMBOLS = {
    "degF": "°F", "degC": "°C", "degF difference": "°F", "degC difference": "°C",
    "ftH2O": "ft water", "m3/h": "m³/h", "m3/min": "m³/min", "m3/s": "m³/s", "m3": "m³",
    "on/off": "", "alarm": "", "count": "",
}


def symbol(unit: str) -> str:
    """A unit as people read it."""
    return _SYMBOLS.get(unit, unit)

# Common practice, no source: timers are set and read in minutes up to some hours, runs in hours.
_LONG_MINUTES = 300.0


def rounded(value: float | None, unit: str = "") -> str:
    """A measured or calculated number as every table prints it; a dash where there is none.

    The digits are fixed by the unit and steady against the last digits of arithmetic: the page,
    the record and the command line print the same.
    """
    if value is None or value != value:
        return "–"
    size = abs(value)
    # A time is read in whole minutes; rows of half a minute show in short ones alone.
    whole = unit == "min" and (size >= 10 or abs(size - round(size)) < 0.05)
    digits = 0 if size >= 1000 or whole else 1 if size >= 10 or unit != "kW/ton" else 3
    text = f"{value:.{digits}f}"
    if float(text) == 0.0:
        # "-0.0" is zero that went through a subtraction; a small value must not read as zero.
        text = f"{value:.4f}".rstrip("0") if size >= 0.0001 else text.lstrip("-")
    return text


def shown(value: float | None, unit: str = "") -> str:
    """A measured or calculated number with its unit; a long time in hours and minutes."""
    text = rounded(value, unit)
    if value is not None and unit == "min" and abs(value) >= _LONG_MINUTES:
        hours, minutes = divmod(round(abs(value)), 60)
        return f"{'-' if value < 0 else ''}{hours} h {minutes:02d} min"
    return text if text == "–" else f"{text} {symbol(unit)}".strip()


def stated(value: float | str | None, unit: str = "") -> str:
    """What a person stated, with its unit and every digit of it; words stay words."""
    if value is None or value == "":
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = value if isinstance(value, str) else f"{value:.10g}"
    return f"{text} {symbol(unit)}".strip()


def alias(text: str, wanted: str = "") -> str:
    """The unit that a file's ``text`` means for a point in ``wanted``, or ``""``.

    Without ``wanted`` the first unit that is written so. MW and mW are told apart by nobody
    who writes trends: plant power in mW does not occur.
    """
    plain = text.strip().strip("°º").lower().replace("°", "").replace("º", "")
    plain = "".join(plain.split()).rstrip(".").removeprefix("deg.")
    if not plain:
        return ""
    named = [unit for unit, words in _ALIASES.items() if plain in words or plain == unit.lower()]
    if wanted:
        named = [unit for unit in named if unit in offered(wanted)]
        # A plain "psi" of an absolute pressure is left to the person: gauge or absolute?
    return named[0] if named else ""
