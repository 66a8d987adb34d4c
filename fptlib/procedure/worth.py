"""What a change is worth: hours and kilowatt-hours in the site's typical year.

Worth is stated only where the job has a typical year and the trends show what the plant
draws in both modes; otherwise nothing is said.
"""

from __future__ import annotations

import numpy as np

from fptlib.procedure.case import Case
from fptlib.procedure.reset import economizer_hours


def saved_power(case: Case) -> float | None:
    """Median plant power on chillers minus that on the exchanger [kW], at the loads seen."""
    if case.lacking(["power", "request", "chillers"]) or not case.handovers:
        return None
    on_chillers = case.power[case.chiller_mode].median()
    on_exchanger = case.power[(case.chillers_on == 0.0) & (case.commanded == 1.0)].median()
    saved = float(on_chillers - on_exchanger)
    return saved if np.isfinite(saved) and saved > 0.0 else None


def of_hours(case: Case, hours: float) -> str:
    """So many hours a year in words, with their kilowatt-hours where they are known."""
    saved = saved_power(case)
    energy = f", about {round(hours * saved, -2):,.0f} kWh" if saved else ""
    return f"worth about {hours:.0f} h{energy} a year"


def of_setpoint(case: Case, setpoint: float, more: float) -> str:
    """What ``more`` degF of setpoint are worth, in words; empty without a typical year."""
    if case.weather is None or not (case.tower_approach and case.exchanger_approach):
        return ""
    now, then = economizer_hours(case, np.array([setpoint, setpoint + more]))
    return of_hours(case, then - now)


def of_recorded(case: Case, minutes: float) -> str:
    """What minutes of this record are worth if the year is like it, in words."""
    total = len(case.frame) * case.minutes
    return f"{minutes / 60.0:.1f} h in this record of {total / 1440.0:.0f} days"
