"""The results that a search over designs asks for, in stages, so that a design may be given up between two of them.

Every stage gives the same numbers as ``predict``, by the same laws on the same copper. What designs have in common
(windings, steel, field tables) is kept in ``Shared``; a table depends on the rotor, the depths of the copper and the
radii that are served, never on the designs that came before.
"""

from __future__ import annotations

import gc
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import numpy as np

from pcbstator.analysis.electrical.conductors import Conductors, conductors_of
from pcbstator.analysis.electrical.counts import copper_figures, resistance_figures, turns_in_series, winding_figures
from pcbstator.analysis.electrical.delta_loop import delta_loop
from pcbstator.analysis.electrical.inductance import inductance_figures
from pcbstator.analysis.electrical.trace_ratings import TraceCase, many_trace_currents
from pcbstator.analysis.magnetic.rotor_field import (
    ORDERS,
    ComplexArray,
    all_path_linkages,
    constants,
    copper_distances,
    copper_span,
    magnet_footprint,
    magnet_layers,
    phase_linkages,
    rotor_field,
    rotor_iron,
    rotor_source,
    steel_ring,
    wave_figures,
)
from pcbstator.analysis.mechanical.rotor import mechanical_results
from pcbstator.analysis.records import (
    CopperResult,
    ElectricalResult,
    MagneticResult,
    MechanicalResult,
    ThermalResult,
    WindingResult,
    numbers,
)
from pcbstator.analysis.thermal.board_network import cooling_of, eddy_speed, heat_of_sources, source_case
from pcbstator.analysis.thermal.current_limits import SteadyWork, steady_results
from pcbstator.analysis.thermal.ring_sources import ring_sources
from pcbstator.copper import lay_copper, settled_design
from pcbstator.copper.connections.via_transitions import layer_areas
from pcbstator.copper.sizing import quick_plan
from pcbstator.errors import LawRangeError, PcbstatorError
from pcbstator.physics.conductors.delta_loop import DeltaLoop
from pcbstator.physics.magnetics.magnet_ring import RingField
from pcbstator.physics.magnetics.steel import SaturatedIron
from pcbstator.winding import Winding, lay_winding

if TYPE_CHECKING:
    from pcbstator.design import Design

STAGES = ("copper", "magnetics", "heat", "inductance")  # in the order in which they are run; the last may be left out

WAVES = ("emf_distortion", "line_emf_distortion", "torque_ripple", "six_step_ripple")
FIELDS: Mapping[str, tuple[tuple[str, type, tuple[str, ...]], ...]] = {
    "copper": (
        ("winding", WindingResult,
         ("phases", "coils", "poles", "factor", "turns_per_coil", "series_turns", "parallel_paths")),
        ("copper", CopperResult, ("phase_length", "mass", "via_count", "boards", "tiles", "tile_jumpers")),
        ("electrical", ElectricalResult, ("phase_resistance", "line_resistance")),
    ),
    "magnetics": (
        ("magnetic", MagneticResult,
         ("gap_field_peak", "flux_linkage_peak", "emf_constant", "torque_constant", "motor_constant",
          "speed_constant", "effective_factor", *WAVES)),
        ("mechanical", MechanicalResult,
         ("axial_force", "axial_stiffness", "magnet_flux", "knee_flux", "magnet_mass", "rotor_mass", "rotor_inertia",
          "rim_speed", "centrifugal_force", "glue_stress", "back_iron_flux", "back_iron_wanted", "stator_iron_flux",
          "stator_iron_wanted")),
    ),
    "heat": (
        ("thermal", ThermalResult,
         ("ipc2221_current", "ipc2221_via_current", "ipc2152_current", "trace_rise", "board_current",
          "magnet_current", "continuous_current", "continuous_torque", "runaway_current", "board_limit_c",
          "magnet_limit_c", "board_temperature_c", "board_mean_c", "surface_temperature_c", "rotor_temperature_c",
          "hot_resistance", "copper_loss", "eddy_loss", "thermal_resistance")),
    ),
    "inductance": (
        ("electrical", ElectricalResult, ("phase_inductance", "mutual_inductance", "synchronous_inductance")),
    ),
}  # fmt: skip


def _key(group: str, record: Any, name: str) -> str:
    return f"{group}.{record.__dataclass_fields__[name].metadata['key']}"


STAGE_OF: Mapping[str, str] = {
    _key(group, record, name): stage
    for stage, groups in FIELDS.items()
    for group, record, names in groups
    for name in names
}
WAVE_KEYS = frozenset(_key("magnetic", MagneticResult, name) for name in WAVES)
TABLE_BYTES = 64 << 20  # of field tables that are kept
FREED_BYTES = 30 << 20  # less than the 32 MB that glibc follows
KEPT = 256  # windings, and rotors with their steel and forces
LEAST_MARGIN = 1e-3  # m; of field tables beyond the copper's annulus

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")


class Recent(Generic[K, V]):
    """What was made last, as far as ``room`` goes; size: of each."""

    def __init__(self, room: float, size: Callable[[V], float] = lambda made: 1.0) -> None:
        self._room, self._size, self._taken = room, size, 0.0
        self._kept: OrderedDict[K, V] = OrderedDict()

    def get(self, key: K, make: Callable[[], V]) -> V:
        """What is kept under ``key``, made where it is not."""
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        made = self._kept[key] = make()
        self._taken += self._size(made)
        while self._taken > self._room and len(self._kept) > 1:
            self._taken -= self._size(self._kept.popitem(last=False)[1])
        return made


def keep_freed_memory() -> None:
    """Makes the C library keep some 60 MB of freed memory for this process: arrays of some 100 kB come and go so often
    that giving them back to the system each time takes as long as the sums in them. glibc keeps twice the largest
    block that was freed (mallopt(3), M_MMAP_THRESHOLD), so one is taken and freed, untouched; others do as they like.
    """
    np.empty(FREED_BYTES, np.uint8)


class Shared:
    """What designs have in common. inner, outer: least and largest radius of copper [m] that field tables serve; by
    default each serves its own annulus, which is less work where the outlines of the magnets are never the same.
    """

    def __init__(self, inner: float | None = None, outer: float | None = None) -> None:
        keep_freed_memory()
        self._span = inner, outer
        self._windings: Recent[Hashable, Winding] = Recent(KEPT)
        self._rotors: Recent[Hashable, SaturatedIron] = Recent(TABLE_BYTES, lambda made: made.source.vectors.nbytes)
        self._fields: Recent[Hashable, RingField] = Recent(TABLE_BYTES, lambda made: made.values.nbytes)
        self._forces: Recent[Hashable, MechanicalResult] = Recent(KEPT)

    def winding(self, design: Design) -> Winding:
        """The winding of a settled design."""
        asked = design.winding
        turns = asked.turns if asked.kind == "wave" else None
        key = asked.kind, asked.phases, asked.coils, turns, design.rotor.poles, asked.parallel_paths
        return self._windings.get(key, lambda: lay_winding(design))

    def rotor(self, design: Design) -> SaturatedIron:
        """The magnets and the steel behind them, for copper at the depths of this design."""
        span = self._radii(design)
        return self._rotors.get(self._key(design), lambda: rotor_iron(design, rotor_source(design, span=span)))

    def _key(self, design: Design) -> Hashable:
        """All that a rotor's field at the copper depends on."""
        layers = magnet_layers(design)
        depths = tuple(copper_distances(design, layers).tolist())
        steel = steel_ring(design, magnet_footprint(design)) if layers.back_iron or layers.plate_thickness else None
        return design.rotor.magnet, design.rotor.poles, layers, steel, depths, self._radii(design)

    def field(self, design: Design, every_order: bool) -> RingField:
        """The rotor's field at every copper layer, the fundamental or every order of it."""

        def made() -> RingField:
            orders, span = ORDERS if every_order else ORDERS[:1], self._radii(design)
            return rotor_field(design, self.rotor(design), orders=orders, span=span)

        return self._fields.get((self._key(design), every_order), made)

    def _radii(self, design: Design) -> tuple[float, float]:
        """What the table of a design serves: span and design decide, in steps, so that many designs share it."""
        board = design.board
        margin = LEAST_MARGIN
        while margin < max(board.track_width, board.interconnect_width):
            margin *= 2
        inner, outer = board.copper_inner_diameter / 2, board.copper_outer_diameter / 2
        inner = inner if self._span[0] is None else min(inner, self._span[0])
        outer = outer if self._span[1] is None else max(outer, self._span[1])
        return max(inner - margin, inner / 2), outer + margin

    def mechanics(self, design: Design) -> MechanicalResult:
        """Forces and masses of the rotor.

        Their steel is that of the design's own annulus: how much flux the steel carries, unlike the field at the
        copper, depends a little on how far out it is looked for (0.1 % for few poles).
        """

        def made() -> MechanicalResult:
            return mechanical_results(design, magnet_footprint(design), rotor_iron(design))

        speeds = design.operation.speeds if design.operation else ()
        return self._forces.get((design.rotor, self._key(design), copper_span(design), tuple(speeds)), made)


@dataclass(eq=False)
class Work:
    """A design on its way through the stages: results by dotted key, as far as it came; refusal: why no further."""

    design: Design
    results: dict[str, float] = field(default_factory=dict)
    refusal: PcbstatorError | None = None
    winding: Winding | None = None
    conductors: Conductors | None = None  # at 20 C
    field: RingField | None = None
    torque_constant: float | None = None
    linkages: ComplexArray | None = None  # of the phases, as many orders as the field has [Wb]
    inductances: dict[str, Any] | None = None


def start_work(design: Design) -> Work:
    """A design before its first stage."""
    return Work(design)


def run_stage(stage: str, works: Sequence[Work], shared: Shared, wanted: frozenset[str] = frozenset()) -> None:
    """Carries designs through a stage, those that were refused left out; the stages before it must have been run.

    wanted: dotted keys that must be there afterwards, as far as they apply; what costs much is found only then
    (ripple and distortion, forces of the rotor). A design that cannot be laid is refused with its DesignError, one that
    is outside the range of a law with its LawRangeError.
    """
    works = [work for work in works if work.refusal is None]
    with collector_at_rest():
        if stage == "magnetics":
            _magnetics(works, shared, wanted)
        elif stage == "heat":
            _heat(works)
        else:
            run = {"copper": _copper, "inductance": _inductance}[stage]
            for work in works:
                try:
                    run(work, shared)
                except PcbstatorError as reason:
                    work.refusal = reason


@contextmanager
def collector_at_rest() -> Iterator[None]:
    """Keeps the collector of cyclic garbage from looking through everything that was imported, which takes a tenth of
    the time of many small designs; it gets its turn afterwards.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def _give(work: Work, stage: str, values: Mapping[str, Mapping[str, Any]]) -> None:
    """Adds the fields of the groups of a stage to the results."""
    for group, record, names in FIELDS[stage]:
        given = values.get(group, {})
        work.results |= numbers(group, record, {name: given[name] for name in names if name in given})


def _copper(work: Work, shared: Shared) -> None:
    design = work.design = settled_design(work.design)
    winding = work.winding = shared.winding(design)
    copper = lay_copper(design, winding, quick_plan(design, winding))
    conductors = work.conductors = conductors_of(design, copper)
    _give(work, "copper", {
        "winding": winding_figures(design, winding, copper),
        "copper": copper_figures(design, copper, conductors, layer_areas(copper.board)),
        "electrical": resistance_figures(design, conductors),
    })  # fmt: skip


def _laid(work: Work) -> tuple[Winding, Conductors]:
    """What the copper stage laid."""
    if work.winding is None or work.conductors is None:
        raise ValueError("the copper stage must be run before this one")
    return work.winding, work.conductors


def _magnetics(works: Sequence[Work], shared: Shared, wanted: frozenset[str]) -> None:
    """Field and linkage of several designs; what their fields have in common decides how many go together."""
    waves = not wanted.isdisjoint(WAVE_KEYS)
    ready: list[tuple[Work, RingField]] = []
    for work in works:
        try:
            work.field = shared.field(work.design, every_order=waves or eddy_speed(work.design) > 0)
            ready.append((work, work.field))
        except PcbstatorError as reason:
            work.refusal = reason
    ready.sort(key=lambda pair: (pair[1].pole_pairs, pair[1].inner, pair[1].outer, pair[1].values.shape))
    found = all_path_linkages([(_laid(work)[1].copper, served) for work, served in ready])
    for (work, served), paths in zip(ready, found, strict=True):
        try:
            if isinstance(paths, LawRangeError):
                raise paths
            work.linkages = phase_linkages(_laid(work)[1], paths)
            _give(work, "magnetics", _magnetic_figures(work, served, work.linkages, shared, wanted))
        except PcbstatorError as reason:
            work.refusal = reason


def _magnetic_figures(
    work: Work, field: RingField, linkages: ComplexArray, shared: Shared, wanted: frozenset[str]
) -> dict[str, Mapping[str, Any]]:
    """What is wanted of the sections ``magnetic`` and ``mechanical``."""
    (winding, conductors), design = _laid(work), work.design
    turns = turns_in_series(design, winding, conductors.copper)
    found = constants(design, field, linkages, turns, conductors.phase_resistance)
    work.torque_constant = found["torque_constant"]
    values: dict[str, Mapping[str, Any]] = {"magnetic": found}
    if not wanted.isdisjoint(WAVE_KEYS):
        values["magnetic"] = found | wave_figures(design, field, linkages)
    if any(key.startswith("mechanical.") for key in wanted):
        values["mechanical"] = vars(shared.mechanics(design))
    return values


def _inductance(work: Work, shared: Shared) -> None:
    _give(work, "inductance", {"electrical": _inductances(work)})


def _inductances(work: Work) -> dict[str, Any]:
    """What the inductance stage gives; the heat of a turning delta needs it before."""
    if work.inductances is None:
        work.inductances = inductance_figures(work.design, _laid(work)[1].copper)
    return work.inductances


def _loop(work: Work) -> DeltaLoop | None:
    """The loop of a delta that turns, at 20 C."""
    if work.design.winding.connection != "delta" or eddy_speed(work.design) <= 0:
        return None
    if work.field is None or work.linkages is None:
        raise ValueError("the magnetics stage must be run before the heat stage: it finds what drives the loop")
    matrix, resistance = _inductances(work)["inductance_matrix"], _laid(work)[1].zero_sequence_resistance
    return delta_loop("delta", work.linkages, work.field.orders, work.field.pole_pairs, matrix, resistance)


def _heat(works: Sequence[Work]) -> None:
    """The steady figures of several designs, whose heat balances are solved together."""
    ready: list[tuple[Work, SteadyWork]] = []
    if any(work.field is None for work in works):
        raise ValueError("the magnetics stage must be run before the heat stage: eddies are part of the heat")
    cases = [source_case(work.design, _laid(work)[1], work.field, loop=_loop(work)) for work in works]
    asked = [TraceCase(case.design, case.conductors, cooling_of(case.design).trace_rise) for case in cases]
    given = zip(works, cases, ring_sources(cases), many_trace_currents(asked), strict=True)
    for work, case, sources, traces in given:
        try:
            if isinstance(sources, LawRangeError):
                raise sources
            heat = heat_of_sources(case, sources, steady=True)
        except PcbstatorError as reason:
            work.refusal = reason
            continue
        ready.append((work, SteadyWork(case.design, heat, traces, len(case.copper.phases), work.torque_constant)))
    for (work, _), found in zip(ready, steady_results([steady for _, steady in ready]), strict=True):
        if found.out_of_range:
            work.refusal = LawRangeError(found.out_of_range)
        else:
            _give(work, "heat", {"thermal": vars(found)})
