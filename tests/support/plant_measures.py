"""Plain measures on a simulated plant's trends, for asserting what the generator does.

They are written afresh here, from the definitions, and share nothing with the checks of
the package, which are tested elsewhere.
"""

from __future__ import annotations

import pandas as pd

MINUTE = pd.Timedelta(minutes=1)


def numbered(frame: pd.DataFrame, first: str, last: str) -> list[str]:
    """The columns of numbered equipment, as ``chiller_1_running``."""
    return [name for name in frame.columns if name.startswith(first) and name.endswith(last)]


def chillers_on(frame: pd.DataFrame) -> pd.Series:
    """How many chillers run."""
    return frame[numbered(frame, "chiller_", "_running")].sum(axis=1)


def attempts(result) -> list[tuple[pd.Timestamp, pd.Timestamp]]:
    """Request and handover of every attempt that came to a handover."""
    return [
        (request.time, handover.time)
        for request in result.events("request")
        if (handover := _next(result, ("handover", "abandoned"), request.time))
        and handover.kind == "handover"
    ]


def runs(result) -> list[tuple[pd.Timestamp, pd.Timestamp]]:
    """Handover and exit of every run that ended."""
    return [
        (handover.time, leaving.time)
        for handover in result.events("handover")
        if (leaving := _next(result, ("exit",), handover.time))
    ]


def _next(result, kinds, after):
    later = (e for e in result.truth if e.kind in kinds and e.time >= after)
    return next(later, None)


def condition(result, tolerance: float = 1.5) -> pd.Series:
    """Margin of the enable condition [degF], positive where it holds."""
    sequence = result.scenario.sequence
    needed = sequence.tower_approach + sequence.exchanger_approach + 2.0 * tolerance
    return result.frame["chw_reset_setpoint"] - result.frame["outdoor_wet_bulb"] - needed


def held_before(holds: pd.Series, moment: pd.Timestamp) -> float:
    """Minutes for which ``holds`` was true without a break up to ``moment``."""
    before = holds[:moment]
    broken = before[~before]
    start = broken.index[-1] if len(broken) else before.index[0]
    return (moment - start) / MINUTE


def longest(holds: pd.Series) -> int:
    """Longest stretch of true, in rows."""
    if not holds.any():
        return 0
    blocks = (holds != holds.shift()).cumsum()
    return int(holds.groupby(blocks).sum().max())


def missed(result) -> int:
    """Longest stretch in which the condition held, chillers ran and no request came."""
    frame = result.frame
    holds = (condition(result) >= 0.0) & (chillers_on(frame) > 0)
    return longest(holds & (frame["economizer_command"] == 0))


def lift(frame: pd.DataFrame) -> pd.Series:
    """Least water lift of the running chillers [degF]."""
    each = {}
    for running in numbered(frame, "chiller_", "_running"):
        stem = running.removesuffix("running")
        rise = frame[stem + "cw_leaving_temp"] - frame[stem + "chw_leaving_temp"]
        each[stem] = rise.round(3).where(frame[running] > 0)
    return pd.DataFrame(each).min(axis=1)


def minutes_below(result, least: float) -> list[int]:
    """Longest stretch below ``least`` lift in each pull-down that came to a handover."""
    low = lift(result.frame) < least
    return [longest(low[start : end - MINUTE]) for start, end in attempts(result)]


def rise_in(series: pd.Series, minutes: int) -> float:
    """Largest rise within so many minutes."""
    low = series.rolling(minutes + 1, min_periods=1).min()
    return float((series - low).max())


def reversals(series: pd.Series, size: float) -> int:
    """How often a series turns by at least ``size``."""
    count, direction, turn = 0, 0, float(series.iloc[0])
    for value in series:
        if direction >= 0 and value <= turn - size or direction <= 0 and value >= turn + size:
            count += direction != 0
            direction = 1 if value > turn else -1
            turn = float(value)
        elif direction >= 0 and value > turn or direction <= 0 and value < turn:
            turn = float(value) if direction else turn
    return count


def share(holds: pd.Series) -> float:
    """Share of rows that are true, in percent."""
    return 100.0 * float(holds.mean())


def fan_starts(frame: pd.DataFrame) -> int:
    """Most starts of one cell in any hour."""
    most = 0
    for name in numbered(frame, "tower_", "_fan_running"):
        starts = (frame[name].diff() > 0).astype(float)
        most = max(most, int(starts.rolling(60, min_periods=1).sum().max()))
    return most


def blocks(frame: pd.DataFrame) -> pd.Series:
    """Mean plant power of each 15-minute clock block [kW]."""
    return frame["plant_power"].resample("15min").mean()
