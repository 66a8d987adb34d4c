"""The answers of ``job.toml`` that the procedure reads, each declared once.

The declarations give the forms, the JSON Schema and the labels and units of the record (see
``fptlib/answer.py``); ``job.tables`` lists where each stands in the file and what people call it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field
from datetime import datetime, time

from fptlib import points, units
from fptlib.answer import Kind, answer, quantity
from fptlib.physics.atmosphere import pressure_at
from fptlib.physics.moist_air import FREEZING
from fptlib.physics.refrigerant import REFRIGERANTS
from fptlib.physics.water import (
    BTU_PER_GPM,
    GLYCOLS,
    WATER,
    Fluid,
    freezing_point,
    heat_factor,
)

_DIFFERENCE = "degF difference"
_TAG = "As on the drawings."
_BY_MASS = ("From a refractometer. By mass, not by volume: 30 % by volume are 31 % by mass of "
            "propylene and 32 % of ethylene glycol.")
# Running equipment keeps so far above its fluid's freezing point (common practice, no source); it
# holds the 4 °F by which tables of glycols differ (physics.water.freezing_point).
GLYCOL_DISTANCE = 5.0
# Water lift that such compressors need at the least, from and to [degF] (common practice, no
# source; the manufacturer's own number counts before it).
COMPRESSORS: Mapping[str, tuple[float, float]] = {
    "centrifugal, medium-pressure refrigerant": (15.0, 25.0),
    "centrifugal, low-pressure refrigerant": (10.0, 20.0),
    "centrifugal, magnetic bearings": (5.0, 12.0), "screw": (20.0, 35.0)}
_LINE = ("Where the manufacturer states a line over load: the minimum above is then that at no "
         "load. Empty: one number for all loads.")


@dataclass(frozen=True, slots=True)
class General:
    """What the job is called and how it was tested."""

    title: str = answer("Title", "Stands on every page of the record.", required=True)
    number: str = answer("Job number")
    condition: str = answer(
        "Weather condition", "natural: real weather. simulated or forced: sensors or setpoints "
        "were overridden; the record says so and no capacity is proven.", default="natural",
        choices=("natural", "simulated", "forced"), required=True)
    procedure: str = answer("Procedure", asked=False)
    created: str = answer("Created", asked=False)
    invented: bool = answer("Invented, for demonstration", "", Kind.YES, False, asked=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Where the plant stands; altitude in ft."""

    name: str = answer("Site")
    place: str = answer("Place")
    altitude: float = quantity("Altitude", "ft", -1500, 20000, "Sets the air pressure for the wet "
                               "bulb.", default=MISSING, required=True)
    time_zone: str = answer("Time zone", "Type a part of it to search: Denver, Arizona, "
                            "Mountain.", Kind.ZONE, MISSING,
                            required=True)
    wet_bulb_source: str = answer(
        "Wet bulb the checks use", "calculated: from dry bulb and humidity, where the trended one "
        "is wrong.", default="trended", choices=("trended", "calculated"))
    weather_file: str = answer("Weather file", "Name of an EPW file of a typical year in the "
                               "trends folder. Optional.")
    step_minutes: float | None = quantity("Row length of the trends", "min", 0, 1e6, asked=False)


@dataclass(frozen=True, slots=True)
class Chiller:
    """One chiller's design data; ``None`` where the job does not state it.

    Temperatures in degF, lift in degF (water) or psi (pressure), capacity in tons.
    """

    number: int
    tag: str = answer("Tag", _TAG)
    refrigerant: str = answer("Refrigerant", "Saturation of R-514A is an estimate, within 2 "
                              "percent of the pressure.", choices=tuple(REFRIGERANTS))
    capacity: float | None = quantity("Capacity", "tons", 0, 10000)
    minimum_water_lift: float | None = quantity(
        "Minimum water lift", _DIFFERENCE, -30, 80, "From the manufacturer: leaving condenser "
        "water minus leaving chilled water; below 0 where it may run at inverted lift. Not known: "
        "leave empty, and state the compressor; without either the lift is not tested.")
    minimum_pressure_lift: float | None = quantity(
        "Minimum pressure lift", "psi", 0, 200,
        "From the manufacturer: condenser minus evaporator pressure.")
    cutout: float | None = quantity("Low-temperature cutout", "degF", 20, 60,
                                    "Leaving chilled water at which the chiller stops itself.")
    anti_recycle: float | None = quantity(
        "Anti-recycle time", "min", 0, 240, "From its stop until its panel lets it start again: "
        "the live test counts it down, step 4 judges it.")
    minimum_saturation_lift: float | None = quantity(
        "Minimum saturation lift", _DIFFERENCE, 0, 80, "From the manufacturer: saturated "
        "condensing minus saturated evaporating temperature. Needs the refrigerant.")
    water_lift_full: float | None = quantity(
        "Minimum water lift at full load", _DIFFERENCE, 0, 80, _LINE)
    saturation_lift_full: float | None = quantity(
        "Minimum saturation lift at full load", _DIFFERENCE, 0, 80, _LINE)
    pressure_lift_full: float | None = quantity(
        "Minimum pressure lift at full load", "psi", 0, 200, _LINE)
    evaporating_cutout: float | None = quantity(
        "Low evaporating-temperature cutout", "degF", -20, 60, "Saturated. Empty: the evaporator "
        "is held above 32 °F, where water freezes.")
    starts_per_hour: float | None = quantity(
        "Maximum starts per hour", "per hour", 0.1, 20, "From the manufacturer. Empty: the limit "
        "of the procedure.")
    starts_per_day: float | None = quantity(
        "Maximum starts per day", "per day", 0.1, 200, "In any 24 hours, from the manufacturer. "
        "Empty: the limit of the procedure.")
    minimum_chw_flow: float | None = quantity(
        "Minimum evaporator flow", "gpm", 0, 20000, "From the manufacturer, for this chiller's "
        "tubes and passes.")
    minimum_cw_flow: float | None = quantity(
        "Minimum condenser flow", "gpm", 0, 20000, "From the manufacturer. With head-pressure "
        "control by flow: the least that it may throttle to.")
    minimum_cw_entering: float | None = quantity(
        "Minimum entering condenser water", "degF", 20, 90, "Where the manufacturer states one for "
        "continuous operation. Empty: lift alone counts.")
    start_to_start: float | None = quantity(
        "Minimum time from start to start", "min", 0, 240, "From the manufacturer, where its panel "
        "counts it.")
    compressor: str = answer(
        "Compressor", "Where no minimum lift is stated, common practice with such compressors "
        "stands for it, marked as such: it can prove enough lift, never too little.",
        choices=tuple(COMPRESSORS))
    maximum_water_lift: float | None = quantity(
        "Maximum water lift", _DIFFERENCE, 0, 120, "From the manufacturer: above it the chiller "
        "may surge. Empty: not judged.")
    maximum_lift_full: float | None = quantity(
        "Maximum water lift at full load", _DIFFERENCE, 0, 120, "Where the manufacturer states a "
        "line over load: the maximum above is then that at no load.")
    rated_amps: float | None = quantity("Rated current", "A", 0, 5000, "From the nameplate.")
    rated_power: float | None = quantity(
        "Rated power", "kW", 0, 50000, "From the nameplate; used where the current is not trended.")
    loading_rate: float | None = quantity(
        "Loading ramp after a start", "%/min", 0.1, 200, "From the manufacturer or as set at its "
        "panel, in per cent of rated current or power a minute. Empty: not judged.")
    current_limit: float | None = quantity(
        "Current or demand limit", "%", 1, 120, "As set at its panel or by the sequence, in per "
        "cent of rated current or power. Empty: none is set.")


@dataclass(frozen=True, slots=True)
class Exchanger:
    """The plate exchanger's design data: degF, gpm, tons, psi."""

    tag: str = answer("Tag", _TAG)
    load: float | None = quantity("Load", "tons", 0, 60000)
    chw_flow: float | None = quantity("Chilled-water flow", "gpm", 0, 60000)
    cw_flow: float | None = quantity("Condenser-water flow", "gpm", 0, 60000)
    chw_entering: float | None = quantity("Chilled water entering", "degF", 32, 100)
    chw_leaving: float | None = quantity("Chilled water leaving", "degF", 32, 100)
    cw_entering: float | None = quantity("Condenser water entering", "degF", 30, 110)
    cw_leaving: float | None = quantity("Condenser water leaving", "degF", 30, 120)
    chw_pressure_drop: float | None = quantity("Chilled-water pressure drop", "psi", 0, 100)
    cw_pressure_drop: float | None = quantity("Condenser-water pressure drop", "psi", 0, 100)
    plate_share: float | None = quantity(
        "Share of the plates in the thermal resistance", "%", 0, 50, "From the manufacturer, with "
        "the fouling allowance. Empty: not known, and the UA at other flows is less certain.")


@dataclass(frozen=True, slots=True)
class Cold:
    """What the plant needs in cold weather: degF, gpm, %RH; ``None`` where nothing is stated."""

    water_minimum: float | None = quantity(
        "Minimum condenser water", "degF", 20, 60, "From the tower manufacturer, for the coldest "
        "cell; note the load it holds for. Empty: the limit of the procedure.")
    cell_flow: float | None = quantity(
        "Minimum flow per operating tower cell", "gpm", 0, 20000, "From the tower manufacturer: a "
        "cell with too little water freezes.")
    cells_shut_off: bool = answer("Cells can be shut off from the water", "", Kind.YES, False)
    basin_heater: float | None = quantity(
        "Basin heater setpoint", "degF", 32, 60, "Empty: the basins have no heater.")
    space_humidity: float | None = quantity(
        "Maximum humidity of the most critical space", "%RH", 1, 100, "Empty: no space whose "
        "humidity is critical.")


@dataclass(frozen=True, slots=True)
class Approach:
    """An approach [degF] as the job states it, with where it comes from.

    ``basis`` is ``observed`` (the job says when and how in ``remark``) or ``design``.
    Only an observed approach may be taken to share the errors of the trended sensors.
    """

    value: float = quantity("Approach", _DIFFERENCE, 0, 40, "Empty: observed in the trends.",
                            default=MISSING)
    basis: str = answer("Basis", default=MISSING, choices=("observed", "design"))
    remark: str = answer("Where it comes from")


VARIABLE_SPEED, SINGLE_SPEED = "variable speed", "single speed"


@dataclass(frozen=True, slots=True)
class Plant:
    """Plant and site.

    Attributes:
        altitude: of the site [ft].
        time_zone: of the site, a name of the tz database.
        chillers: design data, one for each chiller.
        tower_approach, exchanger_approach: as stated in the job, or None.
        loop_volume, sump_volume: [gal], or None.
        equipment_limit: largest number of tower cells, and of the ``pumps`` with them, in
            economizer mode, or None.
        fans: ``variable speed``, ``two-speed`` or ``single speed``.
        exchangers, sumps: how many; the design data and points are those of all together.
        exchangers_alike: whether all exchangers are of one size (``not stated``, ``yes``, ``no``).
        air_handlers: how many are trended; ``air_economizer`` whether they have outdoor-air
            economizers (``not stated``, ``yes``, ``no``).
        base_load: to expect at night in cold weather [tons], or None.
        pumps: how many pumps the equipment limit counts; none where it counts cells alone.
        demand_window: ``clock`` (fixed block) or ``sliding`` (rolling).
        chw_glycol, cw_glycol: ``propylene`` or ``ethylene`` with its mass per cent, or empty.
        cw_return_design: condenser water to the towers at design [degF], or None.
        on_peak_from, on_peak_to, on_peak_days: when the utility bills demand; None: always.
    """

    altitude: float
    time_zone: str
    chillers: tuple[Chiller, ...] = quantity("Number of chillers", "", 1, 40, kind=Kind.WHOLE,
                                             default=(), required=True)
    tower_cells: int = quantity("Number of tower cells", "", 1, 80, kind=Kind.WHOLE, default=0,
                                required=True)
    exchanger: Exchanger = Exchanger()
    cold: Cold = Cold()
    tower_approach: Approach | None = None
    exchanger_approach: Approach | None = None
    loop_volume: float | None = quantity(
        "Water in the chilled-water loop", "gal", 0, 5e6, "With it verdicts on the chilled-water "
        "supply temperature wait until the loop has turned over.")
    sump_volume: float | None = quantity("Water in the sump", "gal", 0, 5e6, "With it step 4 shows "
                                         "the heat the towers rejected in each pull-down.")
    equipment_limit: int | None = quantity(
        "Maximum equipment allowed in economizer mode", "", 1, 100, "From the sequence of "
        "operation: tower cells, and pumps where it counts them.", Kind.WHOLE)
    pumps: int = quantity("Pumps counted with it", "", 0, 40, "Empty: tower cells alone. Otherwise "
                          "the status of each is needed.", Kind.WHOLE, default=0)
    fans: str = answer(
        "Tower fans", "Single speed: a running fan is at full speed, and its status is enough. "
        "Two-speed: trend their stage as a speed in per cent.",
        default=VARIABLE_SPEED, choices=(VARIABLE_SPEED, "two-speed", SINGLE_SPEED))
    exchangers: int = quantity(
        "Number of exchangers", "", 1, 20, "In parallel, or one for each chiller. State below the "
        "design data of all together, and trend their total flows and common temperatures; with "
        "flows and leaving water of each, each is judged too.",
        Kind.WHOLE, default=1)
    exchangers_alike: str = answer(
        "Exchangers are all of one size", "Each has then its equal part of the design data. "
        "Otherwise none is said to be fouled by its own trends.", default="not stated",
        choices=("not stated", "yes", "no"))
    sumps: int = quantity(
        "Number of sumps", "", 1, 20, "With equalizers or without. Condenser water is what leaves "
        "them all together; in freezing weather trend or measure the water of each.", Kind.WHOLE,
        default=1)
    base_load: float | None = quantity(
        "Cooling load to expect at night in cold weather", "tons", 0, 60000, "From the owner: what "
        "runs then, such as server rooms and process. Empty: a load that should not be there "
        "cannot be told from one that is needed.")
    air_handlers: int = quantity("Air handlers that are trended", "", 0, 40, "Those whose fan, "
                                 "temperatures, outdoor-air damper and chilled-water valve step 7a "
                                 "judges. Empty: none.", Kind.WHOLE, default=0)
    air_economizer: str = answer(
        "They cool with outdoor air", "Whether these air handlers have outdoor-air economizers.",
        default="not stated", choices=("not stated", "yes", "no"))
    demand_window: str = answer(
        "Utility's demand window", "Fixed block: each quarter hour of the clock.",
        default="clock", choices=("clock", "sliding"),
        words={"clock": "fixed block", "sliding": "rolling"})
    on_peak_from: time | None = answer(
        "Utility's on-peak hours from", "Such as 14:00. Empty: demand is billed at all hours.",
        Kind.CLOCK, None)
    on_peak_to: time | None = answer("Utility's on-peak hours to", "", Kind.CLOCK, None)
    on_peak_days: str = answer("On-peak days", default="weekdays",
                               choices=("weekdays", "every day"))
    chw_glycol: str = answer("Glycol in the chilled water", "Empty: water.", choices=GLYCOLS)
    chw_glycol_percent: float | None = quantity("Its share by mass", "%", 10, 50, _BY_MASS)
    cw_glycol: str = answer("Glycol in the condenser water", "Of closed-circuit towers or dry "
                            "coolers. Empty: water.", choices=GLYCOLS)
    cw_glycol_percent: float | None = quantity("Its share by mass there", "%", 10, 50, _BY_MASS)
    cw_return_design: float | None = quantity(
        "Design condenser-water return temperature", "degF", 60, 120, "To the towers, with all "
        "chillers at design. With it the settings sheet gives the condenser-water setpoint on "
        "chillers by ASHRAE Guideline 36.")

    @property
    def atmosphere(self) -> float:
        """Pressure of the standard atmosphere at the site [psia]."""
        return float(pressure_at(self.altitude))

    def fluid(self, side: str) -> Fluid:
        """What flows on the ``chw`` or the ``cw`` side."""
        glycol, percent = getattr(self, f"{side}_glycol"), getattr(self, f"{side}_glycol_percent")
        return Fluid(glycol, percent) if glycol and percent else WATER

    def btu_per_gpm(self, side: str) -> float:
        """Heat that a gpm on the ``chw`` or the ``cw`` side takes with one degF [Btu/h]: the
        trade's 500 for water, a glycol's by its properties at 50 degF."""
        fluid = self.fluid(side)
        return BTU_PER_GPM if fluid == WATER else float(heat_factor(50.0, *fluid))

    def above_freezing(self, limit: float, side: str) -> float:
        """A limit that is stated for water [degF], for what flows on a side: as far above its
        freezing point, and with glycol by ``GLYCOL_DISTANCE`` at the least."""
        fluid = self.fluid(side)
        if fluid.glycol is None:
            return limit
        return freezing_point(fluid.glycol, fluid.percent) + max(limit - FREEZING, GLYCOL_DISTANCE)

    def chiller(self, n: int) -> Chiller:
        """Design data of chiller ``n``; empty where the job has none."""
        return next((c for c in self.chillers if c.number == n), Chiller(n))


TEMPORARY_SETPOINT = "temporary setpoint"
HEAD_PRESSURE = "head-pressure control"
NO_PROTECTION = "none needed"


@dataclass(frozen=True, slots=True)
class LiftProtection:
    """How running chillers keep their lift on cold condenser water; ``head_pressure_water`` is
    what head-pressure control holds in the water leaving a chiller's condenser [degF]."""

    means: str = answer(
        "How the sequence keeps the chillers' lift", "head-pressure control: a valve, a bypass or "
        "variable condenser pumps. none needed: machines that run at zero or inverted lift.",
        default=TEMPORARY_SETPOINT, choices=(TEMPORARY_SETPOINT, HEAD_PRESSURE, NO_PROTECTION))
    head_pressure_water: float | None = quantity(
        "Head-pressure control: condenser water leaving a running chiller at or above", "degF",
        32, 110, "Empty: it holds the lift itself, judged against the minimum lift.")


# What can drive a reset, and the quantity of the trends it is.
DRIVERS = {"outdoor air": "outdoor_dry_bulb", "valve position": "chw_valve_position",
           "differential pressure": "chw_diff_pressure", "load": "load"}


@dataclass(frozen=True, slots=True)
class Reset:
    """The reset of the chilled-water setpoint: a straight line between two points, level beyond
    them. The driver is in the glossary's unit: degF, %, psi or tons."""

    driver: str = answer("What drives the reset", default="outdoor air", choices=tuple(DRIVERS))
    driver_low: float | None = quantity(
        "Driver at one end of the line", help="In °F outdoors, % open, psi or tons. The four "
        "numbers of the line together, or none.")
    setpoint_low: float | None = quantity("Setpoint there", "degF", 32, 75)
    driver_high: float | None = quantity("Driver at the other end of the line")
    setpoint_high: float | None = quantity("Setpoint there, at the other end", "degF", 32, 75)

    @property
    def line(self) -> tuple[float | None, ...]:
        """Driver and setpoint at one end, driver and setpoint at the other."""
        return self.driver_low, self.setpoint_low, self.driver_high, self.setpoint_high


@dataclass(frozen=True, slots=True)
class EnableCondition:
    """The enable condition of the sequence, where it is another than wet bulb plus approaches and
    tolerances at or below the reset setpoint: a fixed outdoor wet bulb [degF]."""

    wet_bulb: float | None = quantity(
        "Changes over at or below a wet bulb of", "degF", -20, 80, "Only where the sequence goes "
        "by a fixed outdoor wet bulb. Its timers are then judged by that; the check of the enable "
        "condition still asks whether it was cold enough.")


@dataclass(frozen=True, slots=True)
class Sequence:
    """The sequence of operation as specified, as far as it is no number among the limits: its
    exits, how it keeps the chillers' lift, and the reset of the setpoint."""

    weather_exit: float | None = quantity(
        "Leaves when the enable condition no longer holds for", "min", 0, 1440,
        "Empty: the sequence has no exit on weather.")
    weather_exit_band: float = quantity(
        "and is short by more than", _DIFFERENCE, 0, 30, "Wet bulb, approaches and tolerances "
        "above the reset setpoint by that. Enables 2 °F below it and leaves 1 °F above: 3. Empty "
        "or 0: leaves by the enable condition itself.",
        default=0.0)
    clock_exit: time | None = answer("Leaves at the time of day", "Such as 06:00. Empty: never.",
                                     Kind.CLOCK, None)
    clock_enable: time | None = answer(
        "Changes over only after the time of day", "Until it leaves by the clock, or midnight. "
        "Empty: at any hour.", Kind.CLOCK, None)
    other_exit: str = answer(
        "Other exits the sequence allows", "Operator, demand limit: in a few words.")
    enable: EnableCondition = EnableCondition()
    lift: LiftProtection = LiftProtection()
    reset: Reset = Reset()


MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September",
          "October", "November", "December")
DAYS = ("every day", "weekdays", "weekends")
ENERGY, DEMAND, RIDER = "energy", "demand", "rider"


@dataclass(frozen=True, slots=True, kw_only=True)
class Charge:
    """One line of the rate sheet: a price of energy per kWh, or of demand per kW and month, with
    the months, days and hours it counts in. One line of energy counts at a time; riders are added
    to it, and demand charges add up, as on a bill. A ratchet bills at least so many per cent of the
    highest peak of the eleven months before that fell in its own months."""

    name: str = answer("Line", "As on the rate sheet: summer on-peak.", default=MISSING,
                       required=True)
    kind: str = answer("Charge for", "energy: per kWh, one line at a time. rider: per kWh, "
                       "added to it, such as a fuel adjustment. demand: per kW of the month's "
                       "highest demand interval in these hours.", default=MISSING,
                       choices=(ENERGY, RIDER, DEMAND), required=True)
    price: float = quantity("Price per kWh, or per kW and month", "", 0, 1e6, "In the currency "
                            "above.", default=MISSING, required=True)
    first_month: str = answer("First month", "Empty: January.", default="January", choices=MONTHS)
    last_month: str = answer("Last month", "Empty: December. May be before the first: November to "
                             "March.", default="December", choices=MONTHS)
    days: str = answer("Days", "Empty: every day. Holidays are not known.", default="every day",
                       choices=DAYS)
    hours_from: time | None = answer("Hours from", "Such as 14:00. Empty: all hours.", Kind.CLOCK,
                                     None)
    hours_to: time | None = answer("Hours to", "", Kind.CLOCK, None)
    ratchet: float | None = quantity("Ratchet", "%", 0, 100, "Of a demand charge. Empty: none.")
    ratchet_first: str = answer("Ratchet counts peaks from", "Empty: January.", default="January",
                                choices=MONTHS)
    ratchet_last: str = answer("Ratchet counts peaks to", "Empty: December.", default="December",
                               choices=MONTHS)


@dataclass(frozen=True, slots=True)
class Tariff:
    """What the owner states of prices, tower water and emissions; nothing of it is filled in. How
    the utility measures demand stands in the plan: ``plant.demand_window``, and the limit
    ``recovery.demand_interval``."""

    currency: str = answer("Currency", "As it is to be printed: USD, EUR. Without it and a price "
                           "of energy only kWh and kW are stated.")
    schedule: str = answer("Rate schedule", "Its name and date, for the record.")
    emission_factor: float | None = quantity(
        "Emission factor, kg CO2 per kWh", "", 0, 5, "Empty: emissions are not stated.")
    emission_source: str = answer("Source of the emission factor", "Who published it, for which "
                                  "grid and year. Without it emissions are not stated.")
    cycles: float | None = quantity(
        "Cycles of concentration of the tower water", "", 1.05, 50, "Dissolved solids in the "
        "blowdown over those in the make-up water. Empty: evaporation alone is stated.")
    water_price: float | None = quantity(
        "Price of 1,000 gallons of make-up water, sewer included", "", 0, 1e6, "In the currency "
        "above.")
    charges: tuple[Charge, ...] = ()


@dataclass(frozen=True, slots=True)
class Sensor:
    """One sensor's errors: half-widths in the point's unit, offset = reading - truth."""

    accuracy: float = quantity(
        "Accuracy ±", "", 0, 1000, "Half-width from the data sheet, in the unit of the glossary "
        "below and not the file's (a temperature: °F); for flow, power, current and load as a "
        "share of the reading: 0.02 for 2 %.", default=MISSING, required=True)
    resolution: float = quantity("Resolution", "", 0, 1000, "Smallest step of the trend, in the "
                                 "unit of the glossary below.", default=0.0)
    offset: float = quantity("Offset, reading minus truth", default=0.0, asked=False)
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
class Instrument:
    """A field instrument; ``accuracy`` is a half-width in ``accuracy_unit`` (which may be per
    cent of the reading), ``None`` where the job does not state it."""

    tag: str
    make_model: str = answer("Make and model")
    serial: str = answer("Serial number")
    range: str = answer("Range")
    accuracy: float | None = quantity("Accuracy ±", "", 0, 1000, "Half-width from its data sheet. "
                                      "Without it and its unit no reading taken with it is "
                                      "compared with the trend.")
    accuracy_unit: str = answer("Unit of the accuracy", "Per cent of the reading, or the unit of "
                                "what it reads.", choices=tuple(units.half_width_units()))
    calibrated: datetime | None = answer("Calibrated on", "", Kind.DATE, None)
    due: datetime | None = answer("Calibration due", "", Kind.DATE, None)


@dataclass(frozen=True, slots=True)
class Reading:
    """One field reading in the glossary's unit, with the instrument that took it; ``taken`` is
    what was written down and ``taken_unit`` its unit."""

    time: datetime
    point: str
    value: float
    instrument: str
    taken_by: str
    remark: str = ""
    taken: str = ""
    taken_unit: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment marked by hand during the live test."""

    time: datetime = answer("Time", "", Kind.MOMENT, MISSING)
    what: str = answer("What")
    by: str = answer("By")


# The marks that say whether the test runs, as they are saved.
STARTED, ENDED, ABORTED = "test started", "test ended", "test aborted"
CHILLER_ON = "first chiller started"

# What an abort condition can be about, beside any point of the plant: what people read, its unit.
WATCHED: Mapping[str, tuple[str, str]] = {
    "at the plant": ("watched at the plant, by eye or word", ""),
    "chiller_alarm": ("trip, hold or alarm of any chiller", "alarm"),
    "supply_above_reset": ("chilled-water supply above the reset setpoint", _DIFFERENCE),
    "supply_above_setpoint": ("chilled-water supply above the active setpoint", _DIFFERENCE),
    "water_lift": ("water lift of any running chiller", _DIFFERENCE),
}
ABOVE, BELOW = "above", "below"


@dataclass(frozen=True, slots=True)
class Abort:
    """A condition of the plan at which the test is stopped: ``watched`` is a point or one of
    ``WATCHED``, ``limit`` is in ``unit``, or in that of what is watched where none is stated."""

    text: str = answer("Condition", "In words, as agreed with the owner.", required=True)
    watched: str = answer("What is watched", "With it the condition is evaluated on the trends and "
                          "on spot readings.", Kind.CHOICE,
                          words={name: words for name, (words, _) in WATCHED.items()})
    side: str = answer("Stop when it is", choices=(ABOVE, BELOW))
    limit: float | None = quantity("Limit", help="An alarm needs none.")
    unit: str = answer("Unit of the limit", "Empty: the unit of the glossary below.", Kind.CHOICE)
    minutes: float = quantity("For longer than", "min", 0, 1440, "Empty: at once.", default=0.0)
    stop_within: float = quantity("Stop the test within", "min", 0, 1440, "Empty: 5 min. Stopped: "
                                  "the enable command is off, or the test is marked as aborted.",
                                  default=5.0)


@dataclass(frozen=True, slots=True)
class Override:
    """A point that was overridden; without a time it was so from the first, or to the last."""

    point: str = answer("Point overridden", "A point of the glossary, or in words what was "
                        "adjusted: the enable threshold.", Kind.SUGGESTED, required=True)
    value: str = answer("Value put in")
    placed: datetime | None = answer("Placed at", "", Kind.MOMENT, None)
    released: datetime | None = answer("Released at", "", Kind.MOMENT, None)
    by: str = answer("Placed by")
    reason: str = answer("Why")
    readback: str = answer("Verified in AUTO after release")

    @property
    def sensor(self) -> points.Point | None:
        """The sensor whose reading was replaced; ``None`` where equipment, a setpoint or a
        command was overridden: that induces a changeover, and falsifies no reading."""
        entry = points.point(self.point) if points.is_point(self.point) else None
        reads = entry is not None and entry.kind in (points.MEASURED, points.ALARM)
        # A valve's position and a fan's speed are overridden through their commands.
        return entry if entry is not None and reads and entry.unit != "%" else None
