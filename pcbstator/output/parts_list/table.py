"""The parts list as a table to read into a spreadsheet."""

from __future__ import annotations

from dataclasses import astuple
from typing import TYPE_CHECKING

from pcbstator.analysis.prediction import Prediction
from pcbstator.copper import Copper
from pcbstator.output.csv_text import csv_line
from pcbstator.output.parts_list.drive_parts import drive_parts, price_parts
from pcbstator.output.parts_list.parts import Part
from pcbstator.output.parts_list.rotor_parts import rotor_parts
from pcbstator.output.parts_list.slip_ring_parts import slip_ring_parts
from pcbstator.output.parts_list.stator_parts import board_parts, joining_parts, screw_parts, wire_parts

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

COLUMNS = ("part", "count", "size", "material", "place", "note", "file")


def parts_of(design: SizedDesign, copper: Copper, prediction: Prediction) -> list[Part]:
    """Everything for one motor: boards, rotor, screws, wires with their pads, driver, supply and sensor, prices."""
    return [
        *board_parts(design, copper),
        *joining_parts(design, copper),
        *slip_ring_parts(design, prediction),
        *rotor_parts(design),
        *screw_parts(design, prediction),
        *wire_parts(design, copper, prediction),
        *drive_parts(prediction),
        *price_parts(design, prediction),
    ]


def parts_csv(design: SizedDesign, copper: Copper, prediction: Prediction) -> str:
    """The list as text, one part a line."""
    lines = [csv_line(COLUMNS), *(csv_line(astuple(part)) for part in parts_of(design, copper, prediction))]
    return "".join(lines).replace("\u00a0", " ")
