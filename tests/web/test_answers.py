"""What the page is told: the numbers of ``predict --json``, complaints with ways out, the text with its comments."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from pcbstator import project
from pcbstator.errors import DesignError, OutputError
from pcbstator.output.key_numbers import results_by_key
from pcbstator.output.quantities import shown
from pcbstator.web.answers import Answers, flat_values
from tests.command import DESIGNS, run
from tests.web.served import STAGE, WHEEL, Served, copied


@pytest.fixture(scope="module")
def quick() -> Answers:
    """Answers about the stage, without a server."""
    return Answers(STAGE, whole=False)


def test_numbers_are_those_of_predict(wheel: Served) -> None:
    found = wheel.answer(whole=True)
    plain = json.loads(run("predict", wheel.path, "--json").out)
    told = [one for one in found["numbers"] if one["key"]]
    assert len(found["numbers"]) == 8 and len(told) >= 6
    for one in told:
        group, _, key = one["key"].partition(".")
        assert one["value"] == shown(one["key"], plain[group][key])
    assert len(found["requirement"]) == len(plain["requirement"])
    assert {row["key"]: row["verdict"] for row in found["requirement"]} == {
        one["name"]: one["verdict"] for one in plain["requirement"]
    }


def test_kept_stages_change_no_result() -> None:
    """Changes in turn, with what the ones before left, against each predicted by itself."""
    design, kept = project.load_design(STAGE), project.keep_stages()
    for settings in ({"rotor.magnet.thickness_mm": 2.5}, {"winding.turns": 9}, {"board.outer_copper_um": 70.0}, {}):
        changed = design.with_values(settings)
        one = results_by_key(project.predict(changed, kept=kept, whole=False))
        for key, value in results_by_key(project.predict(changed, whole=False)).items():
            assert one[key] == value, key


@pytest.mark.slow
def test_kept_stages_change_no_result_of_any_key() -> None:
    """Every number of the file in turn a little larger, with what the ones before left."""
    design, kept = project.load_design(STAGE), project.keep_stages()
    tried = 0
    for key, value in flat_values(design.document):
        if not isinstance(value, float):
            continue
        try:
            changed = design.with_values({key: round(1.02 * value + 0.001, 4)})
            expected = results_by_key(project.predict(changed, whole=False))
        except DesignError:
            continue
        found = results_by_key(project.predict(changed, kept=kept, whole=False))
        assert found == expected, key
        tried += 1
    assert tried > 30


def test_magnets_do_not_lay_copper_again(quick: Answers, monkeypatch: pytest.MonkeyPatch) -> None:
    quick.answer(quick.text, {}, "")
    laid: list[object] = []
    monkeypatch.setattr("pcbstator.analysis.kept.lay_copper", lambda *given: laid.append(given))
    monkeypatch.setattr("pcbstator.analysis.stages.lay_copper", lambda *given: laid.append(given))
    monkeypatch.setattr("pcbstator.analysis.stages.inductance_figures", lambda *given: laid.append(given))
    found = quick.answer(quick.text, {"drive.supply_v": 23}, "")
    assert not laid and "numbers" in found


def test_comments_stay_and_drawings_come_once(quick: Answers) -> None:
    found = quick.answer(quick.text, {"winding.turns": 9, "rotor.air_gap_mm": 1}, "")
    assert "air_gap_mm = 1.0" in found["text"] and found["values"]["rotor.air_gap_mm"] == 1.0
    comments = [line.partition("#")[2] for line in quick.text.splitlines() if "#" in line]
    assert [line.partition("#")[2] for line in found["text"].splitlines() if "#" in line] == comments
    design = project.design_of_text(found["text"])
    assert found["pictures"]["stator"] == project.draw(design)
    again = quick.answer(found["text"], {}, found["drawn"])
    assert "pictures" not in again and again["numbers"] == found["numbers"]


def test_what_does_not_fit_says_what_would(quick: Answers) -> None:
    (one,) = quick.answer(quick.text, {"winding.turns": 40}, "")["complaints"]
    assert one["key"] == "winding.turns" and one["ways"]
    for way in one["ways"]:  # each by itself
        assert "numbers" in quick.answer(quick.text, {"winding.turns": 40, **way}, "")
    (one,) = quick.answer(quick.text, {"winding.coils": 17}, "")["complaints"]
    assert [way["winding.coils"] for way in one["ways"]] == [15, 18]
    (one,) = quick.answer(quick.text, {"rotor.poles": 18}, "")["complaints"]
    assert all({"winding.coils", "rotor.poles"} == set(way) for way in one["ways"])
    assert "numbers" in quick.answer(quick.text, one["ways"][0], "")


def test_a_requirement_that_is_not_met_has_its_way_out_as_settings() -> None:
    design = project.load_design(WHEEL)
    asked = design.with_values({"requirement.supply_current_a": 0.9, "requirement.position_error_deg": 0.05})
    unmet = [verdict for verdict in project.predict(asked).requirement if verdict.verdict == "not met"]
    told = [verdict for verdict in unmet if verdict.settings]
    assert told
    for verdict in told:
        again = project.predict(asked.with_values(dict(verdict.settings))).requirement
        assert {one.name: one.verdict for one in again}[verdict.name] == "met"
        assert any(f"{value:g}" in verdict.way_out for _, value in verdict.settings)


@pytest.mark.parametrize(
    "text", ["", "=", "title = 1", "[" * 5000, "a = " + 3000 * "[", "\x00", "x = 1e999", "title = 3.0e400"]
)
def test_any_text_gets_an_answer(quick: Answers, text: str) -> None:
    assert quick.answer(text, {}, "")["complaints"]
    assert quick.answer(text, {"winding.turns": 3}, "")["complaints"]


@pytest.mark.parametrize(
    ("key", "value"),
    [("nonsense", 1), ("winding.turns", [1]), ("winding.turns", {"a": 1}), ("winding.turns", "many"), ("winding", None),
     ("winding.turns", 1e308), ("winding.turns", -1), ("board.track_width_mm", "wide"), ("title", "\x07")],
)  # fmt: skip
def test_any_value_gets_an_answer(quick: Answers, key: str, value: object) -> None:
    assert quick.answer(quick.text, {key: value}, "")["complaints"]
    assert "numbers" in quick.answer(quick.text, {}, "")


def test_two_pages_do_not_mix(wheel: Served) -> None:
    one, other = (wheel.answer({"winding.turns": turns}, page=str(turns)) for turns in (4, 5))
    assert one["values"]["winding.turns"] == 4 and other["values"]["winding.turns"] == 5
    assert one["numbers"] != other["numbers"]
    assert wheel.answer()["values"]["winding.turns"] == tomllib.loads(wheel.path.read_text())["winding"]["turns"]


def test_only_the_newest_request_of_a_page_is_worked_on() -> None:
    import asyncio

    from pcbstator.web.newest import Newest

    async def asked() -> list[int | None]:
        newest = Newest()
        first = asyncio.create_task(newest.run_newest("a", 1, lambda: time.sleep(0.05) or 1))
        await asyncio.sleep(0.02)
        rest = [newest.run_newest("a", number, lambda number=number: number) for number in (2, 3, 4)]
        other = newest.run_newest("b", 1, lambda: 10)
        return [await first, *await asyncio.gather(*rest, other)]

    import time

    assert asyncio.run(asked()) == [1, None, None, 4, 10]


def test_saving_keeps_the_file_as_it_was_written(tmp_path: Path) -> None:
    place = copied(WHEEL, tmp_path)
    place.write_bytes(b"\xef\xbb\xbf" + place.read_bytes().replace(b"\n", b"\r\n"))
    answers = Answers(place, whole=False)
    assert "\r" not in answers.text
    before = place.read_bytes()
    answers.save(answers.text, over=False)
    assert place.read_bytes() == before
    place.write_bytes(before + b"# by another program\r\n")
    with pytest.raises(OutputError, match="another program"):
        answers.save(answers.text, over=False)
    assert place.read_bytes().endswith(b"program\r\n")
    answers.save(answers.text + "# mine\n", over=True)
    assert place.read_bytes() == before + b"# mine\r\n" and not list(tmp_path.glob(".*"))


def test_changes_are_told_against_the_saved_design(quick: Answers) -> None:
    quick.look(quick.content)
    assert not any("before" in one for one in quick.answer(quick.text, {}, "")["numbers"])
    thicker = quick.answer(quick.text, {"rotor.magnet.thickness_mm": 4.0}, "")["numbers"]
    torque = next(one for one in thicker if one["name"] == "Torque at the job's speed")
    assert torque["change"].startswith("+") and torque["before"]


@pytest.mark.parametrize("design", DESIGNS, ids=lambda path: path.stem)
def test_values_are_those_of_the_text(design: Path) -> None:
    tables = tomllib.loads(design.read_text(encoding="utf-8"))
    values = dict(flat_values(tables))
    assert values["rotor.magnet.thickness_mm"] == tables["rotor"]["magnet"]["thickness_mm"]
    json.dumps(values, allow_nan=False)
