"""Two designs side by side: which keys differ, and what that does to the results, as a figure.

    python docs/examples/side_by_side.py [FOLDER]

Here both come from one file; two files are compared alike. ``pcbstator report DESIGN OTHER -o FILE.html`` makes a page.
"""

import sys
from pathlib import Path

from matplotlib.figure import Figure

from pcbstator import project

DESIGN = Path(__file__).parents[2] / "designs" / "photogrammetry-stage.toml"
SHOWN = (
    "electrical.phase_resistance_ohm", "electrical.synchronous_inductance_h", "magnetic.torque_constant_n_m_per_a",
    "magnetic.motor_constant_n_m_per_sqrt_w", "thermal.continuous_phase_current_rms_a",
    "thermal.continuous_torque_n_m", "copper.mass_g",
)  # fmt: skip

one = project.load_design(DESIGN)
other = one.with_values({"board.outer_copper_um": 70.0, "board.inner_copper_um": 70.0, "board.rules": "2oz-standard"})
pair = project.side_by_side(one, other)

if __name__ == "__main__":
    for key in pair.keys:
        print(f"{key.key}: {key.design} -> {key.other}")
    changes = {found.key: found.change_percent or 0.0 for found in pair.results if found.key in SHOWN}
    figure = Figure(figsize=(8, 4), layout="constrained")
    axes = figure.subplots()
    for name in SHOWN:
        print(f"{name:42s} {changes.get(name, 0.0):+7.1f} %")
        axes.barh(name, changes.get(name, 0.0), color="C0")
    axes.set(xlabel="change [%]")
    axes.invert_yaxis()
    figure.savefig(Path(sys.argv[1] if len(sys.argv) > 1 else ".") / "side-by-side.svg")
