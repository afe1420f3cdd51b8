"""Small studies for tests: real designs of the filter wheel, or made-up functions in place of designs."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pcbstator.design import load_design
from pcbstator.study.load import study_from_tables
from pcbstator.study.records import Study

WHEEL = Path(__file__).parents[2] / "designs" / "filter-wheel.toml"
TURNS = {"key": "winding.turns", "from": 4, "to": 13}
WIDTH = {"key": "board.track_width_mm", "values": [0.15, 0.2, 0.25, 0.3, 0.35, 0.4]}
GAP = {"key": "rotor.air_gap_mm", "values": [0.6, 0.8, 1.0, 1.2]}
TWO_GAPS = {"key": "rotor.air_gap_mm", "values": [0.7, 1.1]}
KM = {"key": "magnetic.motor_constant_n_m_per_sqrt_w", "goal": "most"}
HEIGHT = {"key": "occupied.height_mm", "goal": "least"}
COST = {"key": "cost.total", "goal": "least"}
RESISTANCE = {"key": "electrical.phase_resistance_ohm", "goal": "least"}


def wheel_study(**tables: object) -> Study:
    """A study of the filter wheel."""
    design = load_design(WHEEL)
    return study_from_tables({"title": "wheel", **tables}, design, WHEEL.read_text(encoding="utf-8"))


def smaller(study: Study, budget: int) -> Study:
    """The same study with another budget."""
    return replace(study, budget=budget)
