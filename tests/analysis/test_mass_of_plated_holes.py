"""Mass of the plating: a tube within the drilled hole, so that its outer diameter is the drill's."""

from math import pi
from pathlib import Path

import pytest

import pcbstator

STAGE = pcbstator.load_design(Path(__file__).parents[2] / "designs" / "photogrammetry-stage.toml")
DENSITY = 8940.0  # kg/m3, copper: handbook, from memory; 8890 to 8960 are printed


@pytest.mark.parametrize("stack", [None, {"boards": 2, "connection": "series", "spacing_mm": 0.4}])
def test_thicker_plating_adds_the_tubes_it_adds(stack: dict[str, object] | None) -> None:
    """From 20 to 50 um: pi/4·((d − 2·20 um)² − (d − 2·50 um)²) times the board's thickness in every hole."""
    fixed = {
        "envelope": None, "winding.turns": 4, "winding.connection": "open", "board.vias_per_transition": 3,
        "stack": stack,
    }  # fmt: skip
    thin, thick = (STAGE.with_values(fixed | {"board.via_plating_um": um}) for um in (20.0, 50.0))
    copper = pcbstator.lay_copper(thin)
    holes = [hole.drill for hole in copper.board.holes]
    assert len(holes) == len(pcbstator.lay_copper(thick).board.holes)
    bores = sum(pi / 4 * ((d - 40e-6) ** 2 - (d - 100e-6) ** 2) for d in holes)
    boards = 1 if stack is None else 2
    expected = boards * DENSITY * bores * thin.board.thickness
    gained = pcbstator.predict(thick).copper.mass - pcbstator.predict(thin).copper.mass
    assert gained == pytest.approx(expected, rel=0.01)
