"""What readings cannot say: two faults at once, readings that nothing explains, faults that would not show."""

from pathlib import Path

import numpy as np
import pytest

import pcbstator
from pcbstator.bench.causes.faults import faults
from pcbstator.bench.causes.search import SOUND, with_causes
from pcbstator.bench.comparison import compared
from pcbstator.bench.load import bench_from_tables
from pcbstator.bench.machine_state import machine_state
from pcbstator.bench.predicted import quantities
from tests.bench.machines_with_faults import built, turned_round
from tests.bench.written_wrong import PAIRS

WHEEL = Path(__file__).parents[2] / "designs" / "filter-wheel.toml"
KEYS = {"resistance": "ohm", "emf": "peak_v", "inductance": "henry", "static_torque": "newton", "gap": "mm"}


@pytest.fixture(scope="module")
def wheel():
    return machine_state(pcbstator.load_design(WHEEL))


@pytest.fixture(scope="module")
def judged(wheel):
    """What is said of readings of a machine; factors: what each kind, or each reading of it, is multiplied with."""
    known = tuple(faults(wheel))

    def of(machine, **factors):
        found = {
            "resistance": [{"between": pair, "ohm": 1.0, "copper_c": 20.0} for pair in PAIRS],
            "emf": [{"between": pair, "peak_v": 1.0, "frequency_hz": 24.0} for pair in PAIRS],
            "inductance": [{"between": pair, "henry": 1e-4, "frequency_khz": 1.0} for pair in PAIRS],
            "static_torque": [{"between": PAIRS[0], "current_a": 0.3, "lever_mm": 1000.0, "newton": 1.0}],
            "gap": [{"mm": 1.0}],
        }
        bench = bench_from_tables(found)
        for kind, tables in found.items():
            values = quantities(machine, getattr(bench, kind)) * np.array(factors.get(kind, 1.0))
            for table, value in zip(tables, values, strict=True):
                table[KEYS[kind]] = float(value * (1e3 if kind == "gap" else 1.0))
        bench = bench_from_tables(found)
        return with_causes(compared(wheel.design, bench, "bench.toml", wheel), bench, wheel, known)

    return of


def test_a_fault_and_a_quantity_out_of_tolerance_are_named_together(wheel, judged):
    """A coil turned round, and a gap of 1.8 mm for 1 mm, by the whole prediction of both at once."""
    design = wheel.design.with_values({"rotor.air_gap_mm": 1.8})
    coil = [at for at, phase in enumerate(wheel.work.laid[1].copper.coil_phases) if phase == "A"][-1]
    found = judged(built(design, np.zeros(9), turned_round(coil)))
    assert found.verdict.startswith("No single cause explains these readings (chi-square")
    assert found.extra["fit"][0]["together"] == ["coil_reversed", "air_gap"]
    assert found.extra["fit"][0]["chance"] < 1e-3
    assert "one coil in phase A the wrong way round" in found.verdict
    assert "air gap out of its tolerance" in found.verdict
    assert "Then compare again" in found.next


def test_readings_that_nothing_explains_are_said_to_be_so(wheel, judged):
    found = judged(wheel, resistance=[1.5, 1.0, 0.8], emf=[0.6, 1.3, 1.0], inductance=[1.0, 0.5, 1.9])
    assert "No single cause explains these readings" in found.verdict or found.contradictions
    assert "together" not in found.extra["fit"][0]
    assert "Take the far readings again" in found.next


def test_faults_that_would_not_show_are_listed(wheel, judged):
    """One turn of 72 and an exchange of two phases move none of these readings as far as tolerances do; a coil of three
    turned round takes two thirds of a phase's EMF."""
    found = judged(wheel)
    assert found.verdict == SOUND
    names = {each["name"] for each in found.extra["not_shown"]}
    assert {"turn_shorted", "phases_exchanged"} <= names
    assert not {"coil_reversed", "coil_shorted", "connection"} & names
