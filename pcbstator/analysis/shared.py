"""What designs of one study have in common: windings, magnets with their steel, field tables, forces."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, Generic, TypeVar

from pcbstator.analysis.drive.load_cycle import Cycle, cycle_of
from pcbstator.analysis.electrical.inductance import iron_faces
from pcbstator.analysis.magnetic.rotor_field import (
    ORDERS,
    copper_distances,
    copper_span,
    magnet_footprint,
    magnet_layers,
    rotor_field,
    rotor_iron,
    rotor_source,
    steel_ring,
)
from pcbstator.analysis.mechanical.records import MechanicalResult
from pcbstator.analysis.mechanical.rotor import mechanical_results
from pcbstator.copper import Copper, size_design
from pcbstator.design import Design, SizedDesign
from pcbstator.physics.magnetics.magnet_ring import RingField
from pcbstator.physics.magnetics.steel import SaturatedIron
from pcbstator.winding import Winding, lay_winding

TABLE_BYTES = 64 << 20  # of field tables that are kept
KEPT = 256  # windings, and rotors with their steel and forces
LEAST_MARGIN = 1e-3  # m; of field tables beyond the copper's annulus

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")


class Recent(Generic[K, V]):
    """What was made last, as far as ``capacity`` goes; size: of each."""

    def __init__(self, capacity: float, size: Callable[[V], float] = lambda made: 1.0) -> None:
        self._capacity, self._size, self._taken = capacity, size, 0.0
        self._kept: OrderedDict[K, V] = OrderedDict()

    def get(self, key: K, make: Callable[[], V]) -> V:
        """What is kept under ``key``, made where it is not."""
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        made = self._kept[key] = make()
        self._taken += self._size(made)
        while self._taken > self._capacity and len(self._kept) > 1:
            self._taken -= self._size(self._kept.popitem(last=False)[1])
        return made


def board_key(design: Design) -> Hashable:
    """All that the copper of a design depends on."""
    return design.winding, design.board, design.stack, design.rotor.poles


class Shared:
    """What designs have in common. inner, outer: least and largest radius of copper [m] that field tables serve; by
    default each serves its own annulus, which is less work where the outlines of the magnets are never the same.
    alone: for one design by itself, whose tables serve its copper and no more. room: bytes of tables of each kind.
    """

    def __init__(
        self, inner: float | None = None, outer: float | None = None, alone: bool = False, room: int = TABLE_BYTES
    ) -> None:
        self._span, self._alone = (inner, outer), alone
        self._windings: Recent[Hashable, Winding] = Recent(KEPT)
        self._rotors: Recent[Hashable, SaturatedIron] = Recent(room, lambda made: made.source.vectors.nbytes)
        self._fields: Recent[Hashable, RingField] = Recent(room, lambda made: made.values.nbytes)
        self._forces: Recent[Hashable, MechanicalResult] = Recent(KEPT)
        self._fills: Recent[Hashable, dict[str, object]] = Recent(KEPT)
        self._copper: Recent[Hashable, Copper] = Recent(KEPT)
        self._inductances: Recent[Hashable, dict[str, Any]] = Recent(KEPT)
        self._cycles: Recent[Hashable, Cycle | None] = Recent(1)

    def winding(self, design: SizedDesign) -> Winding:
        """The winding of a settled design."""
        asked = design.winding
        turns = asked.turns if asked.kind == "wave" else None
        key = asked.kind, asked.phases, asked.coils, turns, design.rotor.poles, asked.parallel_paths
        return self._windings.get(key, lambda: lay_winding(design))

    def sized(self, design: Design) -> SizedDesign:
        """The design with numbers where it says "fill", solved for where no board like it was before."""
        turns = design.winding.turns == "fill"
        if not turns and design.board.stated_track_width != "fill":
            return size_design(design)

        anew: list[SizedDesign] = []

        def solved() -> dict[str, object]:
            anew.append(found := size_design(design))
            return {
                "winding.turns": found.winding.turns,
                "board.track_width_mm": round(1e3 * found.board.track_width, 6),
            }

        settings = self._fills.get(board_key(design), solved)
        if anew:
            return anew[0]
        key = "winding.turns" if turns else "board.track_width_mm"
        return SizedDesign.of(design.with_values({key: settings[key]}), design)

    def copper(self, design: SizedDesign, make: Callable[[], Copper]) -> Copper:
        """The copper of a settled design, made where no board like it was laid before."""
        return self._copper.get(board_key(design), make)

    def inductance(self, design: SizedDesign, make: Callable[[], dict[str, Any]]) -> dict[str, Any]:
        """The inductances of a settled design, made where no board like it was before the same iron."""
        return self._inductances.get((board_key(design), iron_faces(design)), make)

    def cycle(self, design: SizedDesign) -> Cycle | None:
        """The cycle that a design asks for."""
        return self._cycles.get((design.motion, design.recording), lambda: cycle_of(design))

    def rotor(self, design: SizedDesign) -> SaturatedIron:
        """The magnets and the steel behind them, for copper at the depths of this design."""
        span = self._radii(design)
        return self._rotors.get(self._rotor_key(design), lambda: rotor_iron(design, rotor_source(design, span=span)))

    def _rotor_key(self, design: SizedDesign) -> Hashable:
        """All that magnets and steel depend on; of the copper the nearest layer, which decides how fine modes are."""
        layers = magnet_layers(design)
        nearest = float(copper_distances(design, layers).min())
        steel = steel_ring(design, magnet_footprint(design)) if layers.back_iron or layers.plate_thickness else None
        return design.rotor.magnet, design.rotor.poles, layers, steel, nearest, self._radii(design)

    def _key(self, design: SizedDesign) -> Hashable:
        """All that a rotor's field at the copper depends on."""
        return self._rotor_key(design), tuple(copper_distances(design, magnet_layers(design)).tolist())

    def field(self, design: SizedDesign, every_order: bool) -> RingField:
        """The rotor's field at every copper layer, the fundamental or every order of it."""

        def made() -> RingField:
            orders, span = ORDERS if every_order else ORDERS[:1], self._radii(design)
            return rotor_field(design, self.rotor(design), orders=orders, span=span)

        return self._fields.get((self._key(design), every_order), made)

    def _radii(self, design: SizedDesign) -> tuple[float, float]:
        """What the table of a design serves: span and design decide, in steps, so that many designs share it."""
        if self._alone:
            return copper_span(design)
        board = design.board
        margin = LEAST_MARGIN
        while margin < max(board.track_width, board.interconnect_width):
            margin *= 2
        inner, outer = board.copper_inner_diameter / 2, board.copper_outer_diameter / 2
        inner = inner if self._span[0] is None else min(inner, self._span[0])
        outer = outer if self._span[1] is None else max(outer, self._span[1])
        return max(inner - margin, inner / 2), outer + margin

    def mechanics(self, design: SizedDesign) -> MechanicalResult:
        """Forces and masses of the rotor.

        Their steel is that of the design's own annulus: how much flux the steel carries, unlike the field at the
        copper, depends a little on how far out it is looked for (0.1 % for few poles).
        """

        def made() -> MechanicalResult:
            steel = self.rotor(design) if self._alone else rotor_iron(design)
            return mechanical_results(design, magnet_footprint(design), steel)

        speeds = design.operation.speeds if design.operation else ()
        # What carries the rotor, and what takes of its gap; as text, since some of its values are tables.
        board = design.board
        near = board.outer_diameter, board.layer_thicknesses[0], board.layer_thicknesses[-1], design.tolerance
        carried = repr((design.bearing, design.load, design.cooling, design.build, near))
        return self._forces.get(
            (design.rotor, self._rotor_key(design), copper_span(design), tuple(speeds), carried), made
        )
