"""A design taken from a study, what designs cost, which variables matter."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.cost import board_cost, invented_prices, magnet_cost
from pcbstator.design.file_text import changed_text
from pcbstator.errors import OutputError
from pcbstator.study.records import Variable
from pcbstator.study.sensitivity import correlation_ratio, influences
from pcbstator.study.store import open_store
from pcbstator.study.take import taken_design
from tests.command import DESIGNS, run
from tests.study.studies import TURNS, WHEEL, WIDTH, wheel_study
from tests.study.test_run import told

PRICES = dict.fromkeys(invented_prices(), 0.0) | {"boards_ordered": 1, "machines": 1}


def test_a_taken_design_is_what_predict_gives(tmp_path):
    grade = {"name": "grade", "choices": [
        {"label": "plain", "rotor.magnet.grade": "N35"},
        {"label": "stated", "rotor.magnet.remanence_t": 1.1, "without": ["rotor.magnet.grade"]},
    ]}  # fmt: skip
    study = wheel_study(variables=[TURNS, WIDTH, grade], budget=30)
    told(study, tmp_path)
    with open_store(tmp_path) as store:
        rows = {number: outcome for number, _, outcome in store.rows(feasible_only=True)}
        for number in list(rows)[::7]:
            taken = taken_design(store, number)
            place = tmp_path / "taken.toml"
            place.write_text(taken.text, encoding="utf-8")
            design = pcbstator.load_design(place)
            assert "confirms" in taken.words and design.title == f"Filter wheel, design {number}"
            found = pcbstator.predict(design).to_dict()
            for key, value in rows[number].results.items():
                section, _, name = key.partition(".")
                if section in found:
                    assert found[section][name] == pytest.approx(value, rel=1e-3), key
        assert "# the wheel's hub" in taken.text  # comments stay
        with pytest.raises(OutputError, match="holds no design 999; numbers go from 1 to 30"):
            taken_design(store, 999)


def test_numbers_that_differ_are_told(tmp_path):
    study = wheel_study(variables=[TURNS, WIDTH], budget=20)
    told(study, tmp_path)
    with open_store(tmp_path) as store:
        number, point, outcome = next(store.rows(feasible_only=True))
        wrong = {key: 1.01 * value for key, value in outcome.results.items()}
        store.add(number, [point], [replace(outcome, results=wrong)])
        taken = taken_design(store, number)
    assert taken.errors and "other numbers" in taken.words and "the study had" in taken.words
    assert run("take", tmp_path, str(number), "-o", tmp_path / "design.toml").code == 1


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)
def test_changed_files_are_changed_documents(path):
    text = path.read_text(encoding="utf-8")
    settings = {"winding.turns": 5, "board.track_width_mm": 0.21, "operation.speeds_rpm": [100.0], "envelope": None}
    changed = tomllib.loads(changed_text(text, settings))
    expected = tomllib.loads(text)
    expected["winding"]["turns"] = 5
    expected["board"]["track_width_mm"] = 0.21
    expected.setdefault("operation", {})["speeds_rpm"] = [100.0]
    expected.pop("envelope", None)
    assert changed == expected


def test_board_prices_by_hand():
    design = pcbstator.load_design(WHEEL).with_values({"board.layers": 4, "board.inner_copper_um": 70.0})
    side = design.board.outer_diameter * 10 + 0.02  # dm, 1 mm of frame on either side
    assert board_cost(design, PRICES | {"board_per_dm2": 2.0}) == pytest.approx(2.0 * side**2)
    assert board_cost(design, PRICES | {"layer_pair_per_dm2": 3.0}) == pytest.approx(3.0 * side**2)  # one more pair
    assert board_cost(design, PRICES | {"heavy_copper_per_dm2": 1.0}) == pytest.approx(2 * side**2)  # two inner layers
    assert board_cost(design, PRICES | {"via_each": 0.01}, vias=50) == pytest.approx(0.5)
    assert board_cost(design, PRICES | {"board_setup": 30.0, "boards_ordered": 5}) == pytest.approx(6.0)
    fine = PRICES | {"board_per_dm2": 2.0, "fine_track_factor": 1.5, "fine_track_mm": 0.31}
    assert board_cost(design, fine) == pytest.approx(3.0 * side**2)


def test_magnet_prices_by_hand():
    design = pcbstator.load_design(WHEEL)  # 12 discs of 12 mm and 3 mm, N35, steel of 2 mm over 45 to 69 mm
    volume = 12 * np.pi * 0.6**2 * 0.3
    assert magnet_cost(design, PRICES | {"magnet_each": 0.5}) == pytest.approx(6.0)
    assert magnet_cost(design, PRICES | {"magnet_per_cm3": 2.0}) == pytest.approx(2 * volume)
    better = design.with_values({"rotor.magnet.grade": "N45"})
    dear = PRICES | {"magnet_per_cm3": 2.0, "magnet_grade_per_10_mj_oe": 0.25}
    assert magnet_cost(better, dear) == pytest.approx(2.5 * volume)
    steel = np.pi / 4 * (6.9**2 - 4.5**2) * 0.2
    assert magnet_cost(design, PRICES | {"steel_per_cm3": 1.0}) == pytest.approx(steel)
    double = design.with_values({"rotor.arrangement": "double"})
    assert magnet_cost(double, PRICES | {"magnet_each": 0.5}) == pytest.approx(12.0)
    sectors = pcbstator.load_design(DESIGNS[1])
    once, thrice = (magnet_cost(sectors, PRICES | {"magnet_per_cm3": 1.0, "magnet_shaped_factor": f}) for f in (1, 3))
    assert thrice == pytest.approx(3 * once)


def test_shares_of_a_known_sum():
    """y = 3a + 4b + noise of known size: a explains 9/25 of the spread of 3a + 4b, b 16/25 (sums of squares)."""
    rng = np.random.default_rng(1)
    a, b = rng.integers(0, 6, (2, 60_000))
    y = 3.0 * a + 4.0 * b
    assert correlation_ratio(a, y) == pytest.approx(9 / 25, abs=0.01)
    assert correlation_ratio(b, y) == pytest.approx(16 / 25, abs=0.01)
    assert correlation_ratio(rng.integers(0, 6, 60_000), y) < 1e-3  # chance is taken off


def test_influences_of_a_sweep(tmp_path):
    study = wheel_study(variables=[TURNS, WIDTH], budget=60, columns=["electrical.phase_resistance_ohm"])
    told(study, tmp_path)
    keys = ("electrical.phase_resistance_ohm", "occupied.height_mm")
    with open_store(tmp_path, study, "test") as store:
        found = {(i.variable, i.key): i for i in influences(study, store, keys)}
    turns = found["winding.turns", "electrical.phase_resistance_ohm"]
    width = found["board.track_width_mm", "electrical.phase_resistance_ohm"]
    assert turns.direction > 0.3 and width.direction < -0.3 and turns.share + width.share > 0.6
    assert not any(key == "occupied.height_mm" for _, key in found)  # it does not change


def test_places_and_parts():
    variable = Variable("x", low=2.0, high=4.0)
    assert [variable.at(part) for part in (0.0, 0.123456789, 1.0)] == [2.0, 2.2469, 4.0]
    assert variable.part(3.0) == 0.5
