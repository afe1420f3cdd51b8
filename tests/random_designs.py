"""Stators of all kinds, drawn at random from a seed: every choice of the design file that changes copper or field."""

from __future__ import annotations

import copy
import random
from typing import Any

from pcbstator.design import Design, design_from_document
from tests.output.matrix import KINDS, PHASES, STACKS, WAVES, document

MAGNETS: tuple[dict[str, Any], ...] = (
    {"shape": "sector", "arc_ratio": 0.8},
    {"shape": "sector", "arc_ratio": 1.0, "array": "halbach", "segments_per_pole": 2},
    {"shape": "sector", "arc_ratio": 0.9, "array": "halbach", "segments_per_pole": 3},
    {"shape": "disc"},
    {"shape": "block"},
)


def drawn_design(seed: int) -> Design:
    """One of them; DesignError where the file's own rules are broken."""
    dice = random.Random(seed)
    asked = document()
    winding, board, rotor = asked["winding"], asked["board"], asked["rotor"]
    for path, value in KINDS[dice.choice(list(KINDS))].items():
        asked[path.split(".")[0]][path.split(".")[1]] = value
    wave = winding["kind"] == "wave"
    inner = dice.uniform(60.0, 90.0) if wave else dice.uniform(36.0, 60.0)
    outer = inner + (dice.uniform(80.0, 150.0) if wave else dice.uniform(34.0, 60.0))
    layers = dice.choice((2, 2, 4, 4, 5, 6, 8))
    if wave:
        phases, rotor["poles"], winding["turns"] = dice.choice(WAVES)
    else:
        phases, winding["coils"], rotor["poles"] = dice.choice((*PHASES, (3, 9, 8), (3, 18, 16), (3, 12, 10)))
        winding["turns"] = dice.choice((1, 2, 3, 5, 8, 16, "fill"))
    winding |= {
        "phases": phases,
        "connection": dice.choice(("star", "open") if phases == 2 else ("star", "delta", "open")),
        "parallel_paths": dice.choice((1, 1, 2)),
        "skew_deg": dice.choice((0.0, 0.0, 0.0, 4.0, -3.0)),
        "connection_ring": dice.choice(("outer", "outer", "inner")),
    }
    if wave and layers > 2:
        winding["layer_connection"] = dice.choice(("series", "parallel"))
    board |= {
        "layers": layers,
        "track_width_mm": round(dice.uniform(0.2, 0.6), 2),
        "track_gap_mm": round(dice.uniform(0.15, 0.25), 2),
        "copper_inner_diameter_mm": inner,
        "copper_outer_diameter_mm": outer,
        "outer_copper_um": dice.choice((35.0, 70.0)),
        "inner_copper_um": dice.choice((17.5, 35.0, 70.0)),
        "thickness_mm": dice.choice((0.8, 1.6, 2.0)),
    }
    if layers == 5:
        board["coil_layers"] = [1, 2, 4, 5]
    if not wave and board.get("track_profile") != "tapered" and dice.random() < 0.1:
        board["tiles"] = dice.choice((2, 3))
    stack = STACKS[dice.choice(("one", "one", "one", "series", "parallel"))]
    if stack is not None and "tiles" not in board:
        asked["stack"] = stack
    _draw_rotor(dice, rotor, inner, outer)
    if dice.random() < 0.4:
        asked["cooling"] = {
            "ambient_c": dice.choice((20.0, 40.0)),
            "orientation": dice.choice(("rotor-up", "rotor-down", "upright")),
            "speed_rpm": dice.choice((0.0, 300.0, 3000.0)),
        }
    if dice.random() < 0.3:
        asked["operation"] = {"speeds_rpm": [dice.choice((100.0, 2000.0))], "phase_currents_peak_a": [1.0]}
    return design_from_document(asked, f"drawn-{seed}.toml")


def _draw_rotor(dice: random.Random, rotor: dict[str, Any], inner: float, outer: float) -> None:
    """Magnets of any shape over most of the annulus, and steel."""
    magnet = copy.deepcopy(dice.choice(MAGNETS))
    length = (outer - inner) * dice.uniform(0.2, 0.45)
    middle = (inner + outer) / 2
    if magnet["shape"] == "sector":
        magnet |= {"inner_diameter_mm": middle - length, "outer_diameter_mm": middle + length}
    else:
        pitch = 3.14 * (middle - length) / rotor["poles"]
        size = min(length, 0.8 * pitch)
        magnet["circle_diameter_mm"] = middle
        magnet |= {"diameter_mm": size} if magnet["shape"] == "disc" else {"length_mm": length, "width_mm": size}
    magnet |= {"thickness_mm": dice.uniform(1.5, 5.0)} | dice.choice(({"remanence_t": 1.3}, {"grade": "N42SH"}))
    if "grade" in magnet:
        magnet["temperature_c"] = 40.0
    rotor |= {
        "magnet": magnet,
        "air_gap_mm": dice.uniform(0.5, 2.0),
        "arrangement": dice.choice(("single", "single", "double")),
        "back_iron_mm": dice.choice((0.0, 1.0, 3.0)),
    }
    if rotor["arrangement"] == "single" and dice.random() < 0.3:
        rotor["stator_iron_mm"] = 1.5
