"""Control of the tower fans: one speed for all running cells, cells staged."""

from __future__ import annotations

from sample_trends.generator.scenario import Sequence

_ADD_ABOVE = 0.65


class Towers:
    """Proportional and integral action on the condenser-water temperature.

    The action is the share of all cells' air; the running cells divide it among them, so
    that a cell more or less does not jolt the water.
    """

    def __init__(self, sequence: Sequence, cells: int) -> None:
        self.sequence = sequence
        self.cells = cells
        self.on = 1
        self.speed = 0.0
        self._integral = 0.3
        self._waited = 0

    def step(self, water: float, setpoint: float) -> None:
        """Set speed and cells for this condenser water and its setpoint."""
        error = water - setpoint
        gain = self.sequence.fan_gain / 100.0
        moved = self._integral + gain * error / self.sequence.fan_reset
        # No winding up: at full speed the integral gives way to the proportional part.
        self._integral = max(0.0, min(1.0, moved, 1.0 - gain * error))
        share = self._integral + gain * error
        least = self.sequence.fan_minimum / 100.0
        self.speed = min(1.0, max(least, share * self.cells / max(1, self.on)))
        self._stage(error, least)
        if self.on == 0:
            self.speed = 0.0

    def all_on(self) -> None:
        """Every cell in service, as for a pull-down."""
        self.on = self.cells

    def by_hand(self, share: float) -> None:
        """Every fan at this share of full speed, whatever the control wants."""
        self.on, self.speed = self.cells, share

    def _stage(self, error: float, least: float) -> None:
        s = self.sequence
        band = s.fan_cycle_band
        # A single-speed fan is never short of speed: only the temperature can ask for more.
        by_water = self.on == 0 or s.fan_minimum >= 100.0
        wanted = error > 0.3 * band if by_water else self.speed > _ADD_ABOVE and error > -band
        more = self.on < self.cells and wanted
        fewer = self.on > 0 and self.speed <= least and error < -band
        self._waited = self._waited + 1 if more or fewer else 0
        if self._waited >= (s.cell_add_delay if more else s.cell_delay):
            self.on += 1 if more else -1
            self._waited = 0
