"""Two designs side by side: differences against two separate predictions, and against what was changed."""

from __future__ import annotations

import json

import pytest

import pcbstator
from pcbstator import project
from pcbstator.analysis.fields import rows
from pcbstator.check.side_by_side import key_differences
from pcbstator.output.side_by_side_words import LEAST_SHOWN, result_sections, side_by_side_text
from tests.command import DESIGNS, run, write_design

FAN = next(path for path in DESIGNS if path.stem == "small-fan")
CHANGES = {"winding.turns": 8, "board.outer_copper_um": 70.0, "title": "Fan, heavier copper"}


@pytest.fixture(scope="module")
def pair():
    design = pcbstator.load_design(FAN)
    return project.side_by_side(design, design.with_values(CHANGES))


def results(prediction):
    return {f"{name}.{key}": value for name, section in prediction.sections() for key, _, value in rows(section)}


def test_every_changed_key_is_listed_once(pair):
    before = pcbstator.load_design(FAN)
    listed = {found.key: (found.design, found.other) for found in pair.keys}
    assert len(listed) == len(pair.keys)
    assert listed == {
        "winding.turns": (before.winding.turns, 8),
        "board.outer_copper_um": (pytest.approx(1e6 * before.board.outer_copper), 70.0),
        "title": (before.title, CHANGES["title"]),
    }


def test_keys_that_one_file_leaves_out_and_tables_in_lists():
    left = {"load": {"bodies": [{"mass_g": 1.0}, {"mass_g": 2.0}]}, "drive": {"supply_v": 12.0}}
    right = {"load": {"bodies": [{"mass_g": 1.0}, {"mass_g": 3.0}, {"mass_g": 4.0}]}, "drive": {}}
    found = {pair.key: (pair.design, pair.other) for pair in key_differences(left, right)}
    assert found == {
        "load.bodies[2].mass_g": (2.0, 3.0), "load.bodies[3].mass_g": (None, 4.0), "drive.supply_v": (12.0, None)
    }  # fmt: skip


def test_changes_are_those_of_two_predictions(pair):
    """Each change is the difference of the two, each percentage its part; nothing is lost between changed and same."""
    design = pcbstator.load_design(FAN)
    one, two = (results(project.predict(asked)) for asked in (design, design.with_values(CHANGES)))
    numbers = [found for found in pair.results if found.change is not None]
    assert {"electrical.phase_resistance_ohm", "copper.mass_g"} <= {found.key for found in numbers}
    for found in numbers:
        if found.key in one:
            assert found.change == two[found.key] - one[found.key] != 0
            if found.change_percent is not None:
                assert found.change_percent == pytest.approx(100 * (two[found.key] / one[found.key] - 1), rel=1e-9)
    plain = {key for key in one | two if isinstance((one | two)[key], int | float | str)}
    seen = {found.key for found in pair.results} | set(pair.unchanged)
    assert plain <= seen and not {found.key for found in pair.results} & set(pair.unchanged)
    assert "winding.coils" in pair.unchanged


def test_resistance_follows_turns_and_copper(pair):
    """Two layers of six of twice the copper: 5/6 of the resistance; of 9 turns the innermost goes, a short one, so
    that more than 8/9 of the length is left.
    """
    design = pcbstator.load_design(FAN)
    assert (design.winding.turns, design.board.layers) == (9, 6)
    found = next(found for found in pair.results if found.key == "electrical.phase_resistance_ohm")
    assert 5 / 6 * 8 / 9 < found.other / found.design < 5 / 6


def test_equal_designs_give_nothing():
    design = pcbstator.load_design(FAN)
    same = project.side_by_side(design, design.with_values({}))
    assert (same.keys, same.results, same.findings) == ((), (), ())
    assert len(same.unchanged) > 50
    assert "no key differs" in side_by_side_text(same)


def test_small_changes_are_counted_and_not_shown():
    """A change of 1e-4 in the air gap moves next to nothing; all that is left out is counted."""
    design = pcbstator.load_design(FAN)
    gap = 1.0001e3 * design.rotor.air_gap
    found = project.side_by_side(design, design.with_values({"rotor.air_gap_mm": gap}))
    sections, small = result_sections(found)
    shown = sum(len(listed) for listed in sections.values())
    assert shown + small == len(found.results) and small
    assert all(
        abs(pair.change_percent) >= LEAST_SHOWN
        for pair in found.results
        if pair.change_percent is not None and any(row.name == pair.key.partition(".")[2] for row in
                                                   sections.get(pair.key.partition(".")[0], []))
    )  # fmt: skip


@pytest.fixture
def files(tmp_path):
    """A design, and a changed one whose envelope is too low for it and of which more torque is asked."""
    document = pcbstator.load_design(next(path for path in DESIGNS if path.stem == "photogrammetry-stage")).document
    document["requirement"] = {"torque_reserve_percent": 20, "supply_current_a": 1.0}
    one = write_design(tmp_path / "one.toml", document)
    document["requirement"]["torque_reserve_percent"] = 5000
    document["envelope"]["height_mm"] = 5.0
    other = write_design(tmp_path / "other.toml", document)
    return one, other


def test_the_command_prints_one_object_and_leaves_by_the_worse(files):
    shown = run("predict", *files, "--json")
    result = json.loads(shown.out)
    assert (shown.code, shown.err) == (1, "")  # the other cannot be built
    assert list(result) == ["designs", "keys", "results", "unchanged", "requirement", "findings"]
    assert [entry["design_file"] for entry in result["designs"]] == ["one.toml", "other.toml"]
    assert {entry["key"] for entry in result["keys"]} == {"envelope.height_mm", "requirement.torque_reserve_percent"}
    answers = {
        entry["name"]: (entry["design"]["verdict"], entry["other"]["verdict"]) for entry in result["requirement"]
    }
    assert answers == {"torque_reserve_percent": ("met", "not met"), "supply_current_a": ("met", "met")}
    (height,) = [entry for entry in result["findings"] if entry["code"] == "envelope.height"]
    assert "design" not in height and height["other"]["severity"] == "error"
    assert "null" not in shown.out and "NaN" not in shown.out


def test_the_text_keeps_to_80_columns_and_has_both_verdicts(files, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    text = run("predict", *files).out
    assert max(map(len, text.splitlines())) <= 80
    assert "envelope.height_mm" in text and "not met: ≥ 5000 %" in text and "met: ≥ 20 %" in text


def test_the_page_stands_by_itself_and_has_both_pictures(files, tmp_path):
    from tests.output.test_report import Page

    assert run("report", *files, "-o", tmp_path / "pair.html").code == 1
    text = (tmp_path / "pair.html").read_text(encoding="utf-8")
    page = Page(text)
    assert len(page.ids) == len(set(page.ids)) and text.count("<svg ") == 2
    assert all(reference.startswith("#") and reference[1:] in page.ids for reference in page.references)
    assert "envelope.height_mm" in page.words and "only other" in page.words


def test_a_mistake_in_either_file_is_told(files, tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text(files[0].read_text(encoding="utf-8").replace('"poles" = 24', '"poels" = 24'), encoding="utf-8")
    for order in ((files[0], bad), (bad, files[0])):
        shown = run("predict", *order)
        assert (shown.code, shown.out) == (2, "") and "rotor.poels" in shown.err
