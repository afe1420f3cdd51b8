"""The field of a ring of magnets at any place outside magnets and steel: in the bore, beyond the edges, beside, behind.

Magnetic charges stand for the magnets (sigma = M·n on their faces) and for plates of steel (``charged_sheets``), which
end where they do. Places are those of the rotor at rest, its magnet 0 on +x, pointing down; z counts from the magnets'
face, away from the board.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import pi

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.magnet_pattern import Footprint, sheet_charge_harmonics
from pcbstator.physics.stray.charged_sheets import SteelRing, plate_charges
from pcbstator.physics.stray.magnet_charges import Charges, magnet_charges

FloatArray = NDArray[np.float64]

Law = Callable[[FloatArray, Charges], FloatArray]

FINEST = 0.2e-3  # m, of the pieces of a face
PAIRS = 2_000_000  # of places and charges looked at together
TOUCHES = 1e-9  # m


@dataclass(frozen=True, eq=False)
class StrayField:
    """A ring of magnets with its steel, ready to be asked for its field.

    mirror: z of a plane of zero potential below, None without one [m]. sheets: the charge that the steel carries.
    """

    footprint: Footprint
    poles: int
    thickness: float
    remanence: float
    plates: tuple[SteelRing, ...]
    mirror: float | None
    sheets: Charges | None = None

    def at(self, places: FloatArray) -> FloatArray:
        """Flux density (…, 3) [T] along x, y and z at places (…, 3) [m]; within magnets or steel: LawRangeError."""
        flat = np.asarray(places, float).reshape(-1, 3)
        self._require_outside(flat)
        return self._summed(flat, _field, (-1.0, -1.0, 1.0)).reshape(np.shape(places))

    @property
    def scale(self) -> float:
        """Least distance [m] of steel from the charges of the magnets."""
        before = [-plate.upper for plate in self.plates if plate.upper < 0.0]
        return min(self.thickness, *before) if before else self.thickness

    def potential(self, places: FloatArray) -> FloatArray:
        """mu_0 times the magnetic potential (P,) [T·m] of the magnets alone at places (P, 3) on the steel [m]."""
        alone = replace(self, sheets=None)
        return alone._summed(np.asarray(places, float), _potential, (-1.0,), self.scale / 2.0)[:, 0]

    def lying(self, radii: FloatArray, orders: NDArray[np.integer]) -> FloatArray:
        """Density (n, R) [T] of the magnets' charge that lies on the lower face of the first plate, by orders."""
        ends, found = self.footprint.breakpoints, np.zeros((len(orders), len(radii)))
        within = (radii > ends[0]) & (radii < ends[-1])
        if abs(self.plates[0].lower - self.thickness) < TOUCHES and within.any():
            pattern = sheet_charge_harmonics(self.footprint, self.poles // 2, radii[within], orders)
            found[:, within] = -self.remanence * pattern
        return found

    def _summed(self, places: FloatArray, law: Law, image: tuple[float, ...], cell: float | None = None) -> FloatArray:
        """Sum of a law over all charges, with what a mirror shows of them; cell: of the faces [m]."""
        total = self._direct(places, law, cell)
        if self.mirror is None:
            return total
        mirrored = places * (1.0, 1.0, -1.0) + (0.0, 0.0, 2.0 * self.mirror)
        return np.asarray(total + np.array(image) * self._direct(mirrored, law, cell))

    def _direct(self, places: FloatArray, law: Law, cell: float | None) -> FloatArray:
        """Every magnet as finely as the nearest place needs it, or in pieces of ``cell`` [m]; and the steel."""
        total: FloatArray = np.zeros((len(places), 3 if law is _field else 1))
        segments = self.footprint.segments_per_pole
        count = self.poles * segments
        behind = (plate for plate in self.plates if abs(plate.lower - self.thickness) < TOUCHES)
        covered = tuple((plate.inner, plate.outer) for plate in behind)
        made: dict[tuple[int, int], Charges] = {}
        for number in range(count):
            turn = 2.0 * pi * number / count
            finer = int(np.log2(max((cell or self._nearest(places, turn)) / FINEST, 1.0)))
            key = (number % (2 * segments), finer)
            if key not in made:
                tilt, size = pi * key[0] / segments, cell or FINEST * 2.0**finer
                made[key] = magnet_charges(self.footprint, self.thickness, self.remanence, size, tilt, covered)
            total += _in_parts(places, made[key].turned(turn), law)
        return total if self.sheets is None else total + _in_parts(places, self.sheets, law)

    def _nearest(self, places: FloatArray, turn: float) -> float:
        """Least distance [m] of any place from the box that holds the magnet there, its corners rounded."""
        ends = self.footprint.breakpoints
        half = float(self.footprint.upper(np.linspace(ends[0], ends[-1], 33)).max())
        radius = np.hypot(places[:, 0], places[:, 1])
        angle = np.angle((places[:, 0] + 1j * places[:, 1]) * np.exp(-1j * turn))
        apart = np.maximum(np.abs(angle) - half, 0.0)
        within = np.clip(radius * np.cos(np.minimum(apart, pi / 2)), ends[0], ends[-1])
        flat = np.abs(radius * np.exp(1j * apart) - within)
        above = np.maximum(np.maximum(places[:, 2] - self.thickness, -places[:, 2]), 0.0)
        return float(np.hypot(flat, above).min())

    def _require_outside(self, places: FloatArray) -> None:
        """Raise LawRangeError for places in the ring of magnets, in steel, or behind a mirror."""
        radius, z, ends = np.hypot(places[:, 0], places[:, 1]), places[:, 2], self.footprint.breakpoints
        solid = [SteelRing(float(ends[0]), float(ends[-1]), 0.0, self.thickness), *self.plates]
        for body in solid:
            inside = (radius > body.inner) & (radius < body.outer) & (z > body.lower) & (z < body.upper)
            if inside.any():
                raise LawRangeError("the stray field is known outside magnets and steel only, not within them")
        if self.mirror is not None and float(z.min(initial=self.mirror)) < self.mirror - TOUCHES:
            raise LawRangeError("behind the mid-plane of two rotors, the stray field is that of its mirrored place")


def stray_field(
    footprint: Footprint,
    pole_pairs: int,
    thickness: float,
    remanence: float,
    plates: tuple[SteelRing, ...] = (),
    mirror: float | None = None,
) -> StrayField:
    """The field of a ring of magnets with the steel around it, anywhere outside them.

    footprint: of one magnet, or of one segment of a Halbach ring [m, rad]. pole_pairs: p, 1 or more [-]. thickness: of
    the magnets [m]. remanence: [T]. plates: steel, that behind the magnets first, as wide as it is, of one permeability
    each [m, -]. mirror: z of the mid-plane of two rotors whose facing magnets attract, below 0, or None [m].
    Returns a StrayField [T].
    Range: magnets as 0.2 mm pieces at the finest, so to 0.1 % from 0.3 mm off a magnet's face. Recoil permeability is
    taken as 1; the remanence may be less for it. Plates have their faces as sheets: to 1 % from half a magnet's
    thickness away. Outside the range: LawRangeError.
    Derived here (magnetic charges; plates by collocation).

    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> ring = stray_field(sector_footprint(0.020, 0.035, 0.8 * pi / 12), 6, 0.003, 1.3)
    >>> (1e3 * ring.at(np.array([0.038, 0.0, 0.001]))[[0, 2]]).round(1).tolist()  # mT, 3 mm beyond the outer edge
    [22.1, 89.8]
    """
    if pole_pairs < 1 or not thickness > 0.0:
        raise LawRangeError(f"a ring needs a pole pair and thickness above 0, got {pole_pairs!r}, {thickness!r} m")
    if mirror is not None and mirror >= 0.0:
        raise LawRangeError(f"the mid-plane of two rotors lies before the magnets, below 0, got {mirror:g} m")
    field = StrayField(footprint, 2 * pole_pairs, thickness, remanence, plates, mirror)
    if not plates:
        return field
    steel = plate_charges(plates, pole_pairs, field.potential, field.lying, field.scale, mirror)
    return replace(field, sheets=steel)


def _in_parts(places: FloatArray, charges: Charges, law: Law) -> FloatArray:
    """A law over places (P, 3), few enough at once for the memory."""
    step = max(1, PAIRS // max(len(charges.amount), 1))
    return np.concatenate([law(places[row : row + step], charges) for row in range(0, len(places), step)])


def _field(places: FloatArray, charges: Charges) -> FloatArray:
    """Σ q·d/(4·pi·d³): (P, 3) [T]."""
    square = _squares(places, charges)
    weight = charges.amount / (4.0 * pi * square * np.sqrt(square))
    return np.asarray(places * weight.sum(axis=1)[:, None] - weight @ charges.places)


def _potential(places: FloatArray, charges: Charges) -> FloatArray:
    """Σ q/(4·pi·d): (P, 1) [T·m]."""
    return np.asarray((1.0 / (4.0 * pi * np.sqrt(_squares(places, charges)))) @ charges.amount)[:, None]


def _squares(places: FloatArray, charges: Charges) -> FloatArray:
    """Distances squared (P, C) [m²] by products of matrices; rounding is 1e-14 of those from the axis."""
    own, others = (np.einsum("pi,pi->p", part, part) for part in (places, charges.places))
    return np.asarray(np.maximum(own[:, None] + others - 2.0 * places @ charges.places.T, 1e-16))
