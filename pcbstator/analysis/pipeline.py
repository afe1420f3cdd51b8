"""From a design to its prediction: the stages on a batch of one, and what only one design needs."""

from __future__ import annotations

from functools import partial
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

import numpy as np

from pcbstator.analysis.drive.job import with_built_ripple
from pcbstator.analysis.drive.load_cycle import cycle_of
from pcbstator.analysis.electrical.records import CopperResult, ElectricalResult, WindingResult
from pcbstator.analysis.electrical.slip_ring import slip_ring_results
from pcbstator.analysis.electrical.winding_geometry import end_winding_length
from pcbstator.analysis.magnetic.losses import operating_losses
from pcbstator.analysis.magnetic.surroundings import surroundings_of
from pcbstator.analysis.mechanical.ball_contact import ball_results
from pcbstator.analysis.mechanical.built_results import built_results, drawn_torque_waves
from pcbstator.analysis.order.order import order_results
from pcbstator.analysis.prediction import Prediction
from pcbstator.analysis.shared import Shared
from pcbstator.analysis.stages import STAGES, Work, loop_of, run_stage
from pcbstator.analysis.thermal.current_limits import with_pulses
from pcbstator.analysis.tolerance import tolerance_results
from pcbstator.copper import Copper
from pcbstator.copper.clearance import least_gap
from pcbstator.copper.connections.tiles import lay_tiles, tile_folder
from pcbstator.copper.connections.via_transitions import layer_areas
from pcbstator.errors import LawRangeError

if TYPE_CHECKING:
    from pcbstator.design import Design, SizedDesign


def package_version() -> str:
    """Version of this program."""
    try:
        return version("pcbstator")
    except PackageNotFoundError:
        return "0"


def predict_design(design: Design, copper: Copper | None = None) -> Prediction:
    """All results of a design, without findings.

    Raises DesignError where winding or copper cannot be laid. A law outside its range leaves out what needs it.
    """
    return completed(worked(design, copper))


def worked(design: Design, copper: Copper | None = None, shared: Shared | None = None) -> Work:
    """A design through all stages; copper: where it was laid before; shared: what designs before it left."""
    shared = shared or Shared(alone=True)
    work = Work(design, copper, full=True)
    for stage in STAGES:
        if stage == "job":
            surround(work)
        run_stage(stage, [work], shared)
        reason, work.refusal = work.refusal, None
        if reason is not None and not isinstance(reason, LawRangeError):
            raise reason
        if stage in ("magnetics", "job") and reason is not None:  # the heat has its own
            work.out_of_range = work.out_of_range or str(reason)
    return work


def surround(work: Work) -> None:
    """Adds what the design says stands in the rotor's field; the errors of the job need it."""
    if work.magnetic is None:
        return
    try:
        work.surroundings = surroundings_of(work.design, work.laid[1].copper, _asked_speed(work.design))
    except LawRangeError as reason:
        work.out_of_range = work.out_of_range or str(reason)


def judged_as_built(work: Work) -> None:
    """Puts the torque ripple of drawn motors into the errors of the job, where ``[build]`` says how they are built."""
    if work.design.build is None or work.magnetic is None or work.motion is None or work.motion.positioning is None:
        return
    try:
        work.waves = drawn_torque_waves(work.design, work.laid[1], work.magnetic)
    except LawRangeError as reason:
        work.out_of_range = work.out_of_range or str(reason)
    work.motion = with_built_ripple(work.motion, work.waves)
    work.give("motion", work.motion)


def completed(work: Work, as_built: bool = True) -> Prediction:
    """The prediction of a design that went through all stages; as_built: also the motor as built."""
    design, (winding, conductors) = work.design, work.laid
    counts, copper = work.counts, conductors.copper
    if counts is None or work.resistances is None or work.inductances is None or work.steady is None:
        raise ValueError("a design must have gone through all stages")
    electrical = ElectricalResult(**vars(work.resistances), **vars(work.inductances))
    losses: list[dict[str, Any]] = []
    tolerance: dict[str, dict[str, float]] = {}
    magnetic, field, reason = work.magnetic, work.field, ""
    if magnetic is not None and field is not None:
        try:
            losses = operating_losses(design, copper, field, magnetic.torque_constant, loop_of(work))
            tolerance = tolerance_results(design, copper, magnetic, electrical.synchronous_inductance)
        except LawRangeError as error:
            reason = str(error)
    build = None
    if as_built and design.build is not None and magnetic is not None and not reason:
        try:
            build = built_results(design, conductors, magnetic, work.mechanical, _top_speed(work))
        except LawRangeError as error:
            reason = str(error)
    work.waves = None if build is None else build.waves
    thermal, drawn = with_pulses(design, work.steady), partial(_drawn_copper, design, copper, vars(counts[1]))
    return Prediction(
        title=design.title,
        design_file=design.source,
        version=package_version(),
        winding=WindingResult(**vars(counts[0]), layout=winding.layout),
        copper=drawn() if work.drawn is None else work.drawn.get(copper, drawn),
        electrical=electrical,
        magnetic=magnetic,
        thermal=thermal,
        mechanical=work.mechanical,
        build=build,
        surroundings=work.surroundings,
        slip_ring=slip_ring_results(design),
        slip_ring_balls=ball_results(design, work.mechanical),
        motion=with_built_ripple(work.motion, work.waves),
        drive=work.drive,
        order=order_results(design, work.motion, work.drive, thermal),
        losses=tuple(losses),
        tolerance=tolerance or None,
        out_of_range=work.out_of_range or reason,
        design=design,
        laid=copper,
    )


def _asked_speed(design: SizedDesign) -> float:
    """Highest speed of the motor [rad/s] that the design states, before its motion is looked at; 0 where none is."""
    cycle, ratio = cycle_of(design), design.drive.gear_ratio if design.drive else 1.0
    if cycle is not None and cycle.top_speed:
        return cycle.top_speed * ratio
    return max(design.operation.speeds) if design.operation else 0.0


def _top_speed(work: Work) -> float:
    """Highest speed of the rotor [rad/s]: of the motion, else of [operation]; 0 where neither is stated."""
    design, motion = work.design, work.motion
    ratio = design.drive.gear_ratio if design.drive else 1.0
    if motion is not None and motion.top_speed:
        return motion.top_speed * ratio
    return max(design.operation.speeds) if design.operation else 0.0


def _drawn_copper(design: SizedDesign, copper: Copper, counts: dict[str, Any]) -> CopperResult:
    """The counts with what needs the drawn copper."""
    areas = layer_areas(copper.board)
    gap = least_gap(copper, 1.1 * design.board.track_gap)
    kinds = lay_tiles(design, copper)
    return CopperResult(
        **counts,
        end_winding_length=end_winding_length(copper),
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
