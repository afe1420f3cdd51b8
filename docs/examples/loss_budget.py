"""Where the power goes as the speed grows, at one current: copper, eddies in the tracks, the rest.

    python docs/examples/loss_budget.py [FOLDER]

Copper loss depends on the current alone; eddies grow with the square of the speed.
"""

import sys
from pathlib import Path

from matplotlib.figure import Figure

from pcbstator import project

DESIGN = Path(__file__).parents[2] / "designs" / "small-fan.toml"
CURRENT = 0.2  # A, peak of a phase


def losses(speeds_rpm: list[float], current: float = CURRENT) -> list[dict[str, float]]:
    """The entries of `losses`, one per speed, in the units of their keys."""
    working = {"operation.speeds_rpm": speeds_rpm, "operation.phase_currents_peak_a": [current]}
    design = project.load_design(DESIGN).with_values(working)
    return list(project.predict(design).losses)


def picture(entries: list[dict[str, float]]) -> Figure:
    """Losses on top of each other, and the efficiency below them."""
    speeds = [entry["speed_rpm"] for entry in entries]
    copper = [entry["copper_w"] for entry in entries]
    eddies = [entry["eddy_w"] for entry in entries]
    rest = [entry["total_w"] - entry["copper_w"] - entry["eddy_w"] for entry in entries]
    figure = Figure(figsize=(6, 6), layout="constrained")
    above, below = figure.subplots(2, sharex=True)
    above.stackplot(speeds, copper, eddies, rest, labels=("copper", "eddies in the tracks", "other"))
    above.set(ylabel="loss [W]", title=f"At {CURRENT:g} A peak in each phase")
    above.legend(loc="lower right")
    below.plot(speeds, [100 * entry.get("efficiency", 0.0) for entry in entries])
    below.set(xlabel="speed [rpm]", ylabel="efficiency [%]", ylim=(0, 100))
    below.grid(alpha=0.3)
    return figure


if __name__ == "__main__":
    entries = losses([float(speed) for speed in range(0, 9501, 500)])
    for entry in entries[::4]:
        print(
            "{speed_rpm:6.0f} rpm  copper {copper_w:.3f} W  eddies {eddy_w:.3f} W  shaft {shaft_w:.3f} W".format(
                **entry
            )
        )
    picture(entries).savefig(Path(sys.argv[1] if len(sys.argv) > 1 else ".") / "loss-budget.svg")
