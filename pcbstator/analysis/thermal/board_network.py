"""The heat balance of a design as a network: rings of the board, and the plates that face them.

Where the file leaves something open, what takes less heat is assumed; ``assumptions`` says what.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator import materials
from pcbstator.analysis.electrical.conductors import Conductors
from pcbstator.analysis.electrical.delta_loop import warm_loop
from pcbstator.analysis.magnetic.losses import steel_plate_loss
from pcbstator.analysis.thermal.cooling import cooling_of, eddy_speed, heat_limits, weakest_of_rotor
from pcbstator.analysis.thermal.driver_node import DriverNode, with_driver
from pcbstator.analysis.thermal.face_cooling import KNOTS, TABLE_END_C, face_flux
from pcbstator.analysis.thermal.facing_plates import FacingPlate, facing_plates, plate_gap
from pcbstator.analysis.thermal.ring_sources import RingSources, SourceCase, ring_sources
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.delta_loop import DeltaLoop, loop_loss
from pcbstator.physics.magnetics.magnet_ring import RingField
from pcbstator.physics.thermal.convection import air_conductivity
from pcbstator.physics.thermal.network import HeatNetwork
from pcbstator.physics.thermal.plate import buried_layer_rise, fin_efficiency, ring_areas, ring_conductances

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

RINGS = 24  # docs/accuracy.md: 0.1 % of the continuous current


@dataclass(frozen=True, eq=False)
class BoardHeat:
    """The network of a design with what its nodes are.

    board: indices of the rings; magnets: indices of the plates that carry magnets; open_face: whether the far face is
    in air; face_resistance: from copper to face [K m2/W]; speed: of the eddies [rad/s]; magnet_limit_c: the least limit
    of magnets, glue and plate, in words rotor_limit; driver: None where it is not inside the ring.
    """

    network: HeatNetwork
    sources: RingSources
    board: NDArray[np.int64]
    magnets: NDArray[np.int64]
    open_face: bool
    face_resistance: float
    speed: float
    board_limit_c: float
    magnet_limit_c: float
    rotor_limit: str
    driver: DriverNode | None = None

    @property
    def winding_alone(self) -> HeatNetwork:
        """The network at rest, fed by something else than its driver."""
        resistance = self.network.resistance.copy()
        if self.driver is not None:
            resistance[self.driver.index] = 0.0
        return replace(self.network, resistance=resistance, eddy=np.zeros_like(self.network.eddy), given=None)


def source_case(
    design: SizedDesign,
    conductors: Conductors,
    field: RingField | None = None,
    rings: int = RINGS,
    loop: DeltaLoop | None = None,
) -> SourceCase:
    """The rings of a design's board and what heats them; conductors and the loop of a delta: at 20 C."""
    speed = eddy_speed(design)
    edges = np.linspace(design.board.inner_diameter / 2, design.board.outer_diameter / 2, rings + 1)
    return SourceCase(design, conductors, edges, field if speed > 0 else None, speed, loop)


def board_heat(
    design: SizedDesign,
    conductors: Conductors,
    field: RingField | None = None,
    rings: int = RINGS,
    loop: DeltaLoop | None = None,
) -> BoardHeat:
    """The network of a design; conductors and the loop of a delta: at 20 C."""
    case = source_case(design, conductors, field, rings, loop)
    sources = ring_sources([case])[0]
    if isinstance(sources, LawRangeError):
        raise sources
    return heat_of_sources(case, sources)


def heat_of_sources(case: SourceCase, sources: RingSources, steady: bool = False) -> BoardHeat:
    """The network of a design whose sources are known; ``steady``: without what pulses need, heat capacities and the
    resistance from copper to node."""
    design, edges, speed = case.design, case.edges, case.speed
    board, cooling, laminate = design.board, cooling_of(design), materials.laminate()
    rings, limits = len(edges) - 1, heat_limits(design)
    plates = facing_plates(design)
    n = rings + len(plates)
    area = ring_areas(edges)
    sheet = laminate.conductivity_in_plane * board.thickness * design.boards
    # Between boards there is still air; pins and radiation across it are left out, on the safe side.
    spaces = (design.boards - 1) * (design.board_pitch - board.thickness) / float(air_conductivity(cooling.ambient_c))
    whole = design.boards * board.thickness / laminate.conductivity_through + spaces
    through = whole / 2
    faces = _face_tables(design, plates, through)
    helping = area * _helping_part(design, sources, sheet, faces[0], limits[0])

    conduction, nodes = _along_board(ring_conductances(edges, sheet + sources.along), n), np.arange(rings)
    face_area = np.zeros((n, 2 + len(plates)))
    open_face = len(plates) == 1 and cooling.far_face == "open"
    if open_face:
        face_area[:rings, 0] = helping
    gaps = []
    for index, plate in enumerate(plates):
        gap, bare = plate_gap(plate, rings + index, edges, helping, through)
        gaps += [gap] if gap is not None else []
        if cooling.beyond_rotor == "open" and plate.turns:
            face_area[:rings, 1] += bare if index == 0 else 0.0
        if plate.outside == "open":
            face_area[rings + index, 2 + index] = plate.area
    _add_mount(design, conduction, rings, area, through, len(plates))

    resistance, eddy, capacity, copper_to_node = np.zeros((4, n))
    resistance[:rings], eddy[:rings] = sources.resistance, sources.eddy * speed**2 + _loop_heat(case, sources)
    if case.field is not None and len(plates) == 2 and not plates[1].turns:
        eddy[rings + 1] = sum(steel_plate_loss(design, case.field, speed))
    if not steady:
        capacity[:rings], copper_to_node[:rings] = _stored(case, sources, area * sources.covered, whole)
        capacity[rings:] = [plate.capacity for plate in plates]
    network = HeatNetwork(
        ambient_c=cooling.ambient_c,
        conduction=conduction,
        resistance=resistance,
        eddy=eddy,
        capacity=capacity,
        copper_to_node=copper_to_node,
        face_area=face_area,
        face_flux=np.array(faces),
        knot_step=(TABLE_END_C - cooling.ambient_c) / (KNOTS - 1),
        gaps=tuple(gaps),
    )
    network, driver = with_driver(design, network)
    carrying = [rings + index for index, plate in enumerate(plates) if plate.turns]
    return BoardHeat(
        network,
        sources,
        nodes,
        np.array(carrying),
        open_face,
        through,
        speed,
        *limits,
        weakest_of_rotor(design),
        driver,
    )


def _along_board(conductances: FloatArray, n: int) -> FloatArray:
    """Conduction (n, n) [W/K] of nodes of which the first are rings, with conductances from each to the next."""
    conduction, nodes = np.zeros((n, n)), np.arange(len(conductances) + 1)
    conduction[nodes[:-1], nodes[1:]] = conduction[nodes[1:], nodes[:-1]] = -conductances
    conduction[nodes[:-1], nodes[:-1]] += conductances
    conduction[nodes[1:], nodes[1:]] += conductances
    return conduction


def _loop_heat(case: SourceCase, sources: RingSources) -> FloatArray:
    """Heat [W] of the current around a delta in every ring, at 20 C as the network counts it: as that of eddies, which
    falls as the resistance grows. Inductance limits the current as well, so it is made right at the board's limit.
    """
    if case.loop is None or case.speed <= 0:
        return np.zeros_like(sources.resistance)
    warm = warm_loop(case.loop, heat_limits(case.design)[0])
    heat = float(loop_loss(warm, case.speed)) * warm.resistance / case.loop.resistance
    return np.asarray(heat * sources.resistance / sources.resistance.sum())


def _stored(case: SourceCase, sources: RingSources, area: FloatArray, whole: float) -> tuple[FloatArray, FloatArray]:
    """Heat capacity [J/K] of every ring, and thermal resistance from its copper to its node [K/W]; area: of each that
    tracks cover [m2]; whole: resistance through all boards [K m2/W].
    """
    design, laminate, heats = case.design, materials.laminate(), materials.heat_values()
    solid = design.boards * design.board.thickness
    volume = area * max(solid - sum(layer.thickness for layer in case.copper.layers), 0.3 * solid)
    capacity = volume * laminate.density * heats.laminate_capacity
    capacity = capacity + sources.copper * materials.copper().density * heats.copper_capacity
    depths, thickness = -np.array(design.layer_z), design.stator_thickness
    buried = buried_layer_rise(sources.layer_share, depths, thickness, thickness / whole)
    return capacity, buried / area


def _helping_part(
    design: SizedDesign, sources: RingSources, sheet: float, open_flux: FloatArray, limit_c: float
) -> FloatArray:
    """Part of each ring's faces that gives off heat: where copper heats it, and bare laminate as a fin."""
    cooling, middle = cooling_of(design), (sources.edges[1:] + sources.edges[:-1]) / 2
    rise = limit_c - cooling.ambient_c
    step = (TABLE_END_C - cooling.ambient_c) / (KNOTS - 1)
    outward = float(np.interp(rise, step * np.arange(KNOTS), open_flux)) / rise
    both = outward + float(air_conductivity(limit_c)) / design.rotor.air_gap
    winding = design.winding
    strips = winding.coils if winding.kind == "spiral" and winding.coils else design.rotor.poles * winding.phases
    bare = (1 - sources.covered) * 2 * pi * middle / strips
    return np.asarray(sources.covered + (1 - sources.covered) * fin_efficiency(bare / 2, sheet, both))


def _add_mount(
    design: SizedDesign, conduction: FloatArray, rings: int, area: FloatArray, through: float, plates: int
) -> None:
    """Adds the conductance to the mount: at an edge of the board, over the clamped face, or at the steel beyond the
    board.
    """
    cooling = cooling_of(design)
    whole = cooling.mount_conductance
    if whole <= 0:
        return
    nodes = np.arange(rings)
    if cooling.far_face == "clamped" and plates == 1:
        conduction[nodes, nodes] += 1 / (area.sum() / (whole * area) + through / area)
    elif cooling.far_face == "clamped":
        conduction[rings + 1, rings + 1] += whole
    else:
        edge = rings - 1 if cooling.mount_rim == "outer" else 0
        conduction[edge, edge] += whole


def _face_tables(design: SizedDesign, plates: list[FacingPlate], through: float) -> list[FloatArray]:
    """Flux [W/m2] over node temperature: board's far face, its near face, outer face of every plate."""
    board, cooling, mask = design.board, cooling_of(design), materials.laminate().mask_emissivity
    outer = board.outer_diameter / 2
    length = (outer**2 - (board.inner_diameter / 2) ** 2) / (2 * outer)  # area over the outer edge: the bore is closed
    sides = {"rotor-up": ("down", "up"), "rotor-down": ("up", "down"), "upright": ("side", "side")}[cooling.orientation]

    def face(looks: str, flat: float, outer: float, grey: float, behind: float, speed: float) -> FloatArray:
        size = 2 * outer if looks == "side" else flat
        return face_flux(cooling.ambient_c, cooling.airflow, looks, size, grey, behind, speed, outer)

    return [face(side, length, outer, mask, through, 0.0) for side in sides] + [
        face(plate.looks, plate.area / (2 * pi * plate.outer), plate.outer, plate.grey, plate.through, plate.speed)
        for plate in plates
    ]
