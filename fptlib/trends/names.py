"""What the header of a column says, in the trade's words and abbreviations: which equipment and its
number, which water or air, which end of it, which quantity.

The words are the trade's (common practice, no source): no product's and no site's. Nothing here
knows the glossary; ``suggest.py`` sets what a header says beside what its values do.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from fptlib.trends.cells import split_unit

# A concept is "kind=value"; a word may mean several. Kinds: of (equipment), in (water, air), end,
# is (quantity), as (setpoint, command, ...), not (what no point of this plant is).
_WORDS = """
of=chiller: ch chi chl chil chlr chlrs chllr chiler chiller chillers machine
of=tower: ct clt twr tower towers coolingtower cell cells
of=fan: fan fans
of=pump: pump pumps pmp p
of=hx: hx phx phe pfhx pfhe bphx bphe hex exch exchanger heatexchanger
of=economizer: wse econ economizer economizing econz waterside freecool freecooling fc wsec
of=decoupler: decoupler decpl bypass byp
of=ahu: ahu ah ahus
of=heater: heater heaters htr
of=plant: plant plt cup cep chillerplant
of=total: total tot
of=service: utility service billing
in=chw: chilled evap evaporator
in=cw: cond condenser con cnd condensing
in=oa: oa osa outdoor outside ambient amb exterior external weather wx weatherstation
in=hw: hw hhw hot heating
in=sa: sa da
in=sa is=temp: sat dat
in=ra: ra
in=ra is=temp: rat
in=ma: ma mixed
in=ma is=temp: mat
in=water: water wtr
end=supply: sup supply sply spl sup
end=return: ret return rtn returning
end=entering: ent entering ewt in inlet
end=leaving: lvg leaving lwt out outlet lv
end=from: from
end=to: to
end=warm: hi
end=cold: lo
end=sump: sump
end=basin: basin
end=discharge: discharge disch
of=fan end=supply: sf
is=temp: t tmp temp temps temperature rtd
is=temp end=entering: ewt
is=temp end=leaving: lwt
is=flow: f flow flo
is=flow unit=gpm: gpm
is=power: kw pwr pow power watt watts demand kilowatts
is=energy: kwh mwh energy btu
is=amps: amps amp current ampere amperes
is=percent_load: rla fla
is=humidity: rh hum humid humidity relhum
is=wet_bulb: wb wbt wetbulb twb
is=dry_bulb: db dbt drybulb tdb
is=differential_pressure: dp dpt psid
is=pressure: press pressure prs psi psia psig kpa
is=barometer: baro barometer barometric atmospheric atmos
is=speed: spd speed vfd freq frequency ratio
is=hertz: hz hertz
is=position: pos position vlv valve iso isov isolation
is=damper: damper dmpr dpr
is=damper in=oa: oad
is=status: st sts stat status run running proof prf on off active act
as=command: cmd command request req
as=command is=enable: ena enable en enbl enabled
as=alarm: alm alarm flt fault trip tripped
as=setpoint: sp spt stpt setpt setpoint target
as=reset: reset rst
as=feedback: fb fbk feedback
as=own: effective
as=most: mostopen
is=load: load tons ton tonnage rt tr
is=heat: cooling heat thermal
is=percent: pct percent per output signal sig
is=mode: mode
is=difference: delta diff differential dt
not=efficiency: eff efficiency cop perton kwrt kwt factor pf reactive apparent kvar imbalance peak
not=hours: hrs hours runtime starts
not=limit: deadband integral proportional parameter
not=limit: limit lim min max minimum maximum average high low lead lag lockout threshold
not=level: level lvl
not=makeup: makeup mu blowdown
not=oil: oil lube
not=inside: saturated suct suction bearing winding motortemp superheat vane
not=enthalpy: dewpoint dew enthalpy enth co
not=switch: filter freeze available availability ready disable disabled occupied occupancy manual
not=switch: auto hoa timer vibration vib direction override overridden standby maintenance
not=hot: boiler blr dhw steam stm domestic
not=air: rtu vav vavs fcu crah crac mau doas oau ea za zt coil duct zonetemp
not=air: rf ef exhaust exh relief preheat reheat
not=room: rm room zone zn zone space office mech fl floor zs
is=critical: suite suites critical server datahall
not=storage: ts storage tank ice glycol
not=generator: gen generator ups lighting transformer
: collection clg cool sys system loop site sensor value val pv rel relative air avg deg hdr header
# Loops of a water; which of them is the plant's the rules leave to physics and to rivals.
: primary pri secondary
: common plate building bldg meter mtr
"""
_CONCEPTS: dict[str, set[str]] = {}
for _line in _WORDS.split("\n"):
    if ":" in _line:
        _meant, _said = _line.split(":")
        for _word in _said.split():
            _CONCEPTS.setdefault(_word, set()).update(_meant.split())

# Words that belong together, before they are looked at one by one.
_TOGETHER = (
    (r"\bset (point|pt)\b", "setpoint"), (r"\bchiller plant\b", "plant"),
    (r"\bin service\b", "status"), (r"\bmachine room\b", "mech"),
    (r"\bair (handler|handling unit|handling)s?\b", "ahu"),
    (r"\b(supply|sup|discharge|disch) (air|fan)\b", r"s\2"), (r"\bsair\b", "sa"),
    (r"\bsfan\b", "sf"), (r"\b(return|ret) air\b", "ra"), (r"\breturn fan\b", "rf"),
    (r"\bmixed air\b", "ma"), (r"\b(damper|dmpr|dpr) pos(ition)?\b", "damper"),
    (r"\b(most open|max|maximum|highest) ((ahu|coil|chw|clg|cooling) )*(valve|vlv)\b",
     "mostopen valve"),
    (r"\b(chilled water|chw|cooling|clg|cool) (coil )?(valve|vlv)\b", "chw valve"),
    # What leaves the basin is the towers' supply; in Britain the supply of a water is its "flow".
    (r"\bbasin (?=(supply|sup|leaving|lvg|outlet)\b)", ""),
    (r"\bflow (?=(temp|temperature|tmp)\b)", "supply "),
    (r"\bpress(ure)? drop\b", "dp"),
    (r"\bcommon (leg|pipe)\b", "decoupler"),
    # "CHR" alone may be chilled-water return.
    (r"\bchr (?=\d)", "chiller "),
    (r"\bwet bulb\b", "wetbulb"),
    (r"\bdry bulb\b", "drybulb"), (r"\bdew (point|pt)\b", "dewpoint"),
    (r"\bfree (cool(ing)?|clg)\b", "wse"), (r"\bheat exchanger\b", "hx"),
    (r"\b(run|running) (time|hrs|hours)\b", "hours"), (r"\bmake ?up\b", "makeup"),
    (r"\bweather station\b", "weather"), (r"\bcooling tower\b", "ct"),
    (r"\bheat rej\w*\b", "hot"),
    (r"\bsaturated\b", "suction"), (r"\b(delta|diff|differential|d) (p|press|pressure)\b", "dp"),
    (r"\b(delta|diff|differential) (t|temp|temperature)\b", "delta"),
    (r"\b(operating|data|server) (room|hall|suite)s?\b", "critical"),
    (r"\b(twr|tower|cooling) (wtr|water)\b", "cond water"), (r"\b(cnd|cond) w\b", "cond water"),
    (r"\b(chilled|chld) w\b", "chw"), (r"\b(p?chw|cd?w) st\b", r"\1 sup temp"),
    (r"\b(p?chw|cd?w) rt\b", r"\1 ret temp"), (r"\bon off (status|stat)\b", "status"),
    (r"\bon off (cmd|command)\b", "cmd"), (r"\bkw (rt|ton|tons|per ton)\b", "efficiency"),
    (r"\b(pct|percent|rated) (rated )?(load )?(rla|fla|amps|load)\b", "rla"),
    (r"\b(active|actv|electric|elec) (power|energy)\b", r"\2"),
    (r"\babsolute hum\w*\b", "enthalpy"),
    (r"\bno (?=\d)", ""), (r"\bl s\b", "flow"), (r"\bkg s\b", "flow"), (r"\bm3 [hs]\b", "flow"),
    (r"\bs ?/ ?s\b", "cmd"), (r"\b(motor|input) (current|amps|power)\b", r"\2"),
    (r"\bdeg ?[fck]\b", "temp"),
)
# CHWST, LCDWT, CWR, CHWP, CDHI: letters of the water, its end, its quantity, in this order.
_WATER = re.compile(
    r"(?P<before>[le])?(?P<loop>[ps])?(?P<water>chw|cdw|cndw|cnw|cw|cd)"
    r"(?P<after>hi|lo|in|out|ent|lvg|sup|ret|s|r|l|e)?(?P<what>dp|t|f|p)?(?P<sp>sp)?")
_OF_WATER = {
    "chw": "in=chw", "l": "end=leaving", "e": "end=entering", "s": "end=supply",
    "r": "end=return", "hi": "end=warm", "lo": "end=cold",
    "in": "end=entering", "ent": "end=entering", "out": "end=leaving", "lvg": "end=leaving",
    "sup": "end=supply", "ret": "end=return", "t": "is=temp", "f": "is=flow",
    "dp": "is=differential_pressure", "p": "of=pump", "sp": "as=setpoint",
}
# OAT, OAWB, OARH, and those of air handlers, rooms and zones.
_AIR = re.compile(r"(?P<air>oa|osa|sa|ra|ma|da|ea|za|zn|rm)"
                  r"(?P<what>(?:wb|db)(?:t|tmp|temp)?|rh|hum|h|tmp|temp|t|f)")
# A tag begins with the letter of what it measures, then that it transmits or indicates it
# (ISA-5.1, table of identification letters, from memory): TT-, FIT-, PDT-.
_TAG = re.compile(r"(?:^|(?<=[/.\\ ]))(?P<what>PD|[TFPMJIZSL])(?:I?T|I|E)(?=[-_][A-Z])")
_MEASURED = {"T": "temp", "F": "flow", "P": "pressure", "PD": "dp", "M": "humidity", "J": "power",
             "I": "amps", "Z": "position", "S": "speed", "L": "level"}
_DEGREES = re.compile(r"[°º]\s*[FCK]\b")
_LETTERS = ("a", "b", "c", "d")
_NUMBERED = {"of=chiller", "of=tower", "of=fan", "of=pump", "of=hx", "of=ahu"}


@dataclass(frozen=True)
class Name:
    """What a header says.

    Attributes:
        concepts: ``kind=value`` each; see the words above.
        key: of the equipment: its number and letter as written, ``(0, "")`` where there is none.
        unknown: words that say nothing here.
    """

    concepts: frozenset[str]
    key: tuple[int, str] = (0, "")
    unknown: int = 0

    def __contains__(self, concept: str) -> bool:
        return concept in self.concepts

    def any(self, *concepts: str) -> bool:
        """Whether it says any of these."""
        return not self.concepts.isdisjoint(concepts)

    def all(self, kind: str) -> set[str]:
        """Every value of a kind."""
        return {each.split("=")[1] for each in self.concepts if each.startswith(kind + "=")}


def read(header: str) -> Name:
    """What a header says.

    >>> sorted(read("B12_CHLRA_LCHWT").concepts), read("B12_CHLRA_LCHWT").key
    (['end=leaving', 'in=chw', 'in=water', 'is=temp', 'of=chiller'], (0, 'a'))
    """
    concepts: set[str] = set()
    key, numbered, unknown = (0, ""), False, 0
    tokens = words(header).split()
    # In a path the last part names the quantity: "Energy/Total Plant kW" is a power.
    *_, last = re.split(r"/|\\", header) if header.count("/") + header.count("\\") > 1 else [""]
    before = len(tokens) - len(words(last).split()) if last else 0
    for at, token in enumerate(tokens):
        if token.isdigit():
            continue
        meant, letter = _meaning(token)
        following = tokens[at + 1: at + 4]
        if meant & _NUMBERED and not numbered:
            key = _number(following, letter)
            numbered = key != (0, "")
        if _is_letter_of_equipment(tokens, at):
            continue
        meant = meant or _single(token, tokens, at)
        concepts |= meant if at >= before else {c for c in meant if not c.startswith("is=")}
        unknown += not meant and token not in _CONCEPTS
    if before and not any(c.startswith(("is=", "as=")) for c in concepts):
        return read(header.replace("/", " ").replace("\\", " "))
    return Name(frozenset(concepts), key, unknown)


def words(header: str) -> str:
    """A header as lower-case words: ``CHWS-T1`` is ``chws t 1``, its unit left out."""
    text = _DEGREES.sub(" temp ", split_unit(header)[0])
    text = _TAG.sub(lambda tag: _MEASURED[tag["what"]], text)
    text = re.sub(r"[^A-Za-z0-9%]+", " ", text).replace("%", " pct ")
    # "kW" is one word although its letters change size.
    text = re.sub(r"\bk(Wh?|Pa)\b", lambda unit: unit[0].upper(), text)
    text = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])|(?<=[A-Za-z])(?=\d)"
                  r"|(?<=\d)(?=[A-Za-z])", " ", text)
    text = " ".join(text.lower().split())
    for pattern, instead in _TOGETHER:
        text = re.sub(pattern, instead, text)
    return " ".join(text.split())


def _meaning(token: str) -> tuple[set[str], str]:
    """What a word means, and the letter of its equipment where it ends in one."""
    if token in _CONCEPTS:
        return _CONCEPTS[token], ""
    if found := _WATER.fullmatch(token):
        return set(_of_water(found)), ""
    if found := _AIR.fullmatch(token):
        air = {"oa": "in=oa", "osa": "in=oa", "sa": "in=sa", "da": "in=sa", "ra": "in=ra",
               "ma": "in=ma"}.get(found["air"], "not=air")
        what = {"h": "humidity", "rh": "humidity", "hu": "humidity", "f": "flow", "wb": "wet_bulb",
                "db": "dry_bulb"}.get(found["what"][:2], "temp")
        return {air, f"is={what}"}, ""
    # "CHLRA", "CTB", "CHWPC"
    body, letter = token[:-1], token[-1]
    if letter in "abcdef" and (_CONCEPTS.get(body, set()) & _NUMBERED or
                                 (found := _WATER.fullmatch(body)) and found["what"] == "p"):
        return _meaning(body)[0], letter
    return set(_in_parts(token)), ""


def _of_water(found: re.Match[str]) -> Iterator[str]:
    for part, text in found.groupdict().items():
        if text and part != "loop":
            yield _OF_WATER.get(text, "in=cw")
    yield "in=water"


def _in_parts(token: str) -> Iterator[str]:
    """The meaning of words written together (``lvgchwtemp``); nothing unless all is known."""
    best: dict[int, list[str]] = {0: []}
    for end in range(1, len(token) + 1):
        for start in range(max(0, end - 12), end - 1):
            part = token[start:end]
            if start in best and end not in best and (
                    len(part) > 2 and part in _CONCEPTS or len(part) > 2
                    and _WATER.fullmatch(part) or part in ("ch", "ct", "hx", "oa", "sp", "kw")):
                best[end] = [*best[start], part]
    for part in best.get(len(token), ()):
        yield from _meaning(part)[0]


def _number(following: list[str], letter: str) -> tuple[int, str]:
    """The number and letter behind the word of an equipment: ``1``, ``1 a`` or ``a``."""
    number = int(following[0]) if following and following[0].isdigit() else 0
    rest = following[1 if number else 0:]
    if not letter and rest and _names_equipment(rest):
        letter = rest[0]
    return number, letter


def _names_equipment(tokens: list[str]) -> bool:
    """Whether a single letter is that of an equipment, and not a side of a chiller (``c out``)."""
    behind = _CONCEPTS.get(tokens[1], set()) if len(tokens) > 1 else set()
    return tokens[0] in _LETTERS and not any(each.startswith("end=") for each in behind)


def _is_letter_of_equipment(tokens: list[str], at: int) -> bool:
    """Whether the word is the letter of the equipment before it: ``fan a``, ``ct 1 b``."""
    if not at or not _names_equipment(tokens[at:]):
        return False
    before = tokens[at - 1] if not tokens[at - 1].isdigit() else tokens[max(at - 2, 0)]
    return bool(_CONCEPTS.get(before, set()) & _NUMBERED)


def _single(token: str, tokens: list[str], at: int) -> set[str]:
    """``e`` and ``c`` before an end are a chiller's two sides, ``s`` and ``r`` behind a water its
    ends."""
    sides, ends = {"e": "in=chw", "c": "in=cw"}, {"s": "end=supply", "r": "end=return"}
    if at and token in ends and _meaning(tokens[at - 1])[0] & {"in=chw", "in=cw"}:
        return {ends[token]}
    behind = _CONCEPTS.get(tokens[at + 1], set()) if at + 1 < len(tokens) else set()
    if token in sides and any(each.startswith("end=") for each in behind):
        return {sides[token]}
    return set()
