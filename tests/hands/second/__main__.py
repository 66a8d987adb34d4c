"""``python -m tests.hands.second SCENARIO [CHANGEOVER] [FILE.png]``: draw one changeover.

Without a scenario: the list of them. Drawn are the noise-free states.
"""

from __future__ import annotations

import sys

import numpy as np

from . import run, scenarios

PANELS = (
    ("°F", ("reset", "active", "supply", "entering", "sump", "cw_setpoint", "hot", "wet")),
    ("%", ("hx_valve", "bypass")),
    ("tons", ("served", "hx_tons")),
    ("lift, °F", ()),
    ("kW", ("plant_kw", "fan_kw", "cw_kw", "chw_kw")),
)


def draw(result, number: int, path: str) -> None:
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    s, p = result.states, result.scenario.plant
    first, last = 0, len(s["mode"])
    if result.changeovers:
        over = result.changeovers[min(number, len(result.changeovers)) - 1]
        first, last = max(0, over.enabled - 90), min(last, (over.back or last) + 150)
    figure, axes = plt.subplots(len(PANELS), 1, figsize=(14, 15), sharex=True)
    rows = np.arange(first, last)
    for axis, (unit, names) in zip(axes, PANELS, strict=True):
        for name in names:
            axis.plot(rows, s[name][first:last], label=name, linewidth=1)
        axis.set_ylabel(unit)
    for c in range(1, p.cells + 1):
        axes[1].plot(rows, 100 * s[f"speed_{c}"][first:last], label=f"fan {c}", linewidth=1)
    for i in range(1, p.chillers + 1):
        lift = np.where(s[f"tons_{i}"] > 0, s[f"warm_{i}"] - s[f"leaving_{i}"], np.nan)
        axes[2].plot(rows, s[f"tons_{i}"][first:last], label=f"chiller {i}", linewidth=1)
        axes[3].plot(rows, lift[first:last], label=f"chiller {i}", linewidth=1)
    axes[3].axhline(p.minimum_lift, color="red", linewidth=0.8)
    for axis in axes:
        axis.grid(alpha=0.4)
        axis.legend(loc="upper right", fontsize=7)
    axes[0].set_title(result.scenario.name)
    axes[-1].set_xlabel("minute")
    figure.tight_layout()
    figure.savefig(path, dpi=70)


def main(words: list[str]) -> int:
    known = {s.name: s for s in scenarios()}
    if not words or words[0] not in known:
        for s in known.values():
            print(f"{s.name:26} {'sound' if s.sound else '; '.join(sorted(s.expected))}")
        return 0 if not words else 2
    result = run(known[words[0]])
    number = int(words[1]) if len(words) > 1 else 1
    path = words[2] if len(words) > 2 else f"{words[0]}.png"
    draw(result, number, path)
    for c in result.changeovers:
        print(f"changeover {c.number}: enabled {c.enabled}, in service {c.in_service}, "
              f"left {c.left}, back {c.back}")
    for x in result.truth:
        print(f"{x.start:6}-{x.end:<6} {x.changeover or '-':>3} {x.text} {x.numbers}")
    print(path)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
