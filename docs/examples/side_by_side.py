"""Two designs side by side: which keys differ, and what that does to the results.

    python docs/examples/side_by_side.py [FOLDER]

Here both come from one file; two files are compared alike.
"""

import sys
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from pcbstator import project
from pcbstator.design import Design

DESIGN = Path(__file__).parents[2] / "designs" / "photogrammetry-stage.toml"
SHOWN = (
    "electrical.phase_resistance_ohm", "electrical.synchronous_inductance_h", "magnetic.torque_constant_n_m_per_a",
    "magnetic.motor_constant_n_m_per_sqrt_w", "thermal.continuous_phase_current_rms_a",
    "thermal.continuous_torque_n_m", "copper.mass_g",
)  # fmt: skip


def flat(table: dict[str, Any], before: str = "") -> dict[str, Any]:
    """Nested tables as one, with dotted keys."""
    found: dict[str, Any] = {}
    for key, value in table.items():
        found |= flat(value, f"{before}{key}.") if isinstance(value, dict) else {f"{before}{key}": value}
    return found


def different_keys(one: Design, other: Design) -> dict[str, tuple[Any, Any]]:
    """Keys of the design files that do not say the same, with both values; None where a file leaves the key out."""
    left, right = flat(one.document), flat(other.document)
    return {key: (left.get(key), right.get(key)) for key in {**left, **right} if left.get(key) != right.get(key)}


def changes(one: Design, other: Design) -> dict[str, tuple[float, float]]:
    """The results of SHOWN of both designs."""
    left, right = (flat(project.predict(design).to_dict()) for design in (one, other))
    return {key: (left[key], right[key]) for key in SHOWN}


if __name__ == "__main__":
    one = project.load_design(DESIGN)
    other = one.with_values(
        {"board.outer_copper_um": 70.0, "board.inner_copper_um": 70.0, "board.rules": "2oz-standard"}
    )
    for key, (before, after) in different_keys(one, other).items():
        print(f"{key}: {before} -> {after}")
    figure = Figure(figsize=(8, 4), layout="constrained")
    axes = figure.subplots()
    for key, (before, after) in changes(one, other).items():
        print(f"{key:42s} {before:10.4g} {after:10.4g} {100 * (after / before - 1):+7.1f} %")
        axes.barh(key, 100 * (after / before - 1), color="C0")
    axes.set(xlabel="change [%]")
    axes.invert_yaxis()
    figure.savefig(Path(sys.argv[1] if len(sys.argv) > 1 else ".") / "side-by-side.svg")
