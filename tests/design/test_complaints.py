"""Mistakes in a document: each key, what must hold, what came and the way out; all at once."""

import pytest

from pcbstator.design import design_from_document
from pcbstator.errors import DesignError


@pytest.mark.parametrize(
    "value", [True, "0.3", "0,3", float("nan"), float("inf"), -0.3, 0, 10**400, [0.3], {"mm": 0.3}, None]
)
def test_a_length_is_a_number_within_bounds(complaints_of, value):
    complaint = complaints_of({"board.track_gap_mm": value})["board.track_gap_mm"]
    assert complaint.rule == "must be a number from 0.05 to 20 mm"
    assert complaint.value
    assert complaint.remedy
    assert len(str(complaint)) < 250


@pytest.mark.parametrize("value", [True, "0.3", "full", float("nan"), 0.01, 30, [0.3]])
def test_a_track_width_is_a_length_or_fill(complaints_of, value):
    complaint = complaints_of({"board.track_width_mm": value})["board.track_width_mm"]
    assert complaint.rule == 'must be a number from 0.05 to 20 mm or "fill"'
    assert complaint.value


@pytest.mark.parametrize("value", [True, 12.5, "12", 0, 501, -1, float("nan"), "all", None])
def test_turns_are_a_whole_number_or_fill(complaints_of, value):
    assert (
        complaints_of({"winding.turns": value})["winding.turns"].rule
        == 'must be a whole number from 1 to 500 or "fill"'
    )


@pytest.mark.parametrize(
    ("key", "value", "text"),
    [
        ("board.track_width_mm", "0,3", "write the number without quotes, with a point for the decimals"),
        ("board.outer_copper_um", 0.035, "got 0.035; the unit is um: was 35 meant?"),
        ("board.track_width_mm", 300, "got 300; the unit is mm: was 0.3 meant?"),
        ("winding.turns", 12.0, "write 12"),
        ("winding.kind", "ring", 'must be "spiral" or "wave"; got "ring"'),
        ("winding.outline", "square", 'must be "sector", "round" or "parallel"; got "square"'),
        ("winding.phases", 4, "must be one of 2, 3, 5, 7, 9, 11, 13, 15; got 4"),
        ("board.layers", 17, "must be a whole number from 2 to 16; got 17"),
        ("rotor.poles", 15, "must be an even whole number from 2 to 400; got 15"),
        ("rotor.poles", 402, "must be an even whole number from 2 to 400; got 402"),
        ("title", "two\nlines", "must be one line of text in quotes"),
        ("title", "", "must be one line of text in quotes"),
        ("title", 7, "put it in quotes"),
        ("winding", 5, "must be a table of keys; got 5; write [winding] on its own line"),
        ("rotor.magnet", "disc", "must be a table of keys"),
        ("board.layer_depths_mm", [0, 0.5, "1", 1.5], 'mend number 3 of the list, "1"'),
        ("board.layer_depths_mm", 0.5, "must be a list of at most 16 numbers from 0 to 10 mm"),
    ],
)
def test_text_of_a_complaint(complaints_of, key, value, text):
    assert text in str(complaints_of({key: value})[key])


@pytest.mark.parametrize(
    ("key", "value", "text"),
    [
        ("windings", {}, "is not a known section; got {}; did you mean winding?"),
        ("titel", "x", "did you mean title?"),
        ("winding.turn", 4, "did you mean winding.turns?"),
        ("board.coils", 4, "did you mean winding.coils?"),
        ("board.rules", {"edge": 0.3}, "did you mean board.rules.edge_mm?"),
        ("rotor.magnet.diametr_mm", 4, "did you mean rotor.magnet.diameter_mm?"),
        ("rotor.zzz", 4, "the nearest known key is rotor."),
        ("xyzzy", 4, "the nearest known key is "),
    ],
)
def test_unknown_key_names_the_nearest(complaints_of, key, value, text):
    complaints = complaints_of({key: value})
    path = "board.rules.edge" if key == "board.rules" else key
    assert text in str(complaints[path])
    assert len(complaints) == 1


def test_key_of_another_shape_is_refused_by_name(complaints_of):
    complaint = complaints_of({"rotor.magnet.arc_ratio": 0.8})["rotor.magnet.arc_ratio"]
    assert complaint.rule == 'belongs to a magnet of shape "sector"; this one is "disc"'


def test_magnet_of_unknown_shape_is_not_judged_further(complaints_of):
    assert set(complaints_of({"rotor.magnet.shape": "ring", "rotor.magnet.grade": 7})) == {"rotor.magnet.shape"}


@pytest.mark.parametrize("shape", ["ring", 3, None])
def test_unknown_shape_lists_the_known_ones(complaints_of, shape):
    assert complaints_of({"rotor.magnet.shape": shape})["rotor.magnet.shape"].rule == (
        'must be one of "sector", "disc", "block"'
    )


REQUIRED = (
    "title winding.coils winding.turns board board.layers rotor.magnet rotor.magnet.shape rotor.magnet.thickness_mm"
)


@pytest.mark.parametrize("key", REQUIRED.split())
def test_missing_key_says_what_to_add(complaints_of, absent, key):
    complaint = complaints_of({key: absent})[key]
    assert complaint.value == "nothing"
    assert complaint.remedy


@pytest.mark.parametrize(
    ("changes", "key", "text"),
    [
        (
            {"envelope.bore_diameter_mm": 60, "envelope.outer_diameter_mm": 60},
            "envelope.outer_diameter_mm",
            "larger than",
        ),
        (
            {"board.copper_outer_diameter_mm": 30.0},
            "board.copper_outer_diameter_mm",
            "board.copper_inner_diameter_mm = 40",
        ),
        ({"board.inner_diameter_mm": 41}, "board.copper_inner_diameter_mm", "larger than board.inner_diameter_mm = 41"),
        ({"board.outer_diameter_mm": 79}, "board.outer_diameter_mm", "larger than board.copper_outer_diameter_mm = 80"),
        ({"board.via_pad_mm": 0.3}, "board.via_pad_mm", "larger than board.via_drill_mm = 0.3"),
        (
            {"board.terminal_drill_mm": 2.0},
            "board.terminal_pad_mm",
            "larger than board.terminal_drill_mm = 2.0; got 1.6",
        ),
        (
            {"board.via_plating_um": 100, "board.via_drill_mm": 0.2},
            "board.via_plating_um",
            "leave the 0.2 mm hole open",
        ),
        ({"board.thickness_mm": 0.1}, "board.thickness_mm", "thicker than its 4 layers of copper, 0.14 mm"),
        ({"board.layer_depths_mm": [0, 0.5, 1.5]}, "board.layer_depths_mm", "must be 4 depths"),
        ({"board.layer_depths_mm": [0, 0.5, 0.5, 1.5]}, "board.layer_depths_mm", "rising from 0"),
        ({"board.layer_depths_mm": [0.1, 0.5, 1.0, 1.5]}, "board.layer_depths_mm", "rising from 0"),
        ({"board.layer_depths_mm": [0, 0.5, 1.0, 1.6]}, "board.layer_depths_mm", "board.thickness_mm = 1.5"),
        ({"winding.coils": 13}, "winding.coils", "multiple of winding.phases = 3; got 13; use 12 or 15 coils"),
        ({"winding.coils": 2}, "winding.coils", "use 3 coils"),
        ({"winding.parallel_paths": 3}, "winding.parallel_paths", "divide the 4 coils of a phase"),
        ({"winding.coils": 360, "winding.turns": 100}, "winding.turns", "at most 50000; got 360 x 4 x 100"),
        (
            {"rotor.magnet.diameter_mm": 60},
            "rotor.magnet.circle_diameter_mm",
            "larger than rotor.magnet.diameter_mm = 60",
        ),
        ({"rotor.magnet.grade": "N42"}, "rotor.magnet.remanence_t", "exactly one of remanence_t and grade"),
    ],
)
def test_keys_that_contradict_each_other(complaints_of, changes, key, text):
    complaints = complaints_of(changes)
    assert text in str(complaints[key])
    assert len(complaints) == 1


def test_remanence_or_grade(complaints_of, absent):
    none = complaints_of({"rotor.magnet.remanence_t": absent})
    assert 'got neither; add remanence_t = 1.30 or grade = "N42"' in str(none["rotor.magnet.remanence_t"])
    unknown = complaints_of({"rotor.magnet.remanence_t": absent, "rotor.magnet.grade": "N99"})
    assert "known are N35" in str(unknown["rotor.magnet.grade"])
    hot = complaints_of(
        {"rotor.magnet.remanence_t": absent, "rotor.magnet.grade": "N42", "rotor.magnet.temperature_c": 90}
    )
    assert "holds from -100 to 80 C" in str(hot["rotor.magnet.temperature_c"])


def test_fill_cannot_ask_for_endless_work(complaints_of):
    changes = {"winding.turns": "fill", "winding.coils": 90, "board.layers": 16, "board.track_width_mm": 0.05,
               "board.track_gap_mm": 0.05, "board.copper_outer_diameter_mm": 2000}  # fmt: skip
    assert "at most 50000" in complaints_of(changes)["winding.turns"].rule


def test_everything_is_told_at_once(complaints_of, absent):
    complaints = complaints_of(
        {
            "title": absent,
            "lode": {},
            "winding.coils": "many",
            "winding.turn": 3,
            "board.via_pad_mm": 0.2,  # contradicts the default drill although this section has other mistakes
            "board.layers": 5.5,
            "board.rules": {"edge_mm": -1, "edg_mm": 1},
            "rotor.magnet.grade": "N99",
            "rotor.magnet.length_mm": 3,
        }
    )
    assert set(complaints) == {
        "title", "lode", "winding.coils", "winding.turn", "board.via_pad_mm", "board.layers", "board.rules.edge_mm",
        "board.rules.edg_mm", "rotor.magnet.remanence_t", "rotor.magnet.grade", "rotor.magnet.length_mm",
    }  # fmt: skip


def test_each_line_of_the_error_names_the_file_and_no_tool():
    with pytest.raises(DesignError) as caught:
        design_from_document({"winding": {"kind": 3}}, "odd.toml")
    lines = str(caught.value).splitlines()
    assert len(lines) == len(caught.value.complaints) > 3
    assert all(line.startswith("odd.toml: ") for line in lines)
    assert "pydantic" not in str(caught.value).lower()


def test_a_document_must_be_plain():
    within = {}
    within["winding"] = within
    for strange in (within, [], "text", None):
        with pytest.raises(DesignError, match="document: must"):
            design_from_document(strange)


def test_two_phases_cannot_close_a_delta(complaints_of):
    changes = {"winding.phases": 2, "winding.coils": 8, "winding.connection": "delta", "rotor.poles": 6}
    assert "short circuit" in complaints_of(changes)["winding.connection"].rule
