"""What is truly wrong at a plant of the third hand, from the simulator's own states.

The questions are those of the second hand; what a plant of this one cannot show (clock and cost
exits, trips, fans that cycle, restart timers) is not asked.
"""

from __future__ import annotations

import numpy as np

from tests.hands.second import truth as k

from .model import CHILLERS, ECONOMIZER, Scenario


class Truth(k.Truth):
    """All statements of one scenario; ``seen`` are the controller's readings."""

    def __init__(self, scenario: Scenario, states: dict[str, np.ndarray]) -> None:
        self.sc, self.p, self.seq = scenario, scenario.plant, scenario.sequence
        self.s, self.n = states, len(states["mode"])
        self.seen = {name[5:]: each for name, each in states.items() if name.startswith("seen_")}
        self.over = k.changeovers(states["mode"])
        self.found = []
        for part in (self.enabling, self.lift, self.setpoint, self.water, self.leaving,
                     self.off_time, self.towers, self.equipment, self.demand, self.missed,
                     self.instruments):
            part()
        self.found.sort(key=lambda x: (x.start, x.kind))

    def asked(self) -> dict[str, tuple[np.ndarray, int]]:
        s, seq, seen = self.s, self.seq, self.seen
        high = seen["chw_supply_temp"] - np.maximum(s["reset"], s["active"])
        over = self.reach(seen["outdoor_wet_bulb"]) - s["reset"]
        return {"supply": (high > seq.exit_band, seq.exit_delay),
                "weather": (over > seq.weather_over, seq.weather_delay),
                "clock": (np.zeros(self.n, bool), 1), "cost": (np.zeros(self.n, bool), 1)}

    def off_time(self) -> None:
        for before, after in zip(self.over, self.over[1:], strict=False):
            off = after.enabled - before.back
            if off < self.seq.minimum_off - 1:
                self.say(k.SHORT_OFF, before.back, after.enabled, minutes=off)

    def towers(self) -> None:
        s, seq = self.s, self.seq
        needed = s["reset"] - self.p.approaches[1] - seq.condenser_margin
        settled = s["mode"] == ECONOMIZER
        for change in np.flatnonzero(np.diff(s["mode"])):
            settled[change: change + 120] = False
        for a, b in k.stretches(settled & (s["sump"] < needed - 3.0) & (s["fan"] > 0.15), 60):
            self.say(k.OVERCOOLED, a, b, below=(needed - s["sump"])[a:b].max(), near=False)

    def equipment(self) -> None:
        if self.sc.fault.ua < 0.8:
            self.say(k.FOULED, 0, self.n, near=False, share=self.sc.fault.ua)

    def missed(self) -> None:
        """It would have served, by 1 °F more than asked, for 60 minutes beyond its timers."""
        s, seq = self.s, self.seq
        fit = self.reach(s["wet"]) + seq.tolerance + 1.0 <= s["reset"]
        fit &= (s["mode"] == CHILLERS) & (s["met"] <= 0.95 * self.p.exchanger_load)
        for a, b in k.stretches(fit, seq.enable_delay + seq.minimum_off + 60):
            self.say(k.MISSED, a, b, hours=(b - a) / 60, near=False)
