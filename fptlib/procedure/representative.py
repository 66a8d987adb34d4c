"""Whether conditions were representative: load, and water that has turned over."""

from __future__ import annotations

import math

import pandas as pd

from fptlib.physics import sump
from fptlib.procedure.case import Case
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.known import median


def light_load(case: Case, rows: slice) -> str:
    """Why the load in these rows proves no capacity; empty where it does or is not known."""
    if case.lacking(["load"]) or not case.plant.exchanger.load:
        return ""
    tons = median(case.values(case.load, rows))
    least = case.limits["conditions.load_low"] / 100.0 * case.plant.exchanger.load
    if math.isnan(tons) or tons >= least:
        return ""
    return f"the load was {tons:.0f} tons; repeat the test at {least:.0f} tons or more"


def turned_over(case: Case, changeover: Changeover) -> pd.Timestamp:
    """When the loop's water has been exchanged often enough after the last chiller stopped; the
    handover itself where the loop's volume or its flow is unknown."""
    if not case.plant.loop_volume or case.lacking(["chw_flow"]):
        return changeover.handover
    flows = case.values("chw_flow", slice(changeover.handover, changeover.ended))
    if not (flow := median(flows)) > 0.0:
        return changeover.handover
    minutes = sump.verdict_time(case.plant.loop_volume, flow, case.limits["conditions.turnovers"])
    return changeover.handover + pd.Timedelta(minutes=round(minutes))
