"""What the sheet tells to expect and what a comparison predicts for the same reading are one number."""

from __future__ import annotations

import pytest

from pcbstator.bench.load import bench_from_tables
from pcbstator.bench.machine_state import machine_state
from pcbstator.bench.predicted import predicted_value
from tests.bench.test_sheet import made


@pytest.mark.parametrize("name", ["filter-wheel", "photogrammetry-stage", "delta"])
def test_one_number(name):
    """Designs whose magnets count as at 20 C."""
    sheet, _, _ = made(name)
    ends = {pair: list(pair) for pair in sheet.resistances}
    speed = sheet.emf[0].speed
    bench = bench_from_tables({
        "resistance": [{"between": end, "ohm": 1.0, "copper_c": 20.0} for end in ends.values()],
        "inductance": [
            {"between": end, "henry": 1e-4, "frequency_khz": sheet.meter_frequency / 1e3} for end in ends.values()
        ],
        "emf": [{"between": ["A", "B"], "peak_to_peak_v": 1.0, "frequency_hz": sheet.emf[0].frequency},
                {"between": ["A", "B"], "rms_v": 1.0, "frequency_hz": sheet.emf[0].frequency}],
        "static_torque": [{"between": ["A", "B"], "current_a": sheet.torque.current, "lever_mm": 100.0, "grams": 9.0}],
        "field": [{"peak_mt": 100.0, "distance_mm": 1e3 * place, "radius_mm": 1e3 * sheet.field_radius}
                  for place, _ in sheet.field],
        "gap": [{"mm": 1.0}],
        "thickness": [{"of": "board", "mm": 1.0}],
    })  # fmt: skip
    state = machine_state(sheet.design)
    found = {kind: [predicted_value(each, state) for each in getattr(bench, kind)] for kind in bench.model_fields_set}
    assert speed > 0
    assert found["resistance"] == pytest.approx([band.value for band in sheet.resistances.values()], rel=1e-9)
    assert found["inductance"] == pytest.approx([band.value for band in sheet.inductances.values()], rel=1e-9)
    assert found["emf"] == pytest.approx([sheet.emf[0].peak_to_peak.value, sheet.emf[0].rms.value], rel=1e-9)
    assert found["static_torque"] == pytest.approx([sheet.torque.torque.value], rel=1e-9)
    assert found["field"] == pytest.approx([band.value for _, band in sheet.field], rel=1e-3)
    assert found["gap"] == pytest.approx([sheet.gap.value])
    assert found["thickness"] == pytest.approx([sheet.thickness.value])
