"""Axial-flux motors whose stator is a printed circuit board, from a design file to the files to order.

>>> import pcbstator
>>> design = pcbstator.load_design("designs/photogrammetry-stage.toml")
>>> pcbstator.predict(design.with_values({"winding.turns": 10})).winding.series_turns
240
"""

from pcbstator.errors import DesignError, LawRangeError, OutputError, PcbstatorError
from pcbstator.project import lay_copper, lay_slip_ring, load_design, predict, simulate

__all__ = [
    "DesignError",
    "LawRangeError",
    "OutputError",
    "PcbstatorError",
    "lay_copper",
    "lay_slip_ring",
    "load_design",
    "predict",
    "simulate",
]
