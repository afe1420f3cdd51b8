"""From a design to its results in stages, for one design or a batch of them, so that a design may be given up between
two stages. ``predict`` is these stages on a batch of one, and what only one design needs (``pipeline.py``).

A stage takes all designs at once where that is quicker; what a design gets does not depend on those beside it. What
they have in common (windings, steel, field tables) is kept in ``Shared``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.job import Motor, Wanted, has_job, job_results, job_temperature
from pcbstator.analysis.drive.records import DriveResult, MotionResult
from pcbstator.analysis.electrical.conductors import Conductors, conductors_of
from pcbstator.analysis.electrical.counts import copper_figures, resistance_figures, turns_in_series, winding_figures
from pcbstator.analysis.electrical.delta_loop import delta_loop
from pcbstator.analysis.electrical.inductance import inductance_figures, most_inductance
from pcbstator.analysis.electrical.records import (
    CopperCounts,
    CopperResult,
    ElectricalResult,
    Inductances,
    Resistances,
    WindingCounts,
)
from pcbstator.analysis.electrical.trace_ratings import TraceCase, many_trace_currents
from pcbstator.analysis.fields import numbers
from pcbstator.analysis.magnetic.losses import braking
from pcbstator.analysis.magnetic.records import MagnetConstants, MagneticResult, Waveforms
from pcbstator.analysis.magnetic.rotor_field import (
    ComplexArray,
    all_path_linkages,
    constants,
    phase_linkages,
    wave_figures,
)
from pcbstator.analysis.magnetic.surroundings import SurroundingsResult
from pcbstator.analysis.mechanical.ball_contact import ball_results, with_ball_friction
from pcbstator.analysis.mechanical.records import MechanicalResult
from pcbstator.analysis.mechanical.rotor import rotor_inertia
from pcbstator.analysis.shared import Recent, Shared
from pcbstator.analysis.thermal.board_network import heat_of_sources, source_case
from pcbstator.analysis.thermal.cooling import cooling_of, eddy_speed
from pcbstator.analysis.thermal.current_limits import SteadyWork, refused_result, steady_results
from pcbstator.analysis.thermal.records import CycleHeat, SteadyLimits, ThermalResult
from pcbstator.analysis.thermal.ring_sources import ring_sources
from pcbstator.copper import Copper, lay_copper, size_design
from pcbstator.copper.connections.via_transitions import layer_areas
from pcbstator.copper.sizing import quick_plan
from pcbstator.errors import LawRangeError, PcbstatorError
from pcbstator.physics.conductors.delta_loop import DeltaLoop
from pcbstator.physics.magnetics.magnet_ring import RingField
from pcbstator.winding import Winding

if TYPE_CHECKING:
    from pcbstator.design import Design, SizedDesign

FloatArray = NDArray[np.float64]

# In the order in which they are run; the last two may be left out.
STAGES = ("copper", "magnetics", "heat", "inductance", "job")
FOUND: Mapping[str, tuple[tuple[str, type], ...]] = {  # by which stage, and under which group they are given out
    "copper": (("winding", WindingCounts), ("copper", CopperCounts), ("electrical", Resistances)),
    "magnetics": (("magnetic", MagnetConstants), ("magnetic", Waveforms), ("mechanical", MechanicalResult)),
    "heat": (("thermal", SteadyLimits),),
    "inductance": (("electrical", Inductances),),
    "job": (("motion", MotionResult), ("drive", DriveResult)),
}


def keys_of(group: str, record: type) -> frozenset[str]:
    """Dotted keys of a group of results."""
    return frozenset(f"{group}.{item.metadata['key']}" for item in fields(record) if "key" in item.metadata)


STAGE_OF: Mapping[str, str] = {
    key: stage for stage, groups in FOUND.items() for group, record in groups for key in keys_of(group, record)
}
WAVE_KEYS, ROTOR_KEYS = keys_of("magnetic", Waveforms), keys_of("mechanical", MechanicalResult)
HEAT_KEYS = keys_of("motion", CycleHeat)  # they need the inductance, for the ripple of the switching
WHOLE_KEYS = frozenset(  # dear: by bisection
    ["motion.largest_load_inertia_kg_m2", "motion.largest_friction_n_m", "motion.cycle_growth_ratio",
     "motion.cycle_heat_growth_ratio", "motion.cycle_shortest_rest_s", "motion.continuous_ripple_loss_w",
     "motion.continuous_less_ripple_phase_current_rms_a"]
)  # fmt: skip
MARGIN_KEYS = frozenset(key for key in keys_of("drive", DriveResult) if key.endswith(("_margin_deg", "_margin_ratio")))
ERROR_KEYS = frozenset(f"motion.{key}" for key in (
    "rest_error_deg", "rest_error_95_percent_of_stops_deg", "repeatable_rest_error_deg", "repeatability_deg",
    "direction_offset_deg", "moving_error_deg", "slow_speed_rpm", "slow_speed_ripple_percent", "small_step_deg",
    "step_error_percent", "rest_time_s", "settled_within_deg", "settling_time_s", "told_push_deg",
    "push_stiffness_n_m_per_rad",
))  # fmt: skip
JOB_KEYS = keys_of("motion", MotionResult) | keys_of("drive", DriveResult)

ALIKE = 3e-4  # part by which a result may differ between hardly any inductance and more than there can be


@dataclass(eq=False)
class Work:
    """A design on its way through the stages: its results as far as it came, the same by dotted key, and the reason why
    it goes no further. full: all results are wanted, also those that cost much and those of a design that is refused.
    """

    asked: Design
    copper: Copper | None = None  # where it was laid before
    full: bool = False
    results: dict[str, float] = field(default_factory=dict)
    refusal: PcbstatorError | None = None
    sized: SizedDesign | None = None
    winding: Winding | None = None
    conductors: Conductors | None = None  # at 20 C
    counts: tuple[WindingCounts, CopperCounts] | None = None
    resistances: Resistances | None = None
    field: RingField | None = None
    magnetic: MagneticResult | None = None
    mechanical: MechanicalResult | None = None
    inductances: Inductances | None = None
    steady: ThermalResult | None = None
    surroundings: SurroundingsResult | None = None  # found before the job, where all of one design is wanted
    motion: MotionResult | None = None
    drive: DriveResult | None = None
    waves: FloatArray | None = None  # torque of drawn motors (``BuildResult``), where they were drawn
    drawn: Recent[Copper, CopperResult] | None = None  # what was found of copper that was laid before
    out_of_range: str = ""  # why some results of a design that goes on are missing

    def give(self, group: str, *records: object) -> None:
        """Adds the numbers of records to the results."""
        for record in records:
            self.results |= numbers(group, record)

    @property
    def design(self) -> SizedDesign:
        """The design with its sizes, which the copper stage settles."""
        if self.sized is None:
            raise ValueError("the copper stage must be run before this one")
        return self.sized

    @property
    def laid(self) -> tuple[Winding, Conductors]:
        """What the copper stage laid."""
        if self.winding is None or self.conductors is None:
            raise ValueError("the copper stage must be run before this one")
        return self.winding, self.conductors

    @property
    def torque_constant(self) -> float | None:
        """Per peak phase ampere [N m/A]; None where no field was found."""
        return self.magnetic.torque_constant if self.magnetic else None


def at_other_job(work: Work, asked: Design, full: bool = False) -> Work:
    """The same copper and magnets before another job: the last stage is yet to be run; asked: differs in no more."""
    return replace(work, full=full, asked=asked, sized=size_design(asked), motion=None, drive=None, results={})


def run_stage(stage: str, works: Sequence[Work], shared: Shared, wanted: frozenset[str] = frozenset()) -> None:
    """Carries designs through a stage, those that were refused left out; the stages before it must have been run.

    wanted: dotted keys that must be there afterwards, as far as they apply; what costs much is found only then
    (ripple and distortion, forces of the rotor). A design that cannot be laid is refused with its DesignError, one that
    is outside the range of a law with its LawRangeError.
    """
    works = [work for work in works if work.refusal is None]
    if stage == "magnetics":
        _magnetics(works, shared, wanted)
    elif stage == "heat":
        _heat(works)
    else:
        single: dict[str, Callable[[Work, Shared], None]] = {"copper": _copper, "inductance": _inductance}
        run = single.get(stage) or partial(_job, wanted=wanted)
        for work in works:
            try:
                run(work, shared)
            except PcbstatorError as reason:
                work.refusal = reason


def _copper(work: Work, shared: Shared) -> None:
    design = work.sized = size_design(work.asked) if work.full else shared.sized(work.asked)
    winding = work.winding = shared.winding(design)
    if work.copper is None and work.full:
        work.copper = lay_copper(design, winding)
    elif work.copper is None:
        work.copper = shared.copper(design, lambda: lay_copper(design, winding, quick_plan(design, winding)))
    conductors = work.conductors = conductors_of(design, work.copper)
    counts = (
        WindingCounts(**winding_figures(design, winding, work.copper)),
        CopperCounts(**copper_figures(design, work.copper, conductors, layer_areas(work.copper.board))),
    )
    work.counts, work.resistances = counts, Resistances(**resistance_figures(design, conductors))
    work.give("winding", counts[0])
    work.give("copper", counts[1])
    work.give("electrical", work.resistances)


def _magnetics(works: Sequence[Work], shared: Shared, wanted: frozenset[str]) -> None:
    """Field and linkage of several designs; what their fields have in common decides how many go together."""
    waves = not wanted.isdisjoint(WAVE_KEYS | JOB_KEYS)
    ready: list[tuple[Work, RingField]] = []
    for work in works:
        try:
            work.field = shared.field(work.design, every_order=work.full or waves or eddy_speed(work.design) > 0)
            ready.append((work, work.field))
        except PcbstatorError as reason:
            work.refusal = reason
    ready.sort(key=lambda pair: (pair[1].pole_pairs, pair[1].inner, pair[1].outer, pair[1].values.shape))
    found = all_path_linkages([(work.laid[1].copper, served) for work, served in ready])
    for (work, served), paths in zip(ready, found, strict=True):
        try:
            if isinstance(paths, LawRangeError):
                raise paths
            linkages = phase_linkages(work.laid[1], paths)
            work.magnetic = _magnetic_result(work, served, linkages, work.full or waves)
            work.give("magnetic", work.magnetic)
            if work.full or not wanted.isdisjoint(ROTOR_KEYS):
                work.mechanical = shared.mechanics(work.design)
                work.give("mechanical", work.mechanical)
        except PcbstatorError as reason:
            work.refusal = reason


def _magnetic_result(work: Work, field: RingField, linkages: ComplexArray, waves: bool) -> MagneticResult:
    """Field and constants; ripple, distortion and waveforms only where they are wanted."""
    (winding, conductors), design = work.laid, work.design
    turns = turns_in_series(design, winding, conductors.copper)
    found = constants(design, field, linkages, turns, conductors.phase_resistance)
    if waves:
        found |= wave_figures(design, field, linkages)
    return MagneticResult(**found, orders=field.orders, linkages=linkages)


def _inductance(work: Work, shared: Shared) -> None:
    work.give("electrical", _inductances(work, shared))


def _inductances(work: Work, shared: Shared | None = None) -> Inductances:
    """Found once for a design, and only where something asks for it."""
    if work.inductances is None:
        found = partial(inductance_figures, work.design, work.laid[1])
        work.inductances = Inductances(**(found() if shared is None else shared.inductance(work.design, found)))
    return work.inductances


def loop_of(work: Work) -> DeltaLoop | None:
    """The loop of a delta, at 20 C; None without a field or without a loop."""
    if work.design.winding.connection != "delta" or work.field is None or work.magnetic is None:
        return None
    matrix, resistance = _inductances(work).inductance_matrix, work.laid[1].zero_sequence_resistance
    return delta_loop("delta", work.magnetic.linkages, work.field.orders, work.field.pole_pairs, matrix, resistance)


def _heat(works: Sequence[Work]) -> None:
    """The steady figures of several designs, whose heat balances are solved together."""
    if any(work.field is None and not work.full for work in works):
        raise ValueError("the magnetics stage must be run before the heat stage: eddies are part of the heat")
    cases = [
        source_case(work.design, work.laid[1], work.field, loop=loop_of(work) if eddy_speed(work.design) > 0 else None)
        for work in works
    ]
    asked = [TraceCase(case.design, case.conductors, cooling_of(case.design).trace_rise) for case in cases]
    ready: list[tuple[Work, SteadyWork]] = []
    for work, case, sources, traces in zip(works, cases, ring_sources(cases), many_trace_currents(asked), strict=True):
        try:
            if isinstance(sources, LawRangeError):
                raise sources
            heat = heat_of_sources(case, sources, steady=work.design.motion is None and not work.full)
        except LawRangeError as reason:
            work.steady, work.refusal = refused_result(case.design, traces, reason), reason
            continue
        ready.append((work, SteadyWork(case.design, heat, traces, len(case.copper.phases), work.torque_constant)))
    onsets = any(work.full for work, _ in ready)
    for (work, _), found in zip(ready, steady_results([steady for _, steady in ready], onsets), strict=True):
        work.steady = found
        if found.out_of_range:
            work.refusal = LawRangeError(found.out_of_range)
        else:
            work.give("thermal", found)


def _job(work: Work, shared: Shared, wanted: frozenset[str]) -> None:
    """The drive at its job, where the design has one, it is wanted, and all that it needs was found."""
    design, magnetic, field = work.design, work.magnetic, work.field
    if not (work.full or wanted & JOB_KEYS) or not has_job(design):
        return
    if field is None or magnetic is None or work.resistances is None or work.steady is None:
        return
    mechanical, loop = work.mechanical, loop_of(work)
    if design.slip_ring is not None and design.slip_ring.contact == "balls":  # they are part of the bearing
        design = with_ball_friction(design, ball_results(design, mechanical or shared.mechanics(design), False))
    motor = Motor(
        magnetic,
        rotor_inertia(design) if mechanical is None else mechanical.rotor_inertia,
        work.steady,
        braking(design, work.laid[1], field, job_temperature(design), each_order=work.full),
        loop,
    )
    needs = Wanted(
        whole=work.full or not wanted.isdisjoint(WHOLE_KEYS),
        driver=work.full or any(key.startswith("drive.") for key in wanted),
        margins=work.full or not wanted.isdisjoint(MARGIN_KEYS),
        heat=work.full or not wanted.isdisjoint(HEAT_KEYS),
        errors=work.full or not wanted.isdisjoint(ERROR_KEYS),
    )
    run = partial(
        job_results, design, motor=motor, cycle=shared.cycle(design), wanted=needs, surroundings=work.surroundings,
        waves=work.waves,
    )  # fmt: skip
    if not (any(needs) or work.inductances):
        work.motion = _alike(*(run(electrical)[0] for electrical in _extremes(work)))
    if work.motion is None:
        electrical = ElectricalResult(**vars(work.resistances), **vars(_inductances(work, shared)))
        work.motion, work.drive = run(electrical)
    for group, record in (("motion", work.motion), ("drive", work.drive)):
        if record is not None:
            work.give(group, record)


def _extremes(work: Work) -> Iterator[ElectricalResult]:
    """The design with hardly any inductance, and with more than it can have."""
    most = most_inductance(work.design, work.laid[1])
    for value in (1e-6 * most, most):
        known = Inductances(
            phase_inductance=value, mutual_inductance=0.0, synchronous_inductance=value, inductance_matrix=()
        )
        yield ElectricalResult(**vars(work.resistances), **vars(known))


def _alike(least: MotionResult | None, most: MotionResult | None) -> MotionResult | None:
    """One of two results where they are alike, so that what made the difference need not be known: each grows or falls
    with the inductance, so that the true one lies between them.
    """
    one, other = numbers("motion", least), numbers("motion", most)
    near = one.keys() == other.keys() and all(
        abs(value - other[key]) <= ALIKE * max(abs(value), abs(other[key])) for key, value in one.items()
    )
    return least if near else None
