"""From a design to its prediction: one geometry, every law laid on it."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

import numpy as np

from pcbstator.analysis.drive.job import has_job, job_results, job_temperature
from pcbstator.analysis.electrical.conductors import Conductors, conductors_of
from pcbstator.analysis.electrical.counts import copper_figures, resistance_figures, turns_in_series, winding_figures
from pcbstator.analysis.electrical.delta_loop import delta_loop
from pcbstator.analysis.electrical.inductance import inductance_figures
from pcbstator.analysis.electrical.losses import loss_factors, operating_losses, steel_drag
from pcbstator.analysis.electrical.slip_ring import slip_ring_results
from pcbstator.analysis.electrical.tolerance import tolerance_results
from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, magnetic_results, rotor_field, rotor_iron
from pcbstator.analysis.mechanical.rotor import mechanical_results
from pcbstator.analysis.records import (
    CopperResult,
    ElectricalResult,
    Prediction,
    WindingResult,
)
from pcbstator.analysis.thermal.current_limits import thermal_results, with_motion
from pcbstator.copper import Copper, lay_copper, settled_design
from pcbstator.copper.clearance import least_gap
from pcbstator.copper.connections.tiles import lay_tiles, tile_folder
from pcbstator.copper.connections.via_transitions import layer_areas
from pcbstator.errors import LawRangeError
from pcbstator.winding import Winding, lay_winding

if TYPE_CHECKING:
    from pcbstator.design import Design


def package_version() -> str:
    """Version of this program."""
    try:
        return version("pcbstator")
    except PackageNotFoundError:
        return "0"


def predict_design(design: Design, winding: Winding | None = None, copper: Copper | None = None) -> Prediction:
    """All results of a design, without findings.

    Raises DesignError where winding or copper cannot be laid.
    """
    design = settled_design(design)
    winding = winding or lay_winding(design)
    copper = copper or lay_copper(design, winding)
    conductors = conductors_of(design, copper)
    series_turns = turns_in_series(design, winding, copper)
    electrical = ElectricalResult(**resistance_figures(design, conductors), **inductance_figures(design, copper))
    field, magnetic, mechanical, out_of_range = None, None, None, ""
    losses: list[dict[str, Any]] = []
    tolerance: dict[str, dict[str, float]] = {}
    motion = drive = loop = None
    try:
        iron = rotor_iron(design)
        field = rotor_field(design, iron)
        magnetic = magnetic_results(design, conductors, field, series_turns)
        mechanical = mechanical_results(design, magnet_footprint(design), iron)
        loop = delta_loop(
            design.winding.connection, magnetic.linkages, magnetic.orders, field.pole_pairs,
            electrical.inductance_matrix, conductors.zero_sequence_resistance,
        )  # fmt: skip
        losses = operating_losses(design, copper, field, magnetic.torque_constant, loop)
        tolerance = tolerance_results(design, copper, magnetic, electrical.synchronous_inductance)
    except LawRangeError as reason:
        out_of_range = str(reason)
    constant = magnetic.torque_constant if magnetic else None
    thermal = thermal_results(design, conductors, field, constant, loop)
    try:
        if has_job(design) and field is not None and magnetic is not None and mechanical is not None:
            warm = loss_factors(design, copper, field, job_temperature(design))
            drag = float(warm.eddy.sum()) + warm.circulating + steel_drag(design, warm)
            motion, drive = job_results(design, electrical, magnetic, mechanical, thermal, drag, loop)
            thermal = with_motion(design, thermal, motion)
    except LawRangeError as reason:
        out_of_range = out_of_range or str(reason)
    return Prediction(
        title=design.title,
        design_file=design.source,
        version=package_version(),
        winding=WindingResult(layout=winding.layout, **winding_figures(design, winding, copper)),
        copper=_copper_results(design, copper, conductors),
        electrical=electrical,
        magnetic=magnetic,
        thermal=thermal,
        mechanical=mechanical,
        slip_ring=slip_ring_results(design),
        motion=motion,
        drive=drive,
        losses=tuple(losses),
        tolerance=tolerance or None,
        out_of_range=out_of_range,
    )


def _copper_results(design: Design, copper: Copper, conductors: Conductors) -> CopperResult:
    areas = layer_areas(copper.board)
    gap = least_gap(copper, 1.1 * design.board.track_gap)
    kinds = lay_tiles(design, copper)
    return CopperResult(
        **copper_figures(design, copper, conductors, areas),
        min_track_gap=gap.distance if gap else None,
        closest=gap,
        by_layer=tuple(
            {"layer": number, "area_mm2": 1e6 * area, "part": area / copper.board.shape.material.area}
            for number, area in areas.items()
        ),
        tile_kinds=tuple(
            {"folder": tile_folder(kind), "count": len(kind.tiles), "tiles": list(kind.tiles)} for kind in kinds
        )
        or None,
        board_turns=tuple(float(np.degrees(turn)) % 360 for turn in copper.board_turns) if design.boards > 1 else None,
    )
