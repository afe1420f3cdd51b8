"""Units, defaults and derived values of a design."""

import hashlib
import json
import pickle
from pathlib import Path

import pytest
from pydantic import ValidationError

import pcbstator
from pcbstator.design import BlockMagnet, SectorMagnet, design_from_document, load_design, starter_text
from pcbstator.errors import DesignError


def test_shop_units_become_si_exactly(design_of):
    design = design_of({"envelope.height_mm": 12, "board.outer_copper_um": 70})
    assert design.board.track_width == 0.3e-3
    assert design.board.copper_inner_diameter == 0.04  # a whole number is a number too
    assert design.board.outer_copper == 70e-6
    assert design.board.via_plating == 20e-6  # the default goes through the same door
    assert design.envelope.height == 0.012
    assert design.envelope.bore_diameter is None
    assert design.rotor.air_gap == 0.8e-3
    assert design.rotor.magnet.circle_diameter == 0.058
    assert design.rotor.magnet.remanence == 1.3
    assert design.rotor.magnet.temperature_c == 20.0
    assert design.board.laminate_tg_c == 150.0


def test_defaults_are_those_of_the_definition(design_of, document):
    design = design_of({})
    winding, board = design.winding, design.board
    assert (winding.kind, winding.outline, winding.phases, winding.connection) == ("spiral", "sector", 3, "star")
    assert (winding.parallel_paths, winding.connection_ring, winding.corner_radius) == (1, "outer", None)
    assert (board.terminal_drill, board.terminal_pad, board.finish) == (1e-3, 1.6e-3, "ENIG")
    assert (design.rotor.arrangement, design.rotor.back_iron, design.rotor.magnet.recoil_permeability) == (
        "single",
        0.0,
        1.05,
    )
    assert board.interconnect_width == board.track_width
    assert design.envelope is None
    assert design.rules.name == "1oz-standard"
    assert design.document == document


def test_board_outline_follows_copper_and_rule(design_of):
    board = design_of({}).board
    assert (board.inner_diameter, board.outer_diameter) == pytest.approx((0.039, 0.081), rel=1e-12)
    board = design_of({"board.rules": {"edge_mm": 1.5}}).board
    assert (board.inner_diameter, board.outer_diameter) == pytest.approx((0.037, 0.083), rel=1e-12)
    board = design_of(
        {"board.inner_diameter_mm": 30.0, "board.outer_diameter_mm": 100.0, "board.interconnect_width_mm": 0.5}
    ).board
    assert (board.inner_diameter, board.outer_diameter, board.interconnect_width) == (0.03, 0.1, 0.5e-3)


def test_layers_lie_at_the_faces_and_evenly_between(design_of):
    assert design_of({}).board.layer_z == pytest.approx((0.0, -0.5e-3, -1.0e-3, -1.5e-3), rel=1e-12)
    depths = design_of({"board.layer_depths_mm": [0.0, 0.2, 1.3, 1.5]}).board.layer_z
    assert depths == pytest.approx((0.0, -0.2e-3, -1.3e-3, -1.5e-3), rel=1e-12)
    assert str(depths[0]) == "0.0"


def test_magnet_shapes_are_told_apart(design_of):
    sector = {"shape": "sector", "inner_diameter_mm": 44, "outer_diameter_mm": 72, "arc_ratio": 0.8}
    block = {"shape": "block", "length_mm": 14, "width_mm": 7, "circle_diameter_mm": 58}
    common = {"thickness_mm": 3, "grade": "N42H", "temperature_c": 100}
    magnet = design_of({"rotor.magnet": sector | common}).rotor.magnet
    assert isinstance(magnet, SectorMagnet)
    assert (magnet.inner_diameter, magnet.outer_diameter, magnet.arc_ratio) == (0.044, 0.072, 0.8)
    # 1.30 T is the middle of the makers' range of N42; 80 K at the middle of their -0.095 to -0.12 %/K
    assert magnet.remanence == pytest.approx(1.30 * (1 - 80 * 0.001075), rel=1e-12)
    magnet = design_of({"rotor.magnet": block | common}).rotor.magnet
    assert isinstance(magnet, BlockMagnet)
    assert (magnet.length, magnet.width) == (0.014, 0.007)


def test_turns_may_be_fill(design_of):
    assert design_of({"winding.turns": "fill"}).winding.turns == "fill"


def test_design_is_frozen_and_its_document_a_copy(design_of):
    design = design_of({})
    with pytest.raises(ValidationError):
        design.title = "other"
    with pytest.raises(ValidationError):
        design.board.layers = 2
    design.document["winding"]["turns"] = 99
    assert design.document["winding"]["turns"] == 8


def test_design_travels_to_other_processes(design_of):
    design = design_of({"rotor.magnet.temperature_c": 40.0})
    twin = pickle.loads(pickle.dumps(design))  # noqa: S301
    assert twin == design
    assert hash(twin) == hash(design)
    assert (twin.document, twin.source, twin.digest) == (design.document, "bench.toml", design.digest)


def test_digest_of_a_file_is_that_of_its_bytes(tmp_path):
    file = tmp_path / "design.toml"
    file.write_text(starter_text() + "# a remark\n", encoding="utf-8")
    design = load_design(file)
    assert design.digest == hashlib.sha256(file.read_bytes()).hexdigest()
    assert design.with_values({"winding.turns": 9}).digest != design.digest


def test_digest_is_of_the_canonical_document(document):
    design = design_from_document(document)
    canonical = json.dumps(document, sort_keys=True, separators=(",", ":"))
    assert design.digest == hashlib.sha256(canonical.encode()).hexdigest()
    assert design_from_document(dict(reversed(document.items()))).digest == design.digest
    assert design.with_values({"winding.turns": 9}).digest != design.digest


def test_changed_copy_is_checked_and_leaves_the_first_alone(design_of):
    design = design_of({})
    other = design.with_values({"winding.turns": 10, "envelope.height_mm": 9.0, "rotor.magnet.grade": "N35",
                                "rotor.magnet.remanence_t": None})  # fmt: skip
    assert (other.winding.turns, other.envelope.height, other.source) == (10, 0.009, "bench.toml")
    assert other.rotor.magnet.grade == "N35"
    assert (design.winding.turns, design.envelope) == (8, None)
    assert (
        other.with_values({"winding.turns": 8, "envelope": None, "rotor.magnet": design.document["rotor"]["magnet"]})
        == design
    )


def test_changed_copy_takes_a_whole_magnet(design_of):
    block = {
        "shape": "block",
        "length_mm": 14,
        "width_mm": 7,
        "circle_diameter_mm": 58,
        "thickness_mm": 3,
        "grade": "N42",
    }
    assert design_of({}).with_values({"rotor.magnet": block}).rotor.magnet.length == 0.014


def test_changed_copy_takes_numbers_of_numpy(design_of):
    numpy = pytest.importorskip("numpy")
    design = design_of({}).with_values({"winding.turns": numpy.int64(7), "board.track_width_mm": numpy.float32(0.25)})
    assert (design.winding.turns, design.board.track_width) == (7, 0.25e-3)
    assert json.dumps(design.document)


@pytest.mark.parametrize(
    ("key", "nearest"),
    [
        ("winding.turn", "winding.turns"),
        ("turns", "winding.turns"),
        ("track_width_mm", "board.track_width_mm"),
        ("windng.turns", "winding.turns"),
        ("board.track_width", "board.track_width_mm"),
        ("rotor.magnets", "rotor.magnet"),
    ],
)
def test_changing_an_unknown_key_names_the_nearest(design_of, key, nearest):
    with pytest.raises(DesignError, match=rf"{key}: is not a known key; did you mean {nearest}\?"):
        design_of({}).with_values({key: 5})


def test_changing_a_limit_of_a_named_rule_set_says_what_to_do(design_of):
    with pytest.raises(DesignError, match=r"board.rules is not a table here; set board.rules to a table"):
        design_of({"board.rules": "2oz-standard"}).with_values({"board.rules.edge_mm": 0.5})


def test_a_bad_change_is_a_design_error(design_of):
    with pytest.raises(DesignError, match=r"winding.turns: must be a whole number from 1 to 500"):
        design_of({}).with_values({"winding.turns": 0})


def test_a_notebook_shows_the_stator():
    """The facade says how; a design by itself knows nothing of drawings."""
    path = Path(__file__).parents[2] / "designs" / "filter-wheel.toml"
    assert "<svg" in pcbstator.load_design(path)._repr_svg_()
