"""Torque constant and resistance over the number of turns: both grow, and the motor constant says what is gained.

    python docs/examples/turns_sweep.py [FOLDER]

The innermost turns enclose little flux and cost resistance all the same, so the torque constant levels off.
"""

import sys
from pathlib import Path

from matplotlib.figure import Figure

from pcbstator import project

DESIGN = Path(__file__).parents[2] / "designs" / "filter-wheel.toml"


def sweep(turns: list[int]) -> list[tuple[int, float, float, float]]:
    """Turns, torque constant [N m/A], resistance of a phase [ohm] and motor constant [N m/sqrt(W)] of each design."""
    design = project.load_design(DESIGN)
    rows = []
    for count in turns:
        found = project.predict(design.with_values({"winding.turns": count}))
        if found.magnetic is None:  # outside the range of the field's law
            continue
        resistance = found.electrical.phase_resistance
        rows.append((count, found.magnetic.torque_constant, resistance, found.magnetic.motor_constant))
    return rows


def picture(rows: list[tuple[int, float, float, float]]) -> Figure:
    """One curve above the other, over the same turns."""
    figure = Figure(figsize=(6, 7), layout="constrained")
    names = ("torque constant [mN m/A]", "phase resistance [ohm]", "motor constant [mN m/sqrt(W)]")
    turns, *columns = zip(*rows, strict=True)
    for axes, name, values, scale in zip(figure.subplots(3, sharex=True), names, columns, (1e3, 1, 1e3), strict=True):
        axes.plot(turns, [scale * value for value in values], "o-")
        axes.set_ylabel(name)
        axes.set_ylim(bottom=0)
        axes.grid(alpha=0.3)
    figure.axes[-1].set_xlabel("turns per coil and layer")
    return figure


if __name__ == "__main__":
    rows = sweep(list(range(2, 15, 2)))
    for row in rows:
        print("{:3d} turns  {:.5f} N m/A  {:6.3f} ohm  {:.5f} N m/sqrt(W)".format(*row))
    picture(rows).savefig(Path(sys.argv[1] if len(sys.argv) > 1 else ".") / "turns-sweep.svg")
