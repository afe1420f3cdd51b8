"""Figures read back: valid, self-contained, the same bytes, and curves where the numbers are."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from pcbstator.analysis.magnetic.waveforms import Waves
from pcbstator.output.report.figures import emf_svg, harmonics_svg, torque_svg

ANGLES = np.linspace(0, 2 * np.pi, 721)
PHASES = np.array([[0.1], [0.1], [0.1]]) * np.sin(ANGLES - 2 * np.pi * np.arange(3)[:, None] / 3)
TORQUE = 0.15 + 0.001 * np.cos(6 * ANGLES)
WAVES = Waves(ANGLES, PHASES, PHASES - np.roll(PHASES, -1, axis=0), TORQUE, TORQUE)
FIGURES = {
    "emf": lambda: emf_svg(WAVES, "ABC"),
    "harmonics": lambda: harmonics_svg([1, 3, 5, 7], [1.0, 0.03, 1e-18, 0.002], 3),
    "torque": lambda: torque_svg(WAVES, 0.012),
}


@pytest.mark.parametrize("name", FIGURES)
def test_self_contained(name: str) -> None:
    text = FIGURES[name]()
    root = ElementTree.fromstring(text)
    assert root.get("aria-label")
    assert text == FIGURES[name]()
    assert not re.search(r"https?://", re.sub(r'xmlns(:\w+)?="[^"]*"', "", text))
    assert "metadata" not in text and "<script" not in text
    ids = re.findall(r'\bid="([^"]*)"', text)
    assert len(ids) == len(set(ids)) and all(identifier.startswith(f"{name}-") for identifier in ids)
    for target in re.findall(r'href="#([^"]*)"', text) + re.findall(r"url\(#([^)]*)\)", text):
        assert target in ids


def curves(text: str) -> list[np.ndarray]:
    """Vertices of every long polyline, y up, in points."""
    paths = re.findall(r'<path d="([^"]*)"', text)
    points = [np.array(re.findall(r"[ML] (-?[\d.]+) (-?[\d.]+)", path), dtype=float) * (1, -1) for path in paths]
    return [line for line in points if len(line) > 60]


def test_emf_curves_have_their_shape() -> None:
    """The heights of phase and line curves are as sqrt(3), whatever the scale; 0.5 %: matplotlib thins its lines."""
    a, b, c, line = (np.ptp(curve[:, 1]) for curve in curves(FIGURES["emf"]()))
    assert [b / a, c / a] == pytest.approx([1, 1], rel=5e-3)
    assert line / a == pytest.approx(np.sqrt(3), rel=5e-3)


def test_bars_of_harmonics_reach_their_parts() -> None:
    """Orders 1, 3 and 7 of 100, 3 and 0.2 % over a logarithmic axis; order 5 is next to nothing and has no bar."""
    paths = re.findall(r'<path d="([^"]*?)z', FIGURES["harmonics"](), re.DOTALL)
    boxes = [np.array(re.findall(r"[ML] (-?[\d.]+) (-?[\d.]+)", path), dtype=float) for path in paths]
    widths = [round(float(np.ptp(box[:, 0])), 2) for box in boxes if len(box) == 4]
    bars = [box for box in boxes if len(box) == 4 and widths.count(round(float(np.ptp(box[:, 0])), 2)) == 3]
    (one, three, seven) = (box[:, 1].min() for box in sorted(bars, key=lambda box: box[:, 0].min()))
    assert (seven - three) / (three - one) == pytest.approx(np.log(15) / np.log(100 / 3), rel=1e-3)


def test_emf_says_its_speed_and_keeps_readable_volts() -> None:
    """0.1 V s/rad at 1000 rpm, 104.7 rad/s, is volts; at 1.5 rpm it is 16 mV, drawn as large in millivolts."""
    assert "at 1000 rpm" in FIGURES["emf"]()
    slow, tenth = emf_svg(WAVES, "ABC", 1.5), emf_svg(WAVES, "ABC", 0.15)
    assert "at 1.5 rpm" in slow and "at 0.15 rpm" in tenth
    heights = [np.ptp(curves(text)[0][:, 1]) for text in (FIGURES["emf"](), slow)]
    assert heights[1] == pytest.approx(heights[0], rel=0.5)  # the axes round their ends


def test_no_line_where_phases_are_open() -> None:
    waves = Waves(ANGLES, PHASES, PHASES[:0], TORQUE, TORQUE)
    assert len(curves(emf_svg(waves, "ABC"))) == 3


def test_torque_shows_six_waves() -> None:
    (curve,) = curves(FIGURES["torque"]())
    height = curve[:, 1] - curve[:, 1].mean()
    assert np.count_nonzero(np.diff(np.sign(height))) in (12, 13)


def test_smooth_torque_has_a_figure() -> None:
    """A ripple of nothing neither fails nor blows rounding up."""
    steady = np.full(721, 0.15)
    flat = Waves(ANGLES, PHASES, PHASES, steady, steady)
    ElementTree.fromstring(torque_svg(flat, 0.0))
