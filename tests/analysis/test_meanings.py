"""The meaning of every result can be read by itself, wherever a page shows it."""

import re
from collections import Counter
from dataclasses import fields

import pytest

from pcbstator.analysis.drive.records import DriveResult, MotionResult
from pcbstator.analysis.electrical.records import CopperResult, ElectricalResult, SlipRingResult, WindingResult
from pcbstator.analysis.magnetic.records import MagneticResult
from pcbstator.analysis.magnetic.surroundings import SurroundingsResult
from pcbstator.analysis.mechanical.records import MechanicalResult
from pcbstator.analysis.thermal.records import ThermalResult

RECORDS = (
    WindingResult, CopperResult, ElectricalResult, MagneticResult, ThermalResult, MechanicalResult, SlipRingResult,
    MotionResult, DriveResult, SurroundingsResult,
)  # fmt: skip
LEANING = r"\b(then|likewise|the same|as above|that current|these three|those|it would)\b|^(of|at|that|from|by|in) "


def meanings(record):
    return [item.metadata["meaning"] for item in fields(record) if "key" in item.metadata]


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: record.__name__)
def test_no_meaning_leans_on_its_neighbour(record):
    assert [meaning for meaning in meanings(record) if re.search(LEANING, meaning)] == []


def test_no_two_results_mean_the_same():
    counts = Counter(meaning for record in RECORDS for meaning in meanings(record))
    assert [meaning for meaning, count in counts.items() if count > 1] == []
