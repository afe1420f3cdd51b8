"""The door for studies: what is taken, and what every mistake is told."""

from __future__ import annotations

import copy
import io
import re
import tomllib
from contextlib import redirect_stdout
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pcbstator.design import load_design
from pcbstator.errors import DesignError
from pcbstator.study.keys import RENAMED, is_result
from pcbstator.study.load import load_study, study_from_tables
from pcbstator.study.records import Constraint, Objective, study_of, study_text
from tests.command import run
from tests.study.studies import KM, TURNS, WHEEL, WIDTH, smaller, wheel_study

STUDIES = sorted((Path(__file__).parents[2] / "designs" / "studies").glob("*.toml"))
GOOD = {
    "title": "a study", "variables": [TURNS, WIDTH], "objectives": [KM], "budget": 20,
    "constraints": [{"key": "copper.mass_g", "most": 50.0}],
}  # fmt: skip


@pytest.mark.parametrize("path", STUDIES, ids=lambda path: path.stem)
def test_the_studies_beside_the_designs(path):
    study = load_study(path)
    assert study.variables and study.title and study.budget >= 100


def test_what_a_study_says():
    study = wheel_study(
        variables=[
            {"key": "winding.turns", "from": 4, "to": 6},
            {"key": "rotor.poles", "from": 8, "to": 14},
            {"key": "board.track_width_mm", "from": 0.1, "to": 0.3, "also": {"board.track_gap_mm": -0.05}},
            {"key": "board.thickness_mm", "from": 0.8, "to": 1.6, "step": 0.4},
            {"name": "magnets", "choices": [
                {"label": "discs", "rotor.magnet": {"shape": "disc", "diameter_mm": 9.0}},
                {"label": "strong", "rotor.magnet.grade": "N52", "without": ["rotor.magnet.remanence_t"]},
                {"label": "thick", "rotor.magnet": {"shape": "disc", "thickness_mm": 5.0}},
            ]},
        ],
        constraints=[
            {
                "key": "thermal.board_phase_current_rms_a",
                "least": "thermal.continuous_phase_current_rms_a",
                "times": 1.5,
            }
        ],
        objectives=[KM],
        prices={"currency": "EUR", "board_setup": 12.5},
    )  # fmt: skip
    turns, poles, width, thickness, magnets = study.variables
    assert [turns.shown(place) for place in range(3)] == [4, 5, 6]
    assert [option.settings[0][1] for option in poles.options] == [8, 10, 12, 14]  # poles are even
    coils = {"key": "winding.coils", "values": [9, 12], "also": {"rotor.poles": 3}}
    follower = wheel_study(variables=[coils]).variables[0].settings(1)["rotor.poles"]
    assert follower == 15 and isinstance(follower, int)  # a count stays one
    assert width.settings(0.25) == {"board.track_width_mm": 0.25, "board.track_gap_mm": 0.2}
    assert [thickness.shown(place) for place in range(3)] == [0.8, 1.2, 1.6]
    assert magnets.settings(1) == {"rotor.magnet.remanence_t": None, "rotor.magnet.grade": "N52"}
    assert magnets.shown(2) == "thick" and magnets.settings(0)["rotor.magnet"]["diameter_mm"] == 9.0
    assert study.constraints == (
        Constraint("thermal.board_phase_current_rms_a", "least", "thermal.continuous_phase_current_rms_a", 1.5),
    )
    assert study.objectives == (Objective("magnetic.motor_constant_n_m_per_sqrt_w", "most"),)
    assert dict(study.prices)["board_setup"] == 12.5 and dict(study.prices)["currency"] == "EUR"
    assert study.combinations == float("inf")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"variables": []}, "variables: at least one is needed"),
        ({"variable": [TURNS]}, "variable: is not a known key; .*did you mean variables?"),
        ({"variables": [{"key": "winding.turn", "values": [1]}]}, r"variables\[1\].key: .*did you mean winding.turns?"),
        ({"variables": [{"key": "winding.turns"}]}, "must have one of from, values and choices; got nothing"),
        ({"variables": [{"key": "winding.turns", "from": 4.5, "to": 9}]}, "winding.turns takes whole numbers"),
        ({"variables": [{"key": "winding.turns", "from": 9, "to": 4}]}, r"\.to: must be above from"),
        ({"variables": [{"key": "board.thickness_mm", "from": 1.0, "to": 2.0, "step": 1e-9}]}, "at most 2000 steps"),
        ({"variables": [{"key": "winding.turns", "values": [4, 4]}]}, "must differ from each other"),
        ({"variables": [{"key": "winding.turns", "values": "many"}]}, "must be a list of 1 to 2000"),
        ({"variables": [TURNS, TURNS]}, "winding.turns must be varied once"),
        ({"variables": [
            {"key": "rotor.magnet.thickness_mm", "values": [2.0]},
            {"name": "m", "choices": [{"label": "a", "rotor.magnet": {}}]},
        ]}, "rotor.magnet must be varied once"),
        ({"variables": [{"name": "m", "choices": [{"label": "a"}]}]}, "a label and at least one key"),
        ({"variables": [{"name": "m", "choices": [{"label": "a", "rotor.poles": 4, "without": 3}]}]},
         "must be a list; got 3"),
        ({"variables": [{"name": "m", "choices": [{"label": "a", "rotor.pole": 4}]}]}, "did you mean rotor.poles?"),
        ({"variables": [{"key": "rotor.arrangement", "values": ["double"], "also": {"board.layers": 1.0}}]},
         "needs values that are numbers"),
        ({"constraints": [{"key": "copper.mass", "most": 1.0}]}, r"constraints\[1\].key: .*mean copper.mass_g?"),
        ({"constraints": [{"key": "copper.mass_g"}]}, "must have one of least and most; got nothing"),
        ({"constraints": [{"key": "copper.mass_g", "most": 1.0, "settings": 2}]}, r"\[1\].settings: is not a known"),
        ({"variables": [{"name": "m", "choices": [{"label": "a", "settings": {"rotor.poles": 4}}]}]},
         r"variables\[1\].choices\[1\]: must be a key of the design; got .settings."),
        ({"constraints": [{"key": "copper.mass_g", "most": 1.0, "least": 0.5}]}, "write two constraints"),
        ({"constraints": [{"key": "copper.mass_g", "most": "copper.mas_g"}]}, r"constraints\[1\].most"),
        ({"constraints": [{"key": "copper.mass_g", "most": float("nan")}]}, "most: must be a number"),
        ({"objectives": [{"key": "copper.mass_g", "goal": "min"}]}, 'goal: must be "least" or "most"; got "min"'),
        ({"objectives": [KM, KM]}, "must name each result once"),
        ({"budget": 0}, "budget: must be a whole number from 1 to 10000000"),
        ({"budget": 10**400}, "budget: must be a whole number"),
        ({"seed": True}, "seed: must be a whole number"),
        ({"columns": ["nothing.here"]}, r"columns\[1\]: must be a result"),
        ({"prices": {"board": 1.0}}, "prices.board: is not a known key"),
        ({"prices": {"board_setup": -1.0}}, "prices.board_setup: must be a number from 0 to 1e\\+09; got -1.0"),
        ({"prices": {"boards_ordered": 0}}, "prices.boards_ordered: must be a whole number from 1"),
        ({"prices": {"machines": 0}}, "prices.machines: must be a whole number from 1"),
        ({"prices": 3}, "prices: must be a table of keys; got 3"),
        ({"title": ""}, "title: must be one line of text"),
        ({"title": None}, "title: must be one line of text"),
        ({"variables": 3}, r"variables: must be a list; got 3; .*\[\[variables\]\] above each"),
        ({"variables": [3]}, r"variables\[1\]: must be a table of keys; got 3"),
        ({"variables": [TURNS] * 41}, "variables: at most 40 are possible; got 41"),
        ({"variables": [{"from": 1, "to": 2}]}, r"variables\[1\].key: is required; .*add key = .winding.turns."),
        ({"variables": [{"key": "winding.turns", "from": 4}]}, r"variables\[1\].to: is required"),
        ({"variables": [TURNS | {"stop": 3}]}, r"variables\[1\].stop: is not a known key; got 3; did you mean step?"),
        ({"variables": [{"key": "winding.turns", "values": [4], "step": 1}]}, r"variables\[1\].step: is not a known"),
        ({"variables": [{"key": "rotor.magnet", "values": [4]}]}, r"\[1\].key: must be a key, not a table"),
        ({"variables": [TURNS | {"also": {"rotor.pole": 1}}]}, r"\[1\].also: must be a key of the design; got .rotor"),
        ({"variables": [TURNS | {"also": 3}]}, r"\[1\].also: must be a table of keys; got 3"),
        ({"variables": [TURNS | {"also": {"rotor.poles": "1"}}]}, r"\[1\].also.rotor.poles: must be a number; got .1."),
        ({"variables": [{"name": "m", "choices": []}]}, r"variables\[1\].choices: at least one is needed"),
        ({"variables": [{"choices": [{"label": "a", "rotor.poles": 4}]}]}, r"variables\[1\].name: is required"),
        ({"variables": [{"name": "m", "choices": [{"rotor.poles": 4, "rotor.air_gap_mm": 1}]}]},
         r"variables\[1\].choices\[1\].label: is required"),
        ({"variables": [{"name": "m", "choices": [{"label": "a", "rotor.poles": n} for n in (4, 6)]}]},
         r"variables\[1\].choices: must have different labels"),
    ],
)  # fmt: skip
def test_every_mistake_is_named(change, words):
    with pytest.raises(DesignError, match=words):
        wheel_study(**(GOOD | change))


def test_all_mistakes_at_once():
    with pytest.raises(DesignError) as told:
        wheel_study(budget=-1, variables=[{"key": "x"}], objectives=[{"key": "y", "goal": "z"}])
    keys = [complaint.key for complaint in told.value.complaints]
    assert keys == ["budget", "variables[1]", "objectives[1].key", "objectives[1].goal"]
    with pytest.raises(DesignError) as told:
        wheel_study(variables=[{"name": "m", "choices": [{"label": "a", "rotor.pole": 4, "board.layer": 2}, {}]}])
    places = [str(complaint).partition(";")[0] for complaint in told.value.complaints]
    rule = "must be a key of the design"
    with pytest.raises(DesignError, match="document: must be a table of tables"):
        study_from_tables([1], load_design(WHEEL), "")
    assert places[:2] == [f"variables[1].choices[1]: {rule}"] * 2 and len(places) == 3


def test_the_file_and_its_design(tmp_path):
    place = tmp_path / "study.toml"
    place.write_text('title = "t"\n')
    assert "study.toml: design: must name the base design's file" in run("explore", place, "-o", tmp_path / "o").err
    place.write_text('title = "t"\nvariables = 3\n[price]\n')
    told = run("explore", place, "-o", tmp_path / "o")  # the design that lacks keeps no other mistake back
    assert [line.split(": ")[1] for line in told.err.splitlines()] == ["design", "variables", "price"]
    place.write_text('title = "t"\ndesign = "gone.toml"\nvariables = [{ key = "winding.turns", values = [4] }]\n')
    told = run("explore", place, "-o", tmp_path / "o")
    assert told.code == 2 and "gone.toml: file: must exist" in told.err and not (tmp_path / "o").exists()
    assert run("explore", tmp_path / "none.toml", "-o", tmp_path / "o").code == 2


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_no_junk_gets_a_traceback(data):
    """Any value in any place gives a study or complaints in words."""
    tables = copy.deepcopy(GOOD)
    where = data.draw(st.sampled_from(["", "variables", "constraints", "objectives", "prices", "new"]))
    table = tables if not where else tables.setdefault(where, [{}])
    table = data.draw(st.sampled_from(table)) if isinstance(table, list) and table else table
    known = [
        "key", "from", "to", "step", "values", "choices", "also", "name", "least", "most", "times", "goal", "budget",
        "seed", "variables", "columns",
    ]  # fmt: skip
    table[data.draw(st.sampled_from(known) | st.text(max_size=5))] = data.draw(JUNK)
    try:
        wheel_study(**tables)
    except DesignError as told:
        assert all(c.key and c.rule and "\n" not in str(c) for c in told.complaints)


def test_the_digest_holds_what_decides():
    study = wheel_study(**GOOD)
    assert study.digest == wheel_study(**GOOD, workers=7).digest
    assert study.digest != wheel_study(**(GOOD | {"seed": 2})).digest
    assert study.digest == smaller(study, 77).digest  # the same study, carried further
    commented = "# a remark\n" + re.sub(r"#.*|\n\n+", "\n", study.design_text)
    assert commented != study.design_text
    assert study.digest == replace(study, design_text=commented).digest
    assert study.digest != replace(study, design_text=commented.replace("poles = ", "poles = 1")).digest


def test_a_study_is_kept_whole():
    tables = wheel_study(**GOOD)
    assert study_of(study_text(tables)) == tables


def test_the_page_about_studies_can_be_followed(tmp_path, monkeypatch):
    """The study it prints is taken, the Python it prints runs."""
    root = Path(__file__).parents[2]
    page = (root / "docs" / "studies.md").read_text(encoding="utf-8")
    tables = tomllib.loads(re.findall(r"```toml\n(.*?)```", page, re.DOTALL)[0])
    base = root / "designs" / "photogrammetry-stage.toml"
    study = study_from_tables(tables, load_design(base), base.read_text(encoding="utf-8"))
    assert len(study.variables) == 4 and len(study.constraints) == 2 and len(study.objectives) == 2
    (tmp_path / "designs").symlink_to(root / "designs")
    monkeypatch.chdir(tmp_path)
    printed = io.StringIO()
    with redirect_stdout(printed):
        exec(re.findall(r"```python\n(.*?)```", page, re.DOTALL)[0], {})  # noqa: S102  our own page
    assert 0 < int(printed.getvalue()) <= 250


def test_every_old_result_is_refused_with_a_new_name_that_is_known():
    """No old name is a result any more, and every new one is."""
    assert not [old for old in RENAMED if is_result(old)]
    assert not [new for new in RENAMED.values() if not is_result(new)]
    wrong = {"key": "thermal.continuous_current_a", "least": 1.0}
    with pytest.raises(DesignError, match=r"it is called thermal\.continuous_phase_current_rms_a now"):
        wheel_study(variables=[TURNS], constraints=[wrong])
