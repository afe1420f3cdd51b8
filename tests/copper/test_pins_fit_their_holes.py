"""Pins through a stack of boards: each stands in a terminal's hole on every board it joins, with play all round."""

from pathlib import Path

import numpy as np
import pytest

import pcbstator
from pcbstator.copper import Pin

STAGE = pcbstator.load_design(Path(__file__).parents[2] / "designs" / "photogrammetry-stage.toml")
LEAST, MOST = 0.05e-3, 0.3e-3  # play on the diameter [m]: plated holes vary by 0.05 mm; common practice, no source


@pytest.mark.parametrize("drill", [0.8, 1.0, 1.6])
@pytest.mark.parametrize("connection", ["series", "parallel"])
def test_every_pin_has_play_in_its_holes(connection: str, drill: float) -> None:
    section = {"boards": 3, "connection": connection, "spacing_mm": 0.4}
    changes = {
        "envelope": None, "winding.turns": 4, "winding.connection": "open",
        "board.terminal_drill_mm": drill, "board.terminal_pad_mm": drill + 0.6,
    }  # fmt: skip
    copper = pcbstator.lay_copper(STAGE.with_values(changes | {"stack": section}))
    pins = [step for phase in copper.phases for path in phase.paths for step in path.steps if isinstance(step, Pin)]
    assert len(pins) >= 2 * len(copper.phases)
    for pin in pins:
        holes = [t for t in copper.terminals if np.hypot(t.x - pin.x, t.y - pin.y) < 1e-9]
        assert len(holes) >= 2
        assert all(LEAST <= hole.drill - pin.diameter <= MOST for hole in holes)
