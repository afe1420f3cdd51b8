"""Whole motors solved from their written files, beside the prediction; and faults that only the current shows."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import shapely

import pcbstator
from pcbstator.copper import lay_copper
from pcbstator.known import known_of
from pcbstator.output.fabrication.package import drawn_board, folder_files, ordered_files
from pcbstator.project import size_design
from pcbstator.verify.differences import difference_findings
from pcbstator.verify.reading import read_texts
from pcbstator.verify.verified import verified
from pcbstator.winding import lay_winding
from tests.copper import test_tiles
from tests.copper.stators import design_of
from tests.output import matrix

DESIGNS = Path(__file__).parents[2] / "designs"
slow = pytest.mark.slow
RESISTANCE, LINKAGE = 0.01, 0.003  # parts by which files and prediction may differ
SMALL = {"winding__turns": 2, "winding__coils": 9, "rotor__poles": 12, "board__layers": 2}
OF_TILES = test_tiles.RING | {"winding__turns": 2, "board__layers": 2, "board__tiles": 4}


def boards_of(design, copper):
    """The boards as their files have them."""
    drawn = drawn_board(design, copper)
    ordered, folders = ordered_files(design, drawn)
    texts = {
        name: text for name, text in folder_files(design, drawn, ordered, folders).items() if isinstance(text, str)
    }
    return read_texts(texts, "files")


def checked(design, copper=None):
    """The verification of a design's files; copper: what was written instead of what the design asks for."""
    sized = size_design(design)
    return verified("files", boards_of(sized, copper or pcbstator.lay_copper(sized)), known_of(sized))


def assert_as_predicted(found, resistance=RESISTANCE):
    """Nothing is found but notes about resistances of such short windings that bends and holes are a part of them."""
    solution = found.solution
    expected = solution.known.expected
    assert all(finding.severity == "note" for finding in found.findings)
    assert not found.findings or resistance > RESISTANCE
    # Of a stack the star point is not predicted by itself.
    found_pairs = {pair: solution.resistances[pair] for pair in expected.resistances}
    assert found_pairs == pytest.approx(dict(expected.resistances), rel=resistance)
    assert solution.torque_constant == pytest.approx(expected.torque_constant, rel=LINKAGE)
    predicted = [expected.linkages[name] for name in solution.states]
    assert len(predicted) == len(solution.known.phases)
    # A phase by itself may differ a little more: its leads lie beside its tracks' middles.
    assert solution.linkages[:, 0] == pytest.approx(predicted, rel=3 * LINKAGE)


@pytest.mark.parametrize(
    "name",
    [*(pytest.param(name, marks=slow) for name in ("filter-wheel", "small-fan", "photogrammetry-stage"))],
)
def test_shipped_design(name):
    """The largest of them, and all through the command, are solved in .ci/run."""
    assert_as_predicted(checked(pcbstator.load_design(DESIGNS / f"{name}.toml")))


@cache
def small_found():
    return checked(design_of(**SMALL))


def test_small_stator():
    """Resistance and torque; the prediction is that of predict."""
    found = small_found()
    assert_as_predicted(found)
    prediction = pcbstator.predict(design_of(**SMALL)).to_dict()
    plain = found.to_dict()
    assert plain["flux_linkage_peak_wb"] == pytest.approx(prediction["magnetic"]["flux_linkage_peak_wb"], rel=LINKAGE)
    lines = prediction["electrical"]["line_resistances_ohm"]
    assert {pair: plain["line_resistances_ohm"][pair] for pair in lines} == pytest.approx(lines, rel=RESISTANCE)
    assert all(net["pieces"] == 1 for net in plain["nets"]) and plain["nets"]
    angles = [row["electrical_angle_deg"] % 360 for row in plain["phases"]]
    assert angles == pytest.approx([0.0, 120.0, 240.0], abs=1.0)


def test_what_standards_allow_at_the_narrowest():
    """The hottest place is a track of the winding: the standards' currents are those of the prediction."""
    plain = small_found().to_dict()
    thermal = pcbstator.predict(design_of(**SMALL)).to_dict()["thermal"]
    for key in ("ipc2221_phase_current_rms_a", "ipc2152_phase_current_rms_a"):
        assert plain[key] == pytest.approx(thermal[key], rel=0.05)
    assert plain["hot_places"][0]["width_mm"] == pytest.approx(0.4, rel=0.01)
    assert plain["largest_via_current_rms_a"] == pytest.approx(1.0, rel=1e-3)


KINDS = {
    "2 paths in delta": {"winding__parallel_paths": 2, "winding__connection": "delta", "winding__coils": 12,
                         "rotor__poles": 16},
    "4 paths": {"winding__parallel_paths": 4, "winding__coils": 12, "rotor__poles": 16},
    "open": {"winding__connection": "open"},
}  # fmt: skip


@slow
@pytest.mark.parametrize("name", KINDS)
def test_kind(name):
    assert_as_predicted(checked(design_of(**SMALL | {"winding__turns": 5} | KINDS[name])), 0.02)


STACKS = [
    "sector-2-inner-series-star-m3c6p4",
    "sector-4-outer-series-delta-m3c6p4",
    "series-open-m5c10p8",
    "parallel-star-m3c6p4",
]


@slow
@pytest.mark.parametrize("part", STACKS)
def test_stack(part):
    """Boards in series and in parallel, every layer at its own height; so few turns that their bends count."""
    name = next(name for name in matrix.cases() if part in name and "wave" not in name and "-8-" not in name)
    assert_as_predicted(checked(matrix.design_of(name)), 0.02)


@slow
@pytest.mark.parametrize("connection", ["star", "delta", "open"])
def test_ring_of_tiles(connection):
    """Every tile at its place, joined by wires."""
    assert_as_predicted(checked(test_tiles.ring_of(OF_TILES | {"winding__connection": connection})[0]), 0.02)


def written_with(**changes):
    """The files of a winding that was laid otherwise, held against the design."""
    sized = size_design(design_of(**SMALL))
    winding = lay_winding(sized)
    return checked(sized, lay_copper(sized, replace(winding, **{k: f(winding) for k, f in changes.items()})))


@slow
def test_reversed_coil_is_named():
    """One coil of nine turned round: named with its place on both layers, and the phase that loses two thirds."""
    found = written_with(sense=lambda winding: (-winding.sense[0], *winding.sense[1:]))
    assert not found.sound
    (coil,) = [finding for finding in found.findings if "a coil is reversed" in finding.message]
    assert "phase A" in coil.message and "layer 1, 2" in coil.message
    x = float(coil.where.split("x ")[1].split(" mm")[0])
    y = float(coil.where.split("y ")[1].split(" mm")[0])
    assert x > 15 and abs(y) < 3, "coil 0 lies on +x"
    (loss,) = [finding for finding in found.findings if "flux linkage" in finding.message]
    assert loss.value == pytest.approx(-200 / 3, rel=0.02) and "phase A" in loss.message


@slow
def test_exchanged_phases_are_named():
    """B and C exchanged in the files: their terminals are where those of the other should be."""
    swap = {0: 0, 1: 2, 2: 1}
    found = written_with(
        phase_of=lambda winding: tuple(swap[phase] for phase in winding.phase_of),
        paths=lambda winding: tuple(winding.paths[swap[phase]] for phase in range(3)),
    )
    told = [finding.message for finding in found.findings if finding.severity == "error"]
    assert any(message.startswith("terminal B is named") and "pin C: exchanged" in message for message in told)
    assert not any("coil is reversed" in message for message in told)


def test_order_and_sense_of_phases():
    """Two phases that have each other's EMF, and one with the other sign, are told; no coil is said to be reversed."""
    solution = small_found().solution
    exchanged = [f.message for f in difference_findings(replace(solution, states=("A", "C", "B")))]
    assert "phase B has the EMF of phase C: the phases are exchanged" in exchanged
    assert "phase C has the EMF of phase B: the phases are exchanged" in exchanged and len(exchanged) == 2
    turned = replace(solution.placed[0], pieces=tuple(
        replace(piece, each=piece.each * [[[1.0], [-1.0], [1.0]]]) for piece in solution.placed[0].pieces
    ))  # fmt: skip
    linkages = solution.linkages * np.array([[1.0], [-1.0], [1.0]])
    (told,) = difference_findings(replace(solution, placed=(turned,), linkages=linkages))
    assert told.message == "phase B is reversed: its EMF has the other sign" and told.severity == "error"


@slow
def test_thin_track_is_named_with_its_place():
    """One coil's second layer etched to 0.2 mm from 0.4: what differs, and which piece is unlike the others."""
    sized = size_design(design_of(**SMALL))
    copper = pcbstator.lay_copper(sized)
    (board,) = boards_of(sized, copper)
    angle, radius = float(copper.coil_angles[4]), 23.0
    here = shapely.Point(radius * np.cos(angle), radius * np.sin(angle)).buffer(8.0)
    layer = board.layers[1]
    thin = layer.copper.difference(here).union(layer.copper.buffer(-0.1).intersection(here))
    etched = replace(board, layers=(board.layers[0], replace(layer, copper=thin)))
    found = verified("files", [etched], known_of(sized))
    (told,) = [finding for finding in found.findings if "the resistance" in finding.message]
    assert told.code == "verify.differs" and told.severity in ("warning", "error")  # 2 % and more
    first = told.where.split(";")[0]
    assert first.startswith("layer 2")
    x, y = (float(first.split(f"{axis} ")[1].split(" mm")[0]) for axis in "xy")
    assert here.contains(shapely.Point(x, y))


@slow
def test_open_coil_is_told_without_a_number():
    """A phase that is cut: no resistance to tell, and the terminals are named."""
    sized = size_design(design_of(**SMALL))
    copper = pcbstator.lay_copper(sized)
    (board,) = boards_of(sized, copper)
    x, y = board.terminals["A"]
    around = shapely.Point(x, y).buffer(1.6).difference(shapely.Point(x, y).buffer(1.4))
    cut = tuple(replace(layer, copper=layer.copper.difference(around)) for layer in board.layers)
    found = verified("files", [replace(board, layers=cut)], known_of(sized))
    assert any("no copper joins the terminals A and" in finding.message for finding in found.findings)
    assert "AB" not in found.to_dict()["line_resistances_ohm"] and "BC" in found.to_dict()["line_resistances_ohm"]
