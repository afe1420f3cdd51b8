"""A map of the magnets' axial field at copper layer 1, over angle and radius, for one pair of poles.

    python docs/examples/field_map.py [FOLDER]

The rotor stands at angle 0: a magnet is centred on +x, and its field points down into the board.
"""

import sys
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from pcbstator import project
from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, rotor_field
from pcbstator.design import Design

DESIGN = Path(__file__).parents[2] / "designs" / "photogrammetry-stage.toml"


def axial_field(design: Design, radii: NDArray[np.float64], angles: NDArray[np.float64]) -> NDArray[np.float64]:
    """B_z [T], (radii, angles), at layer 1; radii [m] within the copper, angles [rad] from +x.

    The field is known as harmonics of the angle at each radius: B_z = sum of B_n cos(n p angle), p pole pairs.
    """
    field = rotor_field(design)
    waves = np.cos(np.outer(field.orders * field.pole_pairs, angles))
    return np.asarray(field.at(radii, 0).T @ waves)


def picture(design: Design) -> Figure:
    """Colours for the field; dashed lines at the inner and outer edge of the magnets."""
    board, pair = design.board, 4 * np.pi / design.rotor.poles
    inner, outer = board.copper_inner_diameter / 2, board.copper_outer_diameter / 2
    radii, angles = np.linspace(inner, outer, 61), np.linspace(0, pair, 181)
    values = axial_field(design, radii, angles)
    figure = Figure(figsize=(7, 4), layout="constrained")
    axes = figure.subplots()
    most = np.abs(values).max()
    shown = axes.pcolormesh(
        np.degrees(angles), 1e3 * radii, values, cmap="RdBu_r", vmin=-most, vmax=most, rasterized=True
    )
    for radius in magnet_footprint(design).breakpoints[[0, -1]]:
        axes.axhline(1e3 * radius, color="black", linestyle="--")
    axes.set(xlabel="mechanical angle [deg]", ylabel="radius [mm]", title=f"{design.title}: B_z at layer 1")
    figure.colorbar(shown, label="B_z [T]")
    return figure


if __name__ == "__main__":
    design = project.load_design(DESIGN)
    picture(design).savefig(Path(sys.argv[1] if len(sys.argv) > 1 else ".") / "field-map.svg")
