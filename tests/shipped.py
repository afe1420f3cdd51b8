"""The designs of this repository as they are, worked out once in a process, for tests that only read what came."""

from __future__ import annotations

from functools import cache

import pcbstator
from pcbstator.analysis.prediction import Prediction
from pcbstator.copper import Copper
from pcbstator.design import Design
from pcbstator.output.report.report import report_html
from tests.command import DESIGNS

PLACES = {path.stem: path for path in DESIGNS}


@cache
def shipped(name: str) -> tuple[Design, Copper, Prediction]:
    """A design by the name of its file, its copper and its prediction."""
    design = pcbstator.load_design(PLACES[name])
    copper = pcbstator.lay_copper(design)
    return design, copper, pcbstator.predict(design, copper)


@cache
def shipped_report(name: str) -> str:
    """The page about it."""
    return report_html(*shipped(name))
