"""The report read back: valid, complete, self-contained, safe."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.electrical.finished_copper import resistance_range
from pcbstator.analysis.fields import Bounds
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.findings import Finding
from pcbstator.output.fabrication.package import package_files
from pcbstator.output.report.report import report_html
from pcbstator.output.report.rows.order_rows import reasons
from pcbstator.output.words import copper_weight, measure
from tests.shipped import shipped, shipped_report

DESIGNS = sorted(Path("designs").glob("*.toml"))
VOID = {"meta", "br", "img", "link", "hr", "input"}


class Page(HTMLParser):
    """Checks nesting, gathers words outside drawings and whatever refers to something else."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: set[str] = set()
        self.ids: list[str] = []
        self.references: list[str] = []
        self.parts: list[str] = []
        self.feed(text)
        self.close()
        assert not self.open
        self.words = " ".join(" ".join(self.parts).split())

    def handle_starttag(self, tag, attrs) -> None:
        self.handle_startendtag(tag, attrs)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs) -> None:
        self.tags.add(tag)
        self.ids += [value for name, value in attrs if name == "id"]
        self.references += [value for name, value in attrs if name in ("src", "href", "xlink:href", "action", "srcset")]

    def handle_endtag(self, tag) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data) -> None:
        if not {"svg", "style"} & set(self.open):
            self.parts.append(data)


def reported(path: Path):
    return *shipped(path.stem), shipped_report(path.stem)


@pytest.fixture(params=DESIGNS, ids=lambda path: path.stem)
def report(request):
    return reported(request.param)


def test_self_contained(report) -> None:
    design, _, prediction, text = report
    page = Page(text)
    assert all(reference.startswith("#") for reference in page.references)
    assert all(reference[1:] in page.ids for reference in page.references)
    assert len(page.ids) == len(set(page.ids))
    assert not {"script", "link", "img", "iframe", "object"} & page.tags
    assert not re.search(r"https?:|url\((?!#)|@import", re.sub(r'xmlns(:\w+)?="[^"]*"', "", text))
    assert len(re.findall("<svg ", text)) == 9 + bool(design.slip_ring) + 2 * bool(prediction.motion)
    assert ("Slip rings" in page.words) == ("Brushes wear" in page.words) == bool(design.slip_ring)
    assert 100_000 < len(text) < 1_000_000


def test_holds_every_key_number(report) -> None:
    """Values of ``predict --json`` to the digits that the page shows."""
    design, _, prediction, text = report
    page, plain = Page(text).words, prediction.to_dict()
    magnetic, electrical = plain["magnetic"], plain["electrical"]
    shown = {
        f"{1e3 * magnetic['torque_constant_n_m_per_a']:.3g} mN·m/A",
        f"{1e3 * magnetic['motor_constant_n_m_per_sqrt_w']:.3g} mN·m/√W",
        f"{1e3 * magnetic['flux_linkage_peak_wb']:.3g} mWb",
        f"{1e3 * magnetic['emf_constant_v_s_per_rad']:.3g} mV·s/rad",
        f"{magnetic['speed_constant_rpm_per_v']:.3g} rpm/V",
        f"{1e3 * magnetic['gap_field_peak_t']:.3g} mT",
        f"{electrical['phase_resistance_ohm']:.4g} Ω",
        f"{electrical['line_resistance_ohm']:.4g} Ω",
        f"{plain['copper']['mass_g']:.3g} g",
        f"{plain['thermal']['ipc2221_phase_current_rms_a']:.3g} A",
        f"{100 * magnetic['torque_ripple_ratio']:.2g} %",
        f"{plain['winding']['factor']:.3g} ideal",
        f"{1e3 * design.board.thickness:.4g} mm",
        f"{1e6 * design.board.outer_copper:.4g} µm",
        f"{1e3 * design.board.track_width:.4g} mm",
        design.board.finish,
        design.digest,
        plain["version"],
        plain["title"],
    }
    missing = {value for value in shown if value not in page}
    assert not missing
    layout = " ".join(plain["winding"]["layout"]).replace("-", "−")
    assert layout in page


def test_what_gives_out_first_in_the_motion(report) -> None:
    _, _, prediction, text = report
    page, motion = Page(text).words, prediction.motion
    by_drive = bool(motion and motion.cycle_heat_growth and motion.cycle_growth_limit in ("current", "voltage"))
    assert ("Nearest limit" in page) == (motion is not None and motion.limited_by is not None)
    assert ("heat alone would allow" in page) == by_drive


def test_orders_the_magnets(report) -> None:
    """As many as there are, half of each polarity."""
    design, _, _, text = report
    page, plates = Page(text).words, 2 if design.rotor.arrangement == "double" else 1
    count = design.rotor.poles * plates
    assert f"Count {count}" in page
    assert f"{count // 2} with north towards the board, {count // 2} with south" in page
    if design.rotor.magnet.grade:
        assert f"neodymium {design.rotor.magnet.grade}" in page


def test_says_what_can_hurt(report) -> None:
    page = Page(report[3]).words
    for word in ("pinch", "pacemakers", "brittle", "hot", "spinning", "licensed", "Check again before the glue sets"):
        assert word in page


def test_hostile_words_stay_words() -> None:
    """Title, finish and findings are text, whatever they hold."""
    evil = '<script>alert(1)</script> & "quotes" {{ 7*7 }}'
    design = pcbstator.load_design(DESIGNS[0]).with_values({"title": evil, "board.finish": "<b>gold</b> & more"})
    copper = pcbstator.lay_copper(design)
    finding = Finding("a.b", "error", "<i>no</i>", where="<u>")
    prediction = replace(pcbstator.predict(design, copper), findings=(finding,))
    page = Page(report_html(design, copper, prediction))
    assert not {"script", "i", "u"} & page.tags
    assert evil in page.words and "<b>gold</b> & more" in page.words and "<i>no</i>" in page.words


@pytest.mark.usefixtures("unrendered")
def test_findings_come_first_and_worst_first() -> None:
    design, copper, prediction, _ = reported(DESIGNS[0])
    findings = (Finding("x.note", "note", "a remark"), Finding("x.bad", "error", "cannot be built"))
    page = Page(report_html(design, copper, replace(prediction, findings=findings))).words
    assert page.index("cannot be built") < page.index("a remark") < page.index("Copper layers")
    assert "Findings" not in Page(report_html(design, copper, replace(prediction, findings=()))).words


def test_without_magnetic_results() -> None:
    """Where the field law does not hold, the page does without its numbers and figures."""
    design, copper, prediction, _ = reported(DESIGNS[0])
    text = report_html(design, copper, replace(prediction, magnetic=None, motion=None, drive=None))
    page = Page(text)
    assert "Torque constant" not in page.words and "Phase resistance" in page.words
    assert len(re.findall("<svg ", text)) == 6


def test_heat_is_told_apart() -> None:
    """Three views of current with their values; without a heat balance the trace rule alone."""
    design, copper, prediction, text = reported(DESIGNS[0])
    page, thermal = Page(text).words, prediction.thermal
    for name in ("One trace, IPC-2221", "One trace, IPC-2152", "Board", "Magnets", "Continuous", "Runaway", "Touch"):
        assert name in page
    for value in (thermal.board_current, thermal.magnet_current, thermal.ipc2152_current, thermal.peak_10_cold):
        assert f"{value:.3g}" in page
    assert all(words in page for words in thermal.assumptions)
    bare = ThermalResult(ipc2221_current=0.7, trace_rise=20.0)
    without = Page(report_html(design, copper, replace(prediction, thermal=bare))).words
    assert "Heat and current" not in without and "Current by the trace rule" in without


@pytest.mark.parametrize(
    "values", [{"winding.connection": "open"}, {"winding.connection": "delta"}, {"board.outer_copper_um": 105.0}]
)
def test_variants(values) -> None:
    design = pcbstator.load_design(DESIGNS[0]).with_values(values)
    copper = pcbstator.lay_copper(design)
    page = Page(report_html(design, copper, pcbstator.predict(design, copper))).words
    assert ("Between two terminals" in page) == (design.winding.connection != "open")


@pytest.mark.parametrize(("stated", "word"), [(0.9e-3, "less"), (1e-3, ""), (1.5e-3, ""), (2e-3, ""), (2.1e-3, "more")])
def test_a_value_at_the_end_of_a_range_is_within_it(stated, word) -> None:
    told = reasons("board.thickness_mm", Bounds(1e-3, 2e-3, "stiff", "thin", stated))
    assert told.startswith("least: stiff; most: thin; the design has ")
    assert told.endswith(f", which is {word}") if word else "which is" not in told


def test_units_of_the_workshop() -> None:
    assert measure(1234.0, "rpm", 4) == "1.234 krpm"
    assert measure(9.99996e-4, "V") == "1 mV"
    assert measure(-0.02, "T") == "-20 mT"
    assert copper_weight(35e-6) == "35 µm (1 oz)"


STAGE = Path(__file__).parents[2] / "designs" / "photogrammetry-stage.toml"


@pytest.mark.usefixtures("unrendered")
def test_a_stack_says_what_to_order_and_how_to_join() -> None:
    design = pcbstator.load_design(STAGE).with_values({"stack": {"boards": 2, "spacing_mm": 0.3}, "envelope": None})
    copper = pcbstator.lay_copper(design)
    prediction = pcbstator.predict(design, copper)
    files = package_files(design, copper, prediction)
    words = Page(str(files["report.html"])).words
    turn = round(float(np.degrees(copper.board_turns[1])) % 360)
    assert "Boards to order" in words and f"{turn}°" in words and "the star point" in words
    assert json.loads(str(files["manifest.json"]))["count"] == 2
    # The range of the resistance is that of the stack, as the resistance beside it is, not that of one board.
    span, electrical = resistance_range(design, copper), prediction.electrical
    assert span is not None and span.lowest < electrical.phase_resistance < span.highest
    assert figures_of(span.lowest) in words and figures_of(span.highest) in words


def figures_of(resistance: float) -> str:
    return measure(resistance, "Ω").partition("\u00a0")[0].partition(" ")[0]


@pytest.mark.usefixtures("unrendered")
def test_copper_of_unlike_layers_is_listed() -> None:
    design = pcbstator.load_design(STAGE).with_values({"board.layer_copper_um": [35.0, 70.0, 70.0, 35.0]})
    copper = pcbstator.lay_copper(design)
    words = Page(report_html(design, copper, pcbstator.predict(design, copper))).words
    assert "35, 70, 70, 35 µm" in words and "Copper, outer layers" not in words
