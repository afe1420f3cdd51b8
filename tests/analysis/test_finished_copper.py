"""Range of the resistance against the printed table and against plain scaling."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import pcbstator
from pcbstator.analysis.electrical.finished_copper import least_finished, resistance_range

TABLE = tomllib.loads(Path("tests/published/finished_copper.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("row", range(3))
def test_table(row: int) -> None:
    got = least_finished(TABLE["base_um"][row] * 1e-6)
    printed = TABLE["internal_um"][row] * 1e-6, TABLE["external_class_2_um"][row] * 1e-6
    assert got == pytest.approx(printed, rel=1e-12)


def test_an_unlisted_weight_has_no_range() -> None:
    design = pcbstator.load_design("designs/filter-wheel.toml").with_values({"board.outer_copper_um": 105.0})
    assert least_finished(105e-6) is None
    assert resistance_range(design, pcbstator.lay_copper(design)) is None


def test_two_layers_scale_with_their_thickness() -> None:
    """All tracks are on outer layers, so R goes as 1/thickness; 0.5 %: the vias keep theirs, 1/400 of the whole."""
    design = pcbstator.load_design("designs/filter-wheel.toml")
    found = resistance_range(design, pcbstator.lay_copper(design))
    nominal = pcbstator.predict(design).electrical.phase_resistance
    assert found is not None
    assert found.lowest / nominal == pytest.approx(TABLE["base_um"][1] / TABLE["external_class_2_um"][1], rel=5e-3)
    assert found.highest == pytest.approx(nominal, rel=1e-12)
    assert found.inner_least is None


def test_inner_layers_raise_it() -> None:
    """Four layers of alike coils: half the resistance is inner and goes up by 35/24.9, half outer and down by 35/47.9.

    1 %: leads, inter-coil connections and vias are not spread evenly over the layers.
    """
    design = pcbstator.load_design("designs/photogrammetry-stage.toml")
    found = resistance_range(design, pcbstator.lay_copper(design))
    nominal = pcbstator.predict(design).electrical.phase_resistance
    assert found is not None
    base, internal, external = (TABLE[key][1] for key in ("base_um", "internal_um", "external_class_2_um"))
    assert found.highest / nominal == pytest.approx((1 + base / internal) / 2, rel=1e-2)
    assert found.lowest / nominal == pytest.approx((1 + base / external) / 2, rel=1e-2)
