"""Figures about heat: curves where the numbers are, the same bytes, self-contained."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from pcbstator.analysis.thermal.curves import HeatCurves, Heating
from pcbstator.output.report.heat_figures import allowed_svg, heating_svg
from tests.output.test_figures import curves

TIME = np.geomspace(1.0, 1000.0, 80)
CURVES = HeatCurves(
    limit_c=105.0,
    heating=(Heating(1.0, TIME, 25 + 80 * -np.expm1(-TIME / 200)), Heating(2.0, TIME, 25 + 0.1 * TIME)),
    time=TIME,
    cold=1 + 10 / TIME,
    warm=1 + 5 / TIME,
    continuous=1.0,
)


@pytest.mark.parametrize(("name", "draw"), [("heating", heating_svg), ("allowed", allowed_svg)])
def test_self_contained(name, draw) -> None:
    text = draw(CURVES)
    assert ElementTree.fromstring(text).get("aria-label") and text == draw(CURVES)
    assert not re.search(r"https?://", re.sub(r'xmlns(:\w+)?="[^"]*"', "", text))
    ids = re.findall(r'\bid="([^"]*)"', text)
    assert len(ids) == len(set(ids)) and all(identifier.startswith(f"{name}-") for identifier in ids)


def test_heating_has_its_heights() -> None:
    """Both curves share the axis: their heights are as the rises; 1 %: matplotlib thins its lines."""
    first, second = (np.ptp(curve[:, 1]) for curve in curves(heating_svg(CURVES)))
    rises = [np.ptp(curve.temperature_c) for curve in CURVES.heating]
    assert second / first == pytest.approx(rises[1] / rises[0], rel=1e-2)


def test_time_is_on_a_logarithm() -> None:
    """A straight rise, 25 to 125 degrees within 1000 s: its heights say when, its places go by the logarithm."""
    x, y = curves(heating_svg(CURVES))[1].T
    time = np.interp(y, y[[0, -1]], TIME[[0, -1]])
    place = (x - x[0]) / (x[-1] - x[0])
    assert place == pytest.approx(np.log(time) / np.log(1000.0), abs=2e-3)
    for draw in (heating_svg, allowed_svg):
        assert "<!-- 1 min -->" in draw(CURVES) and "<!-- 1 h -->" not in draw(CURVES)


def test_the_motion_is_marked() -> None:
    """What the repeated motion reaches is written in, and its line lies between ambient and limit."""
    plain, marked = heating_svg(CURVES), heating_svg(CURVES, 41.3)
    assert "in the motion 41.3" in marked and "in the motion" not in plain


def test_currents_are_on_a_logarithm() -> None:
    cold, warm = (np.ptp(curve[:, 1]) for curve in curves(allowed_svg(CURVES)))
    asked = np.ptp(np.log(CURVES.cold)), np.ptp(np.log(CURVES.warm))
    assert warm / cold == pytest.approx(asked[1] / asked[0], rel=1e-2)


def test_without_warm() -> None:
    from dataclasses import replace

    assert len(curves(allowed_svg(replace(CURVES, warm=None)))) == 1
