"""Steel screws in the board's holes as bodies in the rotor's field: cogging torque, and where it would be small."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.magnetic.rotor_field import magnet_footprint
from pcbstator.analysis.magnetic.stray import over_a_pole, rotor_solids, steel_rings
from pcbstator.constants import MU_0
from pcbstator.copper.geometry.board_shape import around
from pcbstator.design.sections.fasteners import BEYOND, NUT, Screw
from pcbstator.errors import LawRangeError
from pcbstator.materials import mild_steel
from pcbstator.physics.stray.steel_body import Cogging, SteelBody, cogging, joined_bodies, rod, steel_energy

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

SMALL = 1e-4  # of the magnets' edge radius, to which a distance that would do is found
FEWEST = 3  # screws that hold a board (common practice, no source)
FURTHEST = 2.0  # magnets' outer radii, beyond which no place for screws is sought


@dataclass(frozen=True)
class ScrewGroup:
    """Equal screws on a circle: table of the design file, radius [m], angles [rad], material, and their parts as
    diameter, lower and upper end [m]. reaches: what of the rotor a screw reaches into, empty where it is clear.
    reach: of the mounting tabs that they are in [m].
    """

    where: str
    radius: float
    angles: tuple[float, ...]
    material: str
    parts: tuple[tuple[float, float, float], ...]
    reaches: str = ""
    reach: float | None = None

    @property
    def cogs(self) -> bool:
        """Whether the magnets draw the screws, and these are clear of the rotor."""
        return self.material == "steel" and not self.reaches


class GroupCogging(NamedTuple):
    """Cogging torque of the screws of a group together and of one of them, and the field there [T]."""

    together: Cogging
    single: Cogging
    field: float


def screw_groups(design: SizedDesign) -> tuple[ScrewGroup, ...]:
    """All screws of which the design says what they are of."""
    board, groups = design.board, []
    for number, hole in enumerate(board.holes, start=1):
        if hole.material != "none":
            where, radius = f"board.holes[{number}]", hole.circle_diameter / 2
            groups.append(_group(design, where, radius, hole.first_angle, hole.count, hole, hole.diameter))
    for number, tab in enumerate(board.tabs, start=1):
        if tab.material != "none" and tab.hole > 0:
            radius = board.outer_diameter / 2 + tab.reach - tab.width / 2
            group = _group(design, f"board.tabs[{number}]", radius, tab.first_angle, tab.count, tab, tab.hole)
            groups.append(replace(group, reach=tab.reach))
    return tuple(groups)


def _group(
    design: SizedDesign, where: str, radius: float, first: float, count: int, screw: Screw, hole: float
) -> ScrewGroup:
    """One table's screws, as cylinders along the axis."""
    size, top, bottom = screw.screw(hole), 0.0, -design.stator_thickness
    face, sense = (top, -1.0) if screw.head_side == "rotor" else (bottom, 1.0)
    length = design.stator_thickness + BEYOND * size.thread if screw.stated_length is None else screw.stated_length
    parts = [_span(size.thread, face, face + sense * length)]
    if size.height > 0:
        parts.append(_span(size.head, face, face - sense * size.height))
    if screw.nut:
        other = bottom if screw.head_side == "rotor" else top
        parts.append(_span(NUT[1] * size.thread, other, other + sense * NUT[0] * size.thread))
    kept = tuple(parts)
    return ScrewGroup(where, radius, tuple(around(first, count)), screw.material, kept, _reached(design, radius, kept))


def _span(diameter: float, one: float, other: float) -> tuple[float, float, float]:
    return diameter, min(one, other), max(one, other)


def _reached(design: SizedDesign, radius: float, parts: tuple[tuple[float, float, float], ...]) -> str:
    """What of a rotor the screw would hit, in words."""
    for name, (inner, outer, lower, upper) in rotor_solids(design).items():
        spans = [(lower, upper)]
        if design.rotor.arrangement == "double":
            spans.append((-design.stator_thickness - upper, -design.stator_thickness - lower))
        for diameter, low, high in parts:
            beside = radius + diameter / 2 > inner and radius - diameter / 2 < outer
            if beside and any(high > start and low < end for start, end in spans):
                return name
    return ""


def saturation() -> float:
    """Polarisation of saturated steel [T]: that of the last point of its curve."""
    curve = mild_steel()
    return curve.flux_density[-1] - MU_0 * curve.field_strength[-1]


def coggings(design: SizedDesign, groups: tuple[ScrewGroup, ...]) -> list[GroupCogging]:
    """Cogging of every group of steel screws that is clear of the rotor."""
    found = []
    for group in groups:
        if group.cogs:
            energies, largest = _energies(design, group.radius, _body(design, group))
            poles = design.rotor.poles
            together, single = (cogging(energies, poles, np.array(angles)) for angles in (group.angles, (0.0,)))
            found.append(GroupCogging(together, single, largest))
    return found


def _body(design: SizedDesign, group: ScrewGroup) -> SteelBody:
    """The screw as pieces; what lies within the steel beyond the board is part of that."""
    top = min(low for _, low, _ in group.parts)
    for ring in steel_rings(design):
        if ring.upper < 0 and ring.inner < group.radius < ring.outer:
            top = max(top, ring.upper + design.rotor.air_gap)
    spans = [(diameter, max(low, top), high) for diameter, low, high in group.parts]
    return joined_bodies(tuple(rod(*span) for span in spans if span[2] > span[1]))


def _energies(design: SizedDesign, radius: float, body: SteelBody) -> tuple[FloatArray, float]:
    """Energy [J] of one body on +x over a pole pitch of the rotor, and the largest field at it [T]."""
    field = over_a_pole(design, radius, body.heights)
    return steel_energy(field, body, saturation()), float(np.linalg.norm(field, axis=-1).max())


def quiet_count(design: SizedDesign, group: ScrewGroup, limit: float) -> int | None:
    """The number of even screws, nearest to what there is and three at least, whose cogging cancels to a limit, peak to
    peak [N m]; None where none does.
    """
    energies, _ = _energies(design, group.radius, _body(design, group))
    now, poles = len(group.angles), design.rotor.poles
    for count in sorted(range(max(FEWEST, now - 3), now + 4), key=lambda count: (abs(count - now), -count)):
        if cogging(energies, poles, np.array(around(0.0, count))).peak_to_peak <= limit:
            return count
    return None


def clear_circle(design: SizedDesign, group: ScrewGroup, limit: float) -> float | None:
    """Circle diameter [m], away from the magnets, on which the group's cogging keeps a limit, peak to peak [N m]; None
    where screws stand among the magnets, or no such circle is near.
    """
    ends = magnet_footprint(design).breakpoints
    inner, outer = float(ends[0]), float(ends[-1])
    if inner < group.radius < outer:
        return None
    angles, body, poles = np.array(group.angles), _body(design, group), design.rotor.poles

    def keeps(radius: float) -> bool:
        try:
            energies, _ = _energies(design, radius, body)
        except LawRangeError:
            return False
        return cogging(energies, poles, angles).peak_to_peak <= limit

    near, far = group.radius, FURTHEST * outer if group.radius >= outer else SMALL * inner
    if keeps(near) or not keeps(far):
        return None
    while abs(far - near) > 0.25e-3:
        middle = (near + far) / 2
        near, far = (near, middle) if keeps(middle) else (middle, far)
    return 2 * far
