"""What a script or a notebook calls. Heavy libraries are imported on the first call that needs them."""

from __future__ import annotations

from os import PathLike
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pcbstator.analysis.drive.scenarios import Simulation
    from pcbstator.analysis.records import Prediction
    from pcbstator.copper import Copper
    from pcbstator.copper.plain_board import PlainBoard
    from pcbstator.design import Design


def load_design(path: str | PathLike[str]) -> Design:
    """Read and check a design file.

    Raises DesignError with every complaint at once.
    """
    from pcbstator.design import Design
    from pcbstator.design import load_design as load

    Design.drawing = stator_drawing  # what a notebook shows; the design itself knows nothing of this file
    return load(path)


def lay_copper(design: Design) -> Copper:
    """The real geometry: tracks, vias and terminals.

    Raises DesignError where the winding cannot be balanced or the copper does not fit, with what would.
    """
    from pcbstator.copper import lay_copper as lay

    return lay(design)


def lay_slip_ring(design: Design) -> PlainBoard | None:
    """The slip-ring board with the vias and leads that its current needs; None where the design asks for none.

    Raises DesignError where it does not fit, with what would.
    """
    from pcbstator.analysis.electrical.slip_ring import lay_slip_ring_board

    return lay_slip_ring_board(design)


def predict(design: Design, copper: Copper | None = None) -> Prediction:
    """All results of a design with the findings about it; ``predict(design).to_dict()`` is plain data."""
    from pcbstator.check import checked_prediction

    return checked_prediction(design, copper)


def centrelines(design: Design) -> dict[str, Any]:
    """The conductors' centre-lines with the current in each path, as plain data."""
    from pcbstator.analysis.electrical.conductors import conductors_of
    from pcbstator.output.drawing.centrelines import centrelines as lines

    copper = lay_copper(design)
    return lines(copper, conductors_of(design, copper).path_shares)


def stator_drawing(design: Design) -> str:
    """The stator with the magnets over it, as SVG text."""
    from pcbstator.output.drawing.stator import stator_svg

    return stator_svg(design, lay_copper(design))


def simulate(design: Design, scenarios: tuple[str, ...] = (), prediction: Prediction | None = None) -> Simulation:
    """The drive in time against its load; ``simulate(design).to_dict()`` is plain data.

    Raises DesignError where the design lacks what a scenario needs.
    """
    from pcbstator.analysis.drive.scenarios import simulation

    return simulation(design, prediction or predict(design), scenarios)
