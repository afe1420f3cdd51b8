"""Axial-flux motors whose stator is a printed circuit board, from a design file to the files to order.

>>> import pcbstator
>>> design = pcbstator.load_design("designs/photogrammetry-stage.toml")
>>> pcbstator.predict(design.with_values({"winding.turns": 10})).winding.series_turns
240
"""

# The room is bound first, so that the function of the same name keeps the name.
from pcbstator import predict as _predict_room
from pcbstator.api import lay_copper, lay_slip_ring, load_design, predict, simulate
from pcbstator.errors import DesignError, LawRangeError, OutputError, PcbstatorError

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
del _predict_room
