"""The page answers first: verdict, picture, eight numbers, contents, order data, and only then theory."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

import pcbstator
from pcbstator import project
from pcbstator.findings import Verdict
from pcbstator.output.key_numbers import COUNT, NOT_STATED, key_numbers
from pcbstator.output.report.verdict import verdict_lines
from pcbstator.output.tables import prediction_table
from tests.command import DESIGNS, run
from tests.output.test_report import Page, reported

VERDICTS = (
    Verdict("position_error_deg", 0.1, 0.404, "not met", True, "sensor eccentricity, 0.38 deg", "centre it to 0.02 mm"),
    Verdict("torque_reserve_percent", 50.0, 278.0, "met", False, "peak torque"),
    Verdict("price", 60.0, None, "cannot be said", True, "no prices are stated"),
)


@pytest.fixture(params=DESIGNS, ids=lambda path: path.stem)
def page(request):
    return reported(request.param)[3]


def test_contents_lead_to_every_section_in_its_order(page) -> None:
    """Each heading but the verdict's, which is in view, has one entry, and each entry a heading."""
    headings = re.findall(r'<h2 id="([\w-]+)">(.*?)</h2>', page)
    (listed,) = re.findall(r"<nav.*?</nav>", page, re.DOTALL)
    assert re.findall(r'<a href="#([\w-]+)">(.*?)</a>', listed) == headings[1:]
    assert len(re.findall("<h2", page)) == len(headings) > 8
    assert headings[0] == ("verdict", "Verdict")


def test_what_to_order_and_how_to_build_stands_before_theory(page) -> None:
    places = [page.index(f">{name}</h2>") for name in (
        "Verdict", "Order: board", "Order: magnets and rotor", "Cautions", "Assembly", "Numbers of the motor",
        "Winding", "What the magnets do",
    )]  # fmt: skip
    assert places == sorted(places)
    assert places[0] < page.index("<svg ") < page.index('class="eight"') < page.index("<nav")


def test_nothing_is_wider_than_a_narrow_screen(page) -> None:
    """No width is fixed above 22 rem (352 pixels), words may break, pictures take the width that there is."""
    (style,) = re.findall(r"<style>(.*?)</style>", page, re.DOTALL)
    fixed = re.findall(r"(?<![\w-])(?:min-)?width:\s*([\d.]+)(px|rem|em|mm|ch)", style)
    assert fixed
    for number, unit in fixed:
        assert float(number) * {"px": 1 / 16, "mm": 96 / 25.4 / 16, "ch": 0.5}.get(unit, 1.0) <= 22
    assert "overflow-wrap: break-word" in style
    assert re.search(r"svg { display: block; width: 100%; height: auto;", style)
    assert "size: A4" in style
    assert '<meta name="viewport" content="width=device-width, initial-scale=1">' in page


def test_figures_that_only_check_the_program_are_not_shown(page) -> None:
    assert not re.search(r"energy.balance|residual|condition number", Page(page).words, re.IGNORECASE)


@pytest.mark.usefixtures("unrendered")
def test_the_verdict_is_in_the_words_of_its_user() -> None:
    design, copper, prediction, _ = reported(DESIGNS[1])
    from pcbstator.output.report.report import report_html

    words = Page(report_html(design, copper, replace(prediction, requirement=VERDICTS))).words
    assert NOT_STATED not in words
    for said in ("not met Error at rest", "≤ 0.1°", "0.404°", "0.3° too much", "way out: centre it to 0.02 mm",
                 "≥ 50 %", "because: no prices are stated"):  # fmt: skip
        assert said in words
    lines = "\n".join(verdict_lines(VERDICTS))
    assert "NOT MET" in lines and "centre it to 0.02 mm" in lines


@pytest.mark.usefixtures("unrendered")
def test_without_a_requirement_a_line_says_what_one_would_give() -> None:
    design = pcbstator.load_design(DESIGNS[1]).with_values({"requirement": None})
    prediction = project.predict(design)
    assert NOT_STATED in Page(project.report(design, prediction)).words
    assert NOT_STATED in prediction_table(prediction)


def test_the_terminal_begins_with_verdict_findings_and_the_eight_numbers() -> None:
    design, _, prediction, _ = reported(DESIGNS[1])
    text = prediction_table(replace(prediction, requirement=VERDICTS))
    numbers = key_numbers(prediction)
    places = [text.index(words) for words in ("requirement: 1 of 3 met", "board.bow", numbers[0].name, "\nwinding\n")]
    assert places == sorted(places)
    assert design.title in text.splitlines()[0]


def test_eight_numbers_are_results_of_the_prediction() -> None:
    """Of the job where there is one: torque, current and supply current read back are those of the JSON."""
    prediction = reported(DESIGNS[1])[2]
    rows = {row.name: row.value for row in key_numbers(prediction)}
    plain = json.loads(run("predict", DESIGNS[1], "--json").out)
    assert len(rows) == COUNT
    for name, key in (
        ("Torque at the job's speed", "available_peak_torque_n_m"),
        ("Current for the job", "terminal_current_peak_a"),
        ("From the supply", "supply_current_peak_a"),
    ):
        number, unit = rows[name].split(" ")
        assert float(number) * (1e-3 if unit.startswith("m") else 1.0) == pytest.approx(plain["motion"][key], rel=5e-3)
    height = prediction.design
    sizes = height.board.thickness + height.rotor.air_gap + height.rotor.magnet.thickness + height.rotor.back_iron
    assert rows["Height"] == f"{1e3 * sizes:.3g} mm"


def test_a_design_without_a_job_has_eight_numbers_of_the_motor() -> None:
    design = pcbstator.load_design(Path(DESIGNS[0])).with_values(
        {"load": None, "motion": None, "drive": None, "requirement": None}
    )
    names = [row.name for row in key_numbers(project.predict(design))]
    assert len(names) == COUNT and {"Torque constant", "Continuous torque", "Height"} <= set(names)
