"""Single rules of the comparison, each by its definition."""

import re
from math import hypot, log
from pathlib import Path
from types import SimpleNamespace

import pytest

from pcbstator.bench.agreement import _odd
from pcbstator.bench.causes.allowances import LAWS
from pcbstator.bench.comparison import borne_out
from pcbstator.bench.logs.known import Known
from pcbstator.bench.result import Row


def rows(slipped):
    return [
        Row(name, "resistance", "1", "1", "ohm", 1.0, 2.0 if name in slipped else 1.0, 0.01, 0.01,
            slip="twice" if name in slipped else "") for name in ("one", "two", "three")
    ]  # fmt: skip


def test_a_phase_that_differs_shows_in_two_of_three_pairs():
    """R_AB = R_A + R_B: a phase is in two of the three pairs; the same pair read twice says nothing of a phase."""
    every, twice = {"one": "AB", "two": "BC", "three": "CA"}, {"one": "AB", "two": "BA", "three": "CA"}
    assert [row.slip for row in borne_out(rows({"one", "two"}), every)] == ["", "", ""]
    assert [row.slip for row in borne_out(rows({"one", "two"}), twice)] == ["twice", "twice", ""]
    assert [row.slip for row in borne_out(rows({"one"}), every)] == ["twice", "", ""]


def test_deviation_of_a_pair_from_the_mean_of_two():
    """Of x − (y + z)/2 the variance is that of x and a quarter of the others' (rule of propagation)."""
    group = [SimpleNamespace(name=name, uncertainty=own) for name, own in (("x", 0.01), ("y", 0.03), ("z", 0.04))]
    odd = _odd(group, {"x": 1.5, "y": 1.0, "z": 1.02})
    apart = log(1.5) - log(1.02) / 2
    assert odd.reading.name == "x" and odd.apart == pytest.approx(apart, rel=1e-9)
    assert odd.sigma == pytest.approx(apart / hypot(0.01, 0.05 / 2), rel=1e-9)


def test_what_the_computation_misses_is_what_the_page_says():
    text = " ".join(Path("docs/bench.md").read_text(encoding="utf-8").split())
    told = re.search(
        r"(\S+) % of a resistance, (\S+) % of an inductance, (\S+) % of EMF and torque, (\S+) % of a field, "
        r"(\S+) % of a pull", text)  # fmt: skip
    kinds = (("resistance",), ("inductance",), ("emf", "static_torque"), ("field",), ("pull",))
    assert [100 * LAWS[kind] for kind in kinds] == pytest.approx([float(each) for each in told.groups()], rel=1e-9)


def test_orders_of_a_geared_motor_are_those_of_its_load():
    """A motor of 7 pole pairs behind a gear of 3 goes through 21 electrical turns in one of its load."""
    design = SimpleNamespace(drive=SimpleNamespace(gear_ratio=3.0), load=None, winding=SimpleNamespace(phases=3))
    known = Known(design, 7, 0.1, 0.01, "design", 1e-5, 1e-4, 0.0, 0.0, 0.0)
    keys = {each.key: order for order, found in known.orders(1.0, True).items() for each in found}
    assert keys["current_offset"] == 21 and keys["current_gain"] == 42 and keys["dead_time_and_emf"] == 126
