"""Resistances of whole windings against the current in the copper of the written files (``sheet.py``).

The program joins centre-lines to a network. The solution knows only outlines and holes, so it sees what is shared
between paths and phases, bends, pads, teardrops and holes as they are drawn. The two agree within 2 %.
"""

from __future__ import annotations

import tomllib
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

import pcbstator
from pcbstator.copper import Copper
from pcbstator.design import Design, design_from_document
from pcbstator.output.fabrication.package import drawn_board, folder_files, ordered_files
from tests.agreement.sheet import Resistances, read_board, terminal_resistances

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "materials.toml").read_text())
WINDINGS: dict[str, dict[str, Any]] = {
    "2 paths of 5 turns": {"coils": 12, "turns": 5, "parallel_paths": 2},
    "3 paths of 4 turns": {"coils": 18, "turns": 4, "parallel_paths": 3},
    "4 paths of 3 turns": {"coils": 24, "turns": 3, "parallel_paths": 4},
    "6 paths of one turn": {"coils": 36, "turns": 1, "parallel_paths": 6},
    "4 paths on 4 layers": {"coils": 12, "turns": 6, "parallel_paths": 4, "layers": 4},
    "3 paths in delta": {"coils": 18, "turns": 4, "parallel_paths": 3, "connection": "delta"},
    "4 paths in delta on 4 layers": {
        "coils": 12, "turns": 6, "parallel_paths": 4, "connection": "delta", "layers": 4,
    },
    "one path": {"coils": 12, "turns": 5},
    "one path, open": {"coils": 6, "turns": 8, "connection": "open", "poles": 8},
    "wave": {"kind": "wave", "turns": 2, "poles": 16},
    "tapered wave in parallel layers": {
        "kind": "wave", "turns": 2, "poles": 16, "layers": 4, "layer_connection": "parallel",
        "track_profile": "tapered", "track_width_mm": 0.3,
    },
}  # fmt: skip
QUICK = {"2 paths of 5 turns"}  # the others take longer


def design_of(values: dict[str, Any]) -> Design:
    """Copper of 70 um on all layers, tracks of 0.5 mm with gaps of 0.2 mm."""
    wave = values.get("kind") == "wave"
    inner, outer = (60.0, 120.0) if wave else (44.0, 96.0)
    board = {
        "layers": 2, "track_width_mm": 0.5, "track_gap_mm": 0.2, "thickness_mm": 1.6, "outer_copper_um": 70.0,
        "copper_inner_diameter_mm": inner, "copper_outer_diameter_mm": outer,
    }  # fmt: skip
    board |= {name: value for name, value in values.items() if name in (*board, "track_profile")}
    if board["layers"] > 2:
        board["inner_copper_um"] = 70.0
    winding = {name: value for name, value in values.items() if name not in (*board, "poles")}
    poles = values.get("poles") or values["coils"] * 2 // 3
    magnet = {
        "shape": "sector", "inner_diameter_mm": inner + 8, "outer_diameter_mm": outer - 10, "arc_ratio": 0.8,
        "thickness_mm": 3.0, "remanence_t": 1.3,
    }  # fmt: skip
    rotor = {"poles": poles, "air_gap_mm": 1.0, "magnet": magnet}
    return design_from_document({"title": "W", "winding": winding, "board": board, "rotor": rotor}, "winding.toml")


def solved(design: Design, copper: Copper) -> Resistances:
    """Resistances between the terminals [ohm], from the files."""
    drawn = drawn_board(design, copper)
    board = read_board(
        folder_files(design, drawn, ordered_files(design, drawn)[0]),
        [layer.thickness for layer in copper.layers],
        [layer.depth for layer in copper.layers],
        design.board.via_plating,
        PUBLISHED["copper"]["resistivity_ohm_m"],
    )
    return terminal_resistances(board)


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[] if name in QUICK else pytest.mark.slow) for name in WINDINGS]
)
def test_winding(name: str) -> None:
    """Between each pair of terminals; and what heats under balanced currents, which follows from all pairs."""
    design = design_of(WINDINGS[name])
    copper = pcbstator.lay_copper(design)
    prediction = pcbstator.predict(design, copper)
    found, electrical = solved(design, copper), prediction.to_dict()["electrical"]
    if design.winding.connection == "open":
        ends = [found[phase, phase + "2"] for phase in "ABC"]
        assert electrical["phase_resistances_ohm"] == pytest.approx(ends, rel=0.02)
        return
    lines = {pair: found[pair] for pair in combinations("ABC", 2)}
    # At line currents of one ampere peak a quarter of the sum is lost: 3/2 R, of phase currents 1/sqrt 3 in a delta.
    heating = sum(lines.values()) / (6 if design.winding.connection == "star" else 2)
    assert electrical["phase_resistance_ohm"] == pytest.approx(heating, rel=0.02)
    predicted = {tuple(sorted(pair)): value for pair, value in electrical["line_resistances_ohm"].items()}
    assert {pair: predicted[pair] for pair in lines} == pytest.approx(lines, rel=0.02)
    stars = {phase + "N": found[phase, "N"] for phase in "ABC" if (phase, "N") in found}
    assert electrical.get("star_resistances_ohm", {}) == pytest.approx(stars, rel=0.02)
    assert bool(stars) == (design.winding.connection == "star")
