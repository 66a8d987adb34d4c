"""The sound plants that faults are put into: those of the library, and those nobody tuned on."""

from __future__ import annotations

from dataclasses import replace

from sample_trends.generator import Design, Scenario, Sequence, Site

SOUND = Scenario(name="sound plant", days=7)

# Sound plants of several sizes, altitudes, refrigerants and seeds.
PLANTS: tuple[Scenario, ...] = (
    SOUND,
    replace(SOUND, name="one chiller at the sea", seed=7, site=Site(0.0, "America/New_York"),
            design=Design(chillers=1, tower_cells=2, refrigerant="R-1233zd(E)")),
    replace(SOUND, name="two chillers at 1,100 ft", seed=19, site=Site(1100.0, "America/Chicago"),
            design=Design(chillers=2, tower_cells=2, refrigerant="R-513A")),
    replace(SOUND, name="four chillers at 7,000 ft", seed=23, site=Site(7000.0),
            design=Design(chillers=4, tower_cells=4, size=2000.0, loop_volume=20_000.0,
                          sump_volume=30_000.0),
            sequence=Sequence(exchanger_approach=1.4)),
    replace(SOUND, name="two small chillers, another winter", seed=57,
            design=Design(size=300.0, loop_volume=3_000.0, sump_volume=4_500.0)),
)

# Drawn up after limits, faults and ``may_fail`` had been settled on the plants above.
BLIND: tuple[Scenario, ...] = (
    replace(SOUND, name="three chillers at 5,300 ft", seed=101, site=Site(5300.0, "America/Boise"),
            design=Design(chillers=3, tower_cells=3, size=1000.0, refrigerant="R-1233zd(E)",
                          loop_volume=9_000.0, sump_volume=16_000.0)),
    replace(SOUND, name="two large chillers at 2,600 ft", seed=211,
            site=Site(2600.0, "America/Chicago"),
            design=Design(chillers=2, tower_cells=3, size=1400.0, refrigerant="R-513A",
                          loop_volume=16_000.0, sump_volume=19_000.0)),
    replace(SOUND, name="sound plant, a winter not seen before", seed=307),
)
