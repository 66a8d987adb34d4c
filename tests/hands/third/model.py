"""What a plant of the third hand is, what its sequence says, and its EnergyPlus input."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.hands.second.model import CHILLERS as CHILLERS
from tests.hands.second.model import ECONOMIZER as ECONOMIZER
from tests.hands.second.model import PULL_DOWN as PULL_DOWN
from tests.hands.second.model import Fault

WATTS_PER_TON = 3516.853
M3S_PER_GPM = 6.30902e-5
M3_PER_GALLON = 3.785412e-3
GPM_PER_TON = 2.2  # chilled water, of loads and branches alike


@dataclass(frozen=True)
class Plant:
    """Sizes: tons, gpm, gallons, °F, kW. ``ua`` is the exchanger's, kW/K; ``approaches`` of tower
    and exchanger are what such a simulation showed at full fans, upward to a half."""

    site: str
    zone: str
    altitude: float
    weather: str
    chillers: int = 2
    capacity: float = 300.0
    refrigerant: str = "R-134a"
    means: str = "temporary setpoint"
    minimum_lift: float = 3.0
    cells: int = 2
    tower_size: float = 1.2
    fan_kw: float = 15.0
    exchanger_load: float = 280.0
    ua: float = 420.0
    approaches: tuple[float, float] = (5.0, 2.5)
    sump: float = 9000.0
    loop: float = 5000.0
    reset_line: tuple[float, float, float, float] = (35.0, 50.0, 65.0, 45.0)
    load: tuple[float, float] = (180.0, 70.0)

    @property
    def cw_chiller(self) -> float:
        return 2.8 * self.capacity

    @property
    def cw_exchanger(self) -> float:
        return 3.0 * self.exchanger_load

    # What the second hand's truth asks of a plant.
    demand_window = "rolling"
    change_of_value = False

    @property
    def head(self) -> str:
        return "setpoint" if self.means == "temporary setpoint" else self.means

    def design_cold(self, warm: float) -> float:
        """Condenser water that lets the clean exchanger carry its design load from ``warm``:
        effectiveness of counterflow at its UA (Incropera, Fundamentals, table 11.4)."""
        chw, cw = (4.186 * 0.0630902 * gpm for gpm in (
            GPM_PER_TON * self.exchanger_load, self.cw_exchanger))
        low, ratio = min(chw, cw), min(chw, cw) / max(chw, cw)
        grown = np.exp(-self.ua / low * (1 - ratio))
        kilowatts = self.exchanger_load * WATTS_PER_TON / 1000
        return warm - 1.8 * kilowatts / ((1 - grown) / (1 - ratio * grown) * low)


@dataclass(frozen=True)
class Sequence:
    """The sequence of operation: minutes, °F, °F/min; the last block is what a fault changes."""

    enable_delay: int = 30
    tolerance: float = 2.0
    minimum_run: int = 90
    minimum_off: int = 60
    pull_down_longest: int = 150
    condenser_chillers: float = 60.0
    condenser_margin: float = 1.0
    condenser_ramp: float = 0.15
    offset: float = 0.5
    lowest_setpoint: float = 38.0
    release_ramp: float = 0.1
    exit_band: float = 1.5
    exit_delay: int = 15
    weather_over: float = 2.0
    weather_delay: int = 20

    reach_error: float = 0.0
    follows: bool = True
    releases: bool = True
    watches_supply: bool = True
    watches_weather: bool = True
    leaves_at: float | None = None


@dataclass(frozen=True)
class Scenario:
    """A plant, its specified sequence, a stretch of a typical winter and at most one fault."""

    name: str
    plant: Plant
    sequence: Sequence
    start: str
    days: int = 4
    seed: int = 1
    fault: Fault = Fault()
    expected: frozenset[str] = frozenset()
    follows: frozenset[str] = frozenset()

    @property
    def sound(self) -> bool:
        return not self.expected

    @property
    def programmed(self) -> Sequence:
        return replace(self.sequence, **self.fault.program)


def _branches(loop: str, side: str, middle: dict[str, str], first: str, last: str) -> str:
    """The half of a plant loop: a branch in, parallel ones with a bypass, a branch out."""
    key = f"{loop} {side}"
    names = [f"{key} {name}" for name in middle]
    parallel = ",".join(names + [f"{key} Byp"])
    lines = [f"BranchList,{key} Br,{key} In,{parallel},{key} Out;",
             f"ConnectorList,{key} Con,Connector:Splitter,{key} Sp,Connector:Mixer,{key} Mx;",
             f"Connector:Splitter,{key} Sp,{key} In,{parallel};",
             f"Connector:Mixer,{key} Mx,{key} Out,{parallel};",
             f"Branch,{key} In,,{first};", f"Branch,{key} Out,,{last};",
             f"Branch,{key} Byp,,Pipe:Adiabatic,{key} BypP,{key} BypI,{key} BypO;",
             f"Pipe:Adiabatic,{key} BypP,{key} BypI,{key} BypO;"]
    lines += [f"Branch,{key} {name},,{part};" for name, part in middle.items()]
    return "\n".join(lines)


def idf(scenario: Scenario) -> str:
    """EnergyPlus input of a plant: n chillers and one exchanger in full parallel on both sides,
    one tower of several cells on a common sump (the volume of the condenser-water loop)."""
    p = scenario.plant
    month, day = (int(x) for x in scenario.start.split("-")[1:3])
    last = day + scenario.days - 1
    numbers = range(1, p.chillers + 1)
    chw, cw = GPM_PER_TON * p.capacity * M3S_PER_GPM, p.cw_chiller * M3S_PER_GPM
    hx_chw = GPM_PER_TON * p.exchanger_load * 1.15 * M3S_PER_GPM
    hx_cw = p.cw_exchanger * M3S_PER_GPM
    load_flow = max(p.chillers * chw, hx_chw)
    all_cw = p.chillers * cw + hx_cw
    watts = p.capacity * WATTS_PER_TON
    tower = p.tower_size * p.chillers * cw
    schedules = {"On": 1, "CHWSP": 7, "CWSP": 16, "LoadW": -1, "Flow": 0.5, "ChOn": 1, "HXOn": 0}
    stages = [f"{0.0 if k == 1 else 0.9 * (k - 1) * watts:.0f},"
              f"{0.9 * k * watts if k < p.chillers else 1e9:.0f},CHW Eq{k}" for k in numbers]
    return "\n".join([
        "Version,25.2;", "Timestep,60;", "GlobalGeometryRules,UpperLeftCorner,CounterClockWise,"
        "Relative;", "Building,Plant,0,Suburbs,0.04,0.04,FullInteriorAndExterior,2,1;",
        "SimulationControl,NO,NO,NO,NO,YES;",
        f"RunPeriod,RP,{month},{day},2026,{month},{last},2026,,No,No,No,Yes,Yes;",
        "ScheduleTypeLimits,Any;", *(f"Schedule:Constant,{k},Any,{v};"
                                     for k, v in schedules.items()),
        # chilled water
        f"PlantLoop,CHW,Water,,CHW Op,CHW Out,60,1,{load_flow},0,{p.loop * M3_PER_GALLON},"
        "CHW In,CHW Out,CHW S Br,CHW S Con,CHW DIn,CHW DOut,CHW D Br,CHW D Con,UniformLoad,,"
        "SingleSetpoint;",
        "SetpointManager:Scheduled,SPM1,Temperature,CHWSP,CHW SP;",
        "NodeList,CHW SP,CHW Out,HX S Out," + ",".join(f"Ch{n} S Out" for n in numbers) + ";",
        "PlantEquipmentOperationSchemes,CHW Op,"
        "PlantEquipmentOperation:CoolingLoad,CHW OpC,ChOn,"
        "PlantEquipmentOperation:CoolingLoad,CHW OpX,HXOn;",
        f"PlantEquipmentOperation:CoolingLoad,CHW OpC,{','.join(stages)};",
        "PlantEquipmentOperation:CoolingLoad,CHW OpX,0,1000000000,CHW EqX;",
        *(f"PlantEquipmentList,CHW Eq{k}," + ",".join(
            f"Chiller:Electric:EIR,Ch{n}" for n in range(1, k + 1)) + ";" for k in numbers),
        "PlantEquipmentList,CHW EqX,HeatExchanger:FluidToFluid,HX;",
        _branches("CHW", "S", {f"Ch{n}": f"Chiller:Electric:EIR,Ch{n},Ch{n} S In,Ch{n} S Out"
                               for n in numbers}
                  | {"HX": "HeatExchanger:FluidToFluid,HX,HX S In,HX S Out"},
                  "Pump:VariableSpeed,CHW P,CHW In,CHW P Out",
                  "Pipe:Adiabatic,CHW SOutP,CHW SOutI,CHW Out"),
        "Pipe:Adiabatic,CHW SOutP,CHW SOutI,CHW Out;",
        f"Pump:VariableSpeed,CHW P,CHW In,CHW P Out,{load_flow},200000,"
        f"{load_flow * 200000 / 0.7},0.9,0,0,0,1,0,0,Intermittent;",
        _branches("CHW", "D", {"LP": "LoadProfile:Plant,LP,LP In,LP Out"},
                  "Pipe:Adiabatic,CHW DInP,CHW DIn,CHW DInO",
                  "Pipe:Adiabatic,CHW DOutP,CHW DOutI,CHW DOut"),
        "Pipe:Adiabatic,CHW DInP,CHW DIn,CHW DInO;", "Pipe:Adiabatic,CHW DOutP,CHW DOutI,CHW DOut;",
        f"LoadProfile:Plant,LP,LP In,LP Out,LoadW,{load_flow},Flow;",
        # equipment between the loops
        f"HeatExchanger:FluidToFluid,HX,HXOn,HX D In,HX D Out,{hx_cw},HX S In,HX S Out,{hx_chw},"
        f"CounterFlow,{1000 * p.ua * scenario.fault.ua},CoolingSetpointModulated,HX S Out,0.0,"
        "FreeCooling;",
        *(f"Chiller:Electric:EIR,Ch{n},{watts},6.0,6.67,29.4,{chw},{cw},CAPFT,EIRFT,EIRFPLR,"
          f"0.1,1.0,1.0,0.2,Ch{n} S In,Ch{n} S Out,Ch{n} D In,Ch{n} D Out,WaterCooled,,1.0,2.0,"
          "LeavingSetpointModulated;" for n in numbers),
        # A published regression of maker data, entering condenser water from 4 °C.
        "Curve:Biquadratic,CAPFT,0.257896,0.0389016,-0.00021708,0.0468684,-0.00094284,-0.00034344,"
        "3,12,4,36,,,Temperature,Temperature,Dimensionless;",
        "Curve:Biquadratic,EIRFT,0.933884,-0.058212,0.00450036,0.00243,0.000486,-0.001215,3,12,4,"
        "36,,,Temperature,Temperature,Dimensionless;",
        "Curve:Quadratic,EIRFPLR,0.222903,0.313387,0.46371,0,1,,,Dimensionless,Dimensionless;",
        # condenser water
        f"PlantLoop,CW,Water,,CW Op,CW Out,60,1,{all_cw},0,{p.sump * M3_PER_GALLON},CW In,CW Out,"
        "CW S Br,,CW DIn,CW DOut,CW D Br,CW D Con,SequentialLoad,,SingleSetpoint;",
        "SetpointManager:Scheduled,SPM2,Temperature,CWSP,CW Out;",
        "PlantEquipmentOperationSchemes,CW Op,PlantEquipmentOperation:CoolingLoad,CW OpL,On;",
        "PlantEquipmentOperation:CoolingLoad,CW OpL,0,1000000000,CW Eq;",
        "PlantEquipmentList,CW Eq,CoolingTower:VariableSpeed,Tow;",
        "BranchList,CW S Br,CW S B;",
        "Branch,CW S B,,Pump:VariableSpeed,CW P,CW In,CW P Out,"
        "CoolingTower:VariableSpeed,Tow,CW P Out,CW Out;",
        f"Pump:VariableSpeed,CW P,CW In,CW P Out,{all_cw},180000,{all_cw * 180000 / 0.7},0.9,0,0,0,"
        "1,0,0,Intermittent;",
        _tower(tower, p),
        _branches("CW", "D", {f"Ch{n}": f"Chiller:Electric:EIR,Ch{n},Ch{n} D In,Ch{n} D Out"
                              for n in numbers}
                  | {"HX": "HeatExchanger:FluidToFluid,HX,HX D In,HX D Out"},
                  "Pipe:Adiabatic,CW DInP,CW DIn,CW DInO",
                  "Pipe:Adiabatic,CW DOutP,CW DOutI,CW DOut"),
        "Pipe:Adiabatic,CW DInP,CW DIn,CW DInO;", "Pipe:Adiabatic,CW DOutP,CW DOutI,CW DOut;", ""])


def _tower(water: float, p: Plant) -> str:
    """A tower for 85 °F at 78 °F wet bulb and 10 °F range, fans without steps."""
    return ("CoolingTower:VariableSpeed,Tow,CW P Out,CW Out,YorkCalc,,25.56,3.89,5.56,"
            f"{water},{water * 690},{1000 * p.fan_kw * p.cells},,0.2,0.125,,,,,,,,,,,,{p.cells},"
            "MaximalCell,0.25,2.5,1;")
