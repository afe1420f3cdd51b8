"""A steel plate behind or before the magnets as it saturates: its own permeability at every place, and ends.

Between two faces with magnets, gap and air beside them, harmonic n of the plate's potential is U_n(r)·psi_n(z), psi =
cosh(k·depth from behind)/cosh(k·t) with k = n·p/r. With the charge that the plate puts onto its plane by carrying flux
away, c = dW/dU of its co-energy W, every mode of the ring has

    U = U0 − c/(k·(Y + 1)),   U0 = B_0/(k·(Y + 1)),

B_0: what would enter ideal iron, Y: the admittance of what the plate looks at, 1 that of the air behind. That is a
circuit of the plate in angle and radius tied to the field of the layers; outside the plate there is no c, so it ends.
Newton's rule solves it for the charges. Potentials are mu_0·phi [T·m], field strengths mu_0·H [T].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.materials import MagnetisationCurve
from pcbstator.physics.magnetics.radial_modes import RadialModes, element_rule
from pcbstator.physics.magnetics.ring_modes import RingSource

FloatArray = NDArray[np.float64]
Field = tuple[FloatArray, FloatArray, FloatArray]

STEEL_ORDERS = np.array([1, 3, 5])  # of the potential in the plate; 7 to 11 move the field by 0.3 % at most
ANGLES = np.linspace(0.0, np.pi / 2, 9)  # p·theta, from a pole's middle to midway between two
ANGLE_WEIGHTS = np.append(np.append(0.5, np.ones(7)), 0.5) / 8.0  # of their mean
DEPTHS = np.array([0.2113, 0.7887])  # Gauss points, in thicknesses from behind
ROUNDS = 60  # 5 to 15 do
CLOSE = 1e-5  # of the largest charge
FIRST = 300.0  # permeability to begin with
LEAST_STEP = 0.03
RIDGE = 1e-9  # for nodes that a high order does not reach


@dataclass(frozen=True, eq=False)
class Plate:
    """A steel plate: inner and outer radius, thickness [m], and its curve."""

    inner: float
    outer: float
    thickness: float
    curve: MagnetisationCurve


@dataclass(frozen=True, eq=False)
class PlateState:
    """The plate in its field.

    potential: mu_0·phi of the plane of its face, (n, N) modal amplitudes at all radii [T·m²]. permeability: one for all
    of it with the same ∫BH/∫H² [1]. mean: circumferential flux density midway between two poles, over the plate's
    section there, to 5 % [T]. wanted: what that would be in ideal steel [T].
    """

    potential: FloatArray
    permeability: float
    mean: float
    wanted: float


def relative_permeabilities(field: FloatArray, curve: MagnetisationCurve) -> tuple[FloatArray, FloatArray]:
    """B/(mu_0·H) and dB/(mu_0·dH) of steel.

    field: mu_0·H, any shape, 0 or more [T]. curve: of the steel [T, A/m]. Returns two of that shape [1].
    Range: beyond the table the slope is that of air. Derived here: straight lines between the points of the curve.

    >>> from pcbstator.materials import mild_steel
    >>> [round(float(mu)) for mu in relative_permeabilities(np.array(4e-7 * np.pi * 795.8), mild_steel())]
    [931, 426]
    """
    B, H = np.array(curve.flux_density), MU_0 * np.array(curve.field_strength)
    slopes = np.append(np.diff(B) / np.diff(H), 1.0)
    place = np.searchsorted(H, field, side="right") - 1
    slope = slopes[place]
    secant = (B[place] + slope * (field - H[place])) / np.maximum(field, 1e-30)
    return np.where(field > 1e-30, secant, slopes[0]), slope


class _Circuit:
    """The co-energy of a plate over the values U (n, J) at the nodes of the radial modes that lie on it."""

    def __init__(self, modes: RadialModes, plate: Plate, pole_pairs: int, orders: NDArray[np.integer]) -> None:
        ends = [int(np.argmin(np.abs(modes.boundaries - end))) for end in (plate.inner, plate.outer)]
        first, last = max(ends[0], 1), min(ends[1], len(modes.boundaries) - 2)
        if last <= first:
            raise LawRangeError(f"a steel plate needs a width, got {plate.inner:g} to {plate.outer:g} m")
        starts, half = modes.boundaries[first:last], np.diff(modes.boundaries[first : last + 1]) / 2
        x, w, slope = element_rule(modes.order)
        self.radii = starts[:, None] + half[:, None] * (x + 1.0)  # (E, q)
        self.nodes = slice(first * modes.order - 1, last * modes.order)
        self.slope = slope / half[:, None, None]  # (E, q, i)
        self.count, self.order = self.nodes.stop - self.nodes.start, modes.order
        k = orders * pole_pairs / self.radii[:, :, None]  # (E, q, n)
        t, depth = plate.thickness, plate.thickness * DEPTHS
        kz = np.multiply.outer(depth, k)
        fall = np.exp(kz - k * t) / (1.0 + np.exp(-2.0 * k * t))
        psi, rise = fall * (1.0 + np.exp(-2.0 * kz)), fall * (1.0 - np.exp(-2.0 * kz))  # (Z, E, q, n)
        self.back = self.at_nodes(1.0 / np.cosh(k * t))  # potential there over that of the face
        turns = np.multiply.outer(ANGLES, orders)
        sine, cosine = np.sin(turns)[:, None, None, None], np.cos(turns)[:, None, None, None]
        shape = -1, *self.radii.shape, len(orders)
        # per U: along the angle, along the axis; per dU/dr: along the radius. Points (A·Z, E, q), then n
        self.around = (sine * k * psi).reshape(shape)
        self.through = (cosine * k * rise).reshape(shape)
        self.outwards = (cosine * psi).reshape(shape)
        self.across = w * half[:, None]  # dr
        ring = self.across * self.radii
        self.weight = 2.0 * np.multiply.outer(np.repeat(ANGLE_WEIGHTS, len(DEPTHS)) * t / len(DEPTHS), ring)

    def local(self, values: FloatArray) -> FloatArray:
        """Values (n, J) by element: (E, q, n)."""
        index = np.arange(self.radii.shape[0])[:, None] * self.order + np.arange(self.order + 1)
        return np.asarray(values[:, index].transpose(1, 2, 0))

    def at_nodes(self, parts: FloatArray) -> FloatArray:
        """Values (E, q, n), the same in both elements of a node, as (n, J)."""
        return np.concatenate([parts[:, :-1].reshape(-1, parts.shape[2]), parts[-1:, -1]]).T

    def summed(self, parts: FloatArray) -> FloatArray:
        """Parts (E, q, n) of elements added up at the nodes: (n, J)."""
        total = np.zeros((parts.shape[2], self.count))
        for element, part in enumerate(parts):
            total[:, element * self.order : (element + 1) * self.order + 1] += part.T
        return total

    def field(self, values: FloatArray) -> Field:
        """mu_0·H along angle, axis and radius at all points (A·Z, E, q)."""
        U = self.local(values)
        steep = self.slope @ U
        return (self.around * U).sum(-1), (self.through * U).sum(-1), (self.outwards * steep).sum(-1)

    def charges(self, field: Field, mu: FloatArray) -> FloatArray:
        """dW/dU (n, J)."""
        flux = self.weight * mu
        local = sum(
            ((flux * part)[..., None] * shape).sum(0)
            for part, shape in zip(field[:2], (self.around, self.through), strict=True)
        )
        radial = ((flux * field[2])[..., None] * self.outwards).sum(0)
        return self.summed(np.asarray(local + self.slope.transpose(0, 2, 1) @ radial))

    def stiffness(self, field: Field, mu: FloatArray, slope: FloatArray) -> FloatArray:
        """d²W/dU² as a matrix (n·J, n·J)."""
        E, q, n = *self.radii.shape, self.around.shape[-1]
        shapes = (self.around, self.through, self.outwards)
        steep = self.weight * (slope - mu) / np.maximum(_size(field), 1e-30) ** 2
        ahead = [part[..., None] * shape for part, shape in zip(field, shapes, strict=True)]

        def product(one: FloatArray, weight: FloatArray, other: FloatArray) -> FloatArray:
            return (one * weight[..., None]).transpose(1, 2, 3, 0) @ other.transpose(1, 2, 0, 3)  # (E, q, n, n)

        isotropic = self.weight * mu
        flat = ahead[0] + ahead[1]
        here = product(self.around, isotropic, self.around) + product(self.through, isotropic, self.through)
        here += product(flat, steep, flat)
        mixed = product(flat, steep, ahead[2])
        radial = product(self.outwards, isotropic, self.outwards) + product(ahead[2], steep, ahead[2])
        D = self.slope  # (E, q, i)
        local = np.einsum("eqi,eqmn,eqj->eminj", D, radial, D, optimize=True)
        cross = np.einsum("eqmn,eqj->emqnj", mixed, D)
        local += cross + cross.transpose(0, 3, 4, 1, 2)
        each = np.arange(q)
        local[:, :, each, :, each] += here.transpose(1, 0, 2, 3)
        total = np.zeros((n, self.count, n, self.count))
        for element in range(E):
            span = slice(element * self.order, (element + 1) * self.order + 1)
            total[:, span, :, span] += local[element]
        return total.reshape(n * self.count, n * self.count)


def plate_state(
    source: RingSource, plate: Plate, entering: FloatArray, admittance: FloatArray, higher: float = 0.0
) -> PlateState:
    """The potential of a steel plate and the flux in it.

    source: the ring in radial modes, of the orders STEEL_ORDERS, with an element boundary at both ends of the plate
    [m]. plate: [m]. entering: (n, N) modal amplitudes of what would enter it were it ideal and endless [T·m].
    admittance: (n, N) of what it looks at, 1 for air [-]. higher: flux of half a pole in orders above those [Wb].
    Returns a PlateState [T, m]. A plate without width: LawRangeError. Range: air behind. Derived here.

    >>> from pcbstator.materials import mild_steel
    >>> from pcbstator.physics.magnetics.field_layers import MagnetLayers, back_response
    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> from pcbstator.physics.magnetics.ring_modes import ring_source
    >>> ring, place = sector_footprint(0.020, 0.040, 0.2 * np.pi), np.array([0.03])  # a magnet in the open, 4 poles
    >>> source = ring_source(ring, 2, place, np.array([0.001]), STEEL_ORDERS)
    >>> law = back_response(source.wave_numbers, MagnetLayers(0.004, 1.3, back_iron=0.002))
    >>> state = plate_state(source, Plate(0.020, 0.040, 0.002, mild_steel()), 1.3 * source.combined(*law), 1.0)
    >>> round(state.mean, 2), round(state.wanted, 2)
    (2.2, 4.26)
    """
    circuit = _Circuit(source.modes, plate, source.pole_pairs, STEEL_ORDERS)
    tied = _tied(circuit, source, plate.thickness, entering, admittance)
    charges = _charges(circuit, tied, plate.curve)
    values = tied.values(charges)
    field = circuit.field(values)
    size = _size(field)
    mu = relative_permeabilities(size, plate.curve)[0]
    weight = circuit.weight * size**2
    strength, there = (
        float((part[-len(DEPTHS) :].mean(axis=0) * circuit.across).sum()) for part in (field[0], mu * field[0])
    )
    section = plate.thickness * float(circuit.across.sum())
    ideal = np.linalg.solve(tied.green, tied.free[..., None])[..., 0].sum(axis=1)  # all charges at no potential
    signs = np.where(STEEL_ORDERS % 4 == 1, 1.0, -1.0) / (STEEL_ORDERS * source.pole_pairs)
    # what enters is too much where steel flattens it, what the steel carries midway too little where it crowds
    entered = float(signs @ charges.sum(axis=1)) + higher + plate.thickness * strength
    return PlateState(
        potential=tied.potential(values),
        permeability=float((weight * mu).sum() / weight.sum()),
        mean=(plate.thickness * abs(there) + abs(entered)) / (2.0 * section),
        wanted=abs(float(signs @ ideal) + higher) / section,
    )


@dataclass(frozen=True, eq=False)
class _Tied:
    """The field around the plate as the plate's values see it: U = free − green·c, (n, J) and (n, J, J).

    Charges lie on both faces of the plate, as far as the potential behind is that of the face times a factor: split is
    what of them lies where, (n, 2J) without a potential and (n, 2J, J) per potential. to_face: the modal potential of
    the face, (n, 2J, N), from the charges of both; alone: without any (n, N).
    """

    free: FloatArray
    green: FloatArray
    split: tuple[FloatArray, FloatArray]
    to_face: FloatArray
    alone: FloatArray

    def values(self, charges: FloatArray) -> FloatArray:
        """U (n, J)."""
        return np.asarray(self.free - (self.green @ charges[..., None])[..., 0])

    def potential(self, values: FloatArray) -> FloatArray:
        """Of the plane of the face in radial modes (n, N)."""
        charges = self.split[0] - (self.split[1] @ values[..., None])[..., 0]
        return np.asarray(self.alone - (charges[:, None] @ self.to_face)[:, 0])


def _tied(
    circuit: _Circuit, source: RingSource, thickness: float, entering: FloatArray, admittance: FloatArray
) -> _Tied:
    """The plate replaced by air: what its two planes have of potential by themselves, and per charge on either."""
    k, J = source.wave_numbers, circuit.count
    modes = (source.vectors / source.modes.root_mass[:, None])[:, circuit.nodes]  # (n, J, N)
    gain, fall = 1.0 / (k * (admittance + 1.0)), np.exp(-k * thickness)
    behind = (1.0 + (1.0 - admittance) / (1.0 + admittance) * fall**2) / (2.0 * k)
    face, across, back = ((modes * each[:, None]) @ modes.transpose(0, 2, 1) for each in (gain, gain * fall, behind))
    both = np.concatenate([np.concatenate([face, across], axis=2), np.concatenate([across, back], axis=2)], axis=1)
    both[:, np.arange(2 * J), np.arange(2 * J)] += RIDGE * both.max(axis=(1, 2))[:, None]
    one = np.eye(J)
    planes = np.concatenate([np.broadcast_to(one, (len(k), J, J)), circuit.back[:, :, None] * one], axis=1)
    alone = entering * gain
    free = np.concatenate([(modes @ each[..., None])[..., 0] for each in (alone, alone * fall)], axis=1)
    solved = np.linalg.solve(both, np.concatenate([planes, free[..., None]], axis=2))
    split = solved[..., J], solved[..., :J]
    green = np.linalg.inv(planes.transpose(0, 2, 1) @ split[1])
    green = (green + green.transpose(0, 2, 1)) / 2.0
    of_planes = (planes.transpose(0, 2, 1) @ split[0][..., None])[..., 0]
    to_face = np.concatenate([modes * gain[:, None], modes * (gain * fall)[:, None]], axis=1)
    return _Tied((green @ of_planes[..., None])[..., 0], green, split, to_face, alone)


def _size(field: Field) -> FloatArray:
    return np.asarray(np.sqrt(field[0] ** 2 + field[1] ** 2 + field[2] ** 2))


def _charges(circuit: _Circuit, tied: _Tied, curve: MagnetisationCurve) -> FloatArray:
    """The charges c (n, J) with c = dW/dU: Newton's rule, its steps halved where they go too far."""
    n, J = tied.free.shape
    found = np.zeros_like(tied.free)
    residual, field = found, circuit.field(found)
    mu = slope = np.full_like(field[0], FIRST)
    for step in range(ROUNDS):
        stiff = circuit.stiffness(field, mu - 1.0, slope - 1.0)
        matrix = (stiff.reshape(n * J, n, 1, J) @ tied.green)[:, :, 0].reshape(n * J, n * J)
        matrix.reshape(-1)[:: n * J + 1] += 1.0
        right = np.asarray(residual.ravel() if step else stiff @ tied.free.ravel())
        move = np.asarray(np.linalg.solve(matrix, right)).reshape(n, J)
        found = _moved(circuit, tied, curve, found, move) if step else move
        field = circuit.field(tied.values(found))
        mu, slope = relative_permeabilities(_size(field), curve)
        residual = circuit.charges(field, mu - 1.0) - found
        if np.abs(residual).max() < CLOSE * np.abs(found).max():
            break
    return found


def _moved(
    circuit: _Circuit, tied: _Tied, curve: MagnetisationCurve, found: FloatArray, move: FloatArray
) -> FloatArray:
    """Charges moved on, by a part of ``move`` after which the energy does not rise again."""
    lift, part = (tied.green @ move[..., None])[..., 0], 1.0

    def steepness(charges: FloatArray) -> float:
        field = circuit.field(tied.values(charges))
        mu = relative_permeabilities(_size(field), curve)[0]
        return abs(float(np.vdot(circuit.charges(field, mu - 1.0) - charges, lift)))

    before = steepness(found)
    while part > LEAST_STEP and steepness(found + part * move) > 0.9 * before:
        part /= 2.0
    return found + part * move
