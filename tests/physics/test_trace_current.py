"""Current and spacing laws against printed values (tests/published/trace_current.toml)."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.trace_current import (
    brooks_adam_current,
    brooks_adam_rise,
    ipc2221_current,
    ipc2221_spacing,
    ipc2221_width,
)

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "trace_current.toml").read_text())
IPC, BROOKS, SPACING = PUBLISHED["ipc_2221"], PUBLISHED["brooks_adam"], PUBLISHED["spacing"]
MM, MIL = 1e-3, 25.4e-6
OUNCE = 1.378 * MIL


@pytest.mark.parametrize("row", IPC["widths_1oz"])
@pytest.mark.parametrize(
    ("column", "external", "rise"),
    [
        ("ext_10_mm", True, 10.0),
        ("ext_20_mm", True, 20.0),
        ("int_10_mm", False, 10.0),
        ("int_20_mm", False, 20.0),
    ],
)
def test_ipc2221_width(row, column, external, rise):
    got = ipc2221_width(row["current_a"], OUNCE, rise, external)
    assert got == pytest.approx(row[column] * MM, rel=0.00006 / row[column])  # half of the last digit printed
    assert ipc2221_current(got, OUNCE, rise, external) == pytest.approx(row["current_a"], rel=1e-12)


@pytest.mark.parametrize("case", IPC["currents_1oz_external_10k"])
def test_ipc2221_current(case):
    got = ipc2221_current(case["width_mm"] * MM, OUNCE, 10.0)
    assert got == pytest.approx(case["current_a"], rel=0.0006 / case["current_a"])


def test_ipc2221_two_ounces():
    printed = IPC["widths_2oz_5a_20k"]
    assert ipc2221_width(5.0, 2 * OUNCE, 20.0) == pytest.approx(printed["external_mm"] * MM, rel=6e-5)
    assert ipc2221_width(5.0, 2 * OUNCE, 20.0, external=False) == pytest.approx(printed["internal_mm"] * MM, rel=3e-5)


def test_ipc2221_arrays():
    rows = IPC["widths_1oz"]
    got = ipc2221_width([row["current_a"] for row in rows], OUNCE, 10.0)
    assert got == pytest.approx(np.array([row["ext_10_mm"] for row in rows]) * MM, rel=5e-4)


@pytest.mark.parametrize(
    "call",
    [
        lambda: ipc2221_width(IPC["max_current_external_a"] * 1.001, 8 * OUNCE, 100.0),
        lambda: ipc2221_width(IPC["max_current_internal_a"] * 1.001, 8 * OUNCE, 100.0, external=False),
        lambda: ipc2221_current(1e-3, OUNCE, IPC["rise_k"][0] * 0.99),
        lambda: ipc2221_current(1e-3, OUNCE, IPC["rise_k"][1] * 1.01),
        lambda: ipc2221_current(IPC["max_width_mil"] * MIL * 1.001, OUNCE, 10.0),
        lambda: ipc2221_width(20.0, OUNCE, 10.0),  # would be wider than 400 mil
        lambda: ipc2221_current(0.0, OUNCE, 10.0),
        lambda: brooks_adam_rise(1.0, 1e-3, 0.4 * OUNCE, external=False),
        lambda: brooks_adam_rise(1.0, 1e-3, 3.2 * OUNCE, external=False),
        lambda: brooks_adam_current(-1e-3, OUNCE, 10.0),
        lambda: ipc2221_spacing(-1.0, "B1"),
        lambda: ipc2221_spacing(10.0, "B3"),
    ],
)
def test_outside_the_range(call):
    with pytest.raises(LawRangeError):
        call()


def test_ipc2221_reaches_its_limits():
    thick = 20 * OUNCE
    assert ipc2221_width(IPC["max_current_external_a"], thick, 100.0) > 0
    assert ipc2221_width(IPC["max_current_internal_a"], thick, 100.0, external=False) > 0
    assert ipc2221_current(IPC["max_width_mil"] * MIL, OUNCE, IPC["rise_k"][0]) > 0


@pytest.mark.parametrize("row", BROOKS["rows"])
def test_brooks_adam_rows(row):
    for width_mil, current in ((20.0, 1.0), (200.0, 6.0)):
        expected = row["K"] * current ** row["a"] * width_mil ** row["b"] * (1.378 * row["ounces"]) ** row["c"]
        got = brooks_adam_rise(current, width_mil * MIL, row["ounces"] * OUNCE, row["external"])
        assert got == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("case", BROOKS["currents_100mil_20k"])
def test_brooks_adam_current(case):
    got = brooks_adam_current(100 * MIL, case["ounces"] * OUNCE, 20.0, case["external"])
    assert got == pytest.approx(case["current_a"], rel=1e-4)  # four digits printed
    back = brooks_adam_rise(got, 100 * MIL, case["ounces"] * OUNCE, case["external"])
    assert back == pytest.approx(20.0, rel=1e-12)


def test_brooks_adam_does_not_punish_inner_tracks_as_ipc2221_does():
    inner, outer = (brooks_adam_current(100 * MIL, OUNCE, 20.0, external) for external in (False, True))
    assert inner > outer
    halved = ipc2221_current(100 * MIL, OUNCE, 20.0, external=False) / ipc2221_current(100 * MIL, OUNCE, 20.0)
    assert halved == pytest.approx(0.5, rel=1e-12)


def test_brooks_adam_between_rows_stays_between_them():
    rises = brooks_adam_rise(3.0, 50 * MIL, np.array([0.5, 0.7, 1.0, 1.5, 2.0]) * OUNCE, external=False)
    assert np.all(np.diff(rises) < 0)
    metric = brooks_adam_rise(3.0, 50 * MIL, np.array([18e-6, 35e-6, 70e-6, 105e-6]), external=False)
    assert np.all(np.diff(metric) < 0)


@pytest.mark.parametrize("row", SPACING["rows"])
def test_spacing(row):
    for condition, spacing in zip(SPACING["conditions"], row["mm"], strict=True):
        for voltage in (row["from_v"], row["to_v"]):
            assert ipc2221_spacing(voltage, condition) == pytest.approx(spacing * MM, rel=1e-12)


def test_spacing_above_500_volts():
    assert ipc2221_spacing(600.0, "B1") == pytest.approx(SPACING["b1_at_600_v_mm"] * MM, rel=1e-12)
    for condition, per_volt, at_500 in zip(
        SPACING["conditions"], SPACING["per_volt_above_500_mm"], SPACING["rows"][-1]["mm"], strict=True
    ):
        assert ipc2221_spacing(900.0, condition) == pytest.approx((at_500 + 400 * per_volt) * MM, rel=1e-12)
