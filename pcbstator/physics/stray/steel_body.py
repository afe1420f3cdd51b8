"""Small bodies of steel in a field that is not theirs: moment, energy, force and cogging torque.

A body is one or several pieces along an axis parallel to z, each evenly magnetised in the field of its middle, which
for a sphere is the mean over it. Pieces act on each other by demagnetising factors N. The steel is ideal up to its
saturation:

    W = −max { Σ V·M·B − mu_0/2·Σ Σ V·M·N·M },   |M| ≤ Js/mu_0,

so that force and torque are −dW along any way. A sphere, N = 1/3, has the moment 4·pi·a³·B/mu_0, at most V·Js/mu_0.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]

HALVINGS = 50
ROUNDS = 200  # 10 to 30 do
CLOSE = 1e-9  # of the saturation
SAMPLES = 96  # of a wave of cogging for each magnet
NOTHING = 1e-9  # of what single bodies make: they cancel
# Ideal cylinders by the charges on their skin, solved ring by ring; the tests solve them again.
SLENDERNESS = 2.0 ** (np.arange(-6, 11) / 2.0)
ALONG = np.array([
    0.7119, 0.6452, 0.5712, 0.4920, 0.4111, 0.3321, 0.2590, 0.1946, 0.1409, 0.0984, 0.0663, 0.0433, 0.0275, 0.0169,
    0.0102, 0.0060, 0.0035,
])  # fmt: skip
ACROSS = np.array([
    0.1009, 0.1291, 0.1618, 0.1982, 0.2371, 0.2768, 0.3154, 0.3512, 0.3829, 0.4098, 0.4319, 0.4493, 0.4628, 0.4729,
    0.4804, 0.4858, 0.4898,
])  # fmt: skip


@dataclass(frozen=True, eq=False)
class SteelBody:
    """Pieces on one axis: heights z (K,) [m], volumes (K,) [m³], and demagnetising factors on themselves and on each
    other (3, K, K) along x, y and z [-], with N_ij·V_i = N_ji·V_j.
    """

    heights: FloatArray
    volumes: FloatArray
    factors: FloatArray


def sphere(radius: float, height: float = 0.0) -> SteelBody:
    """A ball.

    radius: above 0 [m]. height: z of its middle [m]. Returns a SteelBody [m, m³, -]. Outside the range: LawRangeError.
    Source: a sphere's factor, 1/3 (closed form).

    >>> sphere(0.001).factors[:, 0, 0].round(4).tolist()
    [0.3333, 0.3333, 0.3333]
    """
    if not radius > 0.0:
        raise LawRangeError(f"a ball needs a radius above 0, got {radius!r} m")
    return SteelBody(np.array([height]), np.array([4.0 / 3.0 * pi * radius**3]), np.full((3, 1, 1), 1.0 / 3.0))


def cylinder_factors(slenderness: float) -> tuple[float, float]:
    """Demagnetising factors of an ideal cylinder in an even field: its volume times the field over mu_0 times moment.

    slenderness: length over diameter, above 0 [-]. Returns that along the axis and across it [-]. Range: 1/8 to 32, to
    1 %; beyond it those of the ends. Outside: LawRangeError. Derived here (charges on the skin, by collocation;
    straight lines between logarithms).

    >>> [round(factor, 3) for factor in cylinder_factors(1.0)]
    [0.259, 0.315]
    """
    if not slenderness > 0.0:
        raise LawRangeError(f"a cylinder's length over its diameter must be above 0, got {slenderness!r}")
    place = float(np.log(slenderness))
    found = (np.exp(np.interp(place, np.log(SLENDERNESS), np.log(table))) for table in (ALONG, ACROSS))
    along, across = (float(factor) for factor in found)
    return along, across


def rod(diameter: float, lower: float, upper: float) -> SteelBody:
    """A round rod, such as the shank of a screw, as pieces about as long as thick; a flat one as one piece.

    diameter, lower, upper: of its ends, upper above lower [m]. Returns a SteelBody [m, m³, -]. Outside the range:
    LawRangeError. Derived here: pieces act on each other as dipoles do over the distance, all by one factor, so that
    in an even field the rod is the whole cylinder.

    >>> rod(0.003, -0.006, 0.003).heights.round(4).tolist()
    [-0.0045, -0.0015, 0.0015]
    """
    if not (diameter > 0.0 and upper > lower):
        raise LawRangeError(f"a rod needs a diameter and a length above 0, got {diameter!r}, {lower!r}, {upper!r} m")
    length = upper - lower
    count = max(1, round(length / diameter))
    edges = np.linspace(lower, upper, count + 1)
    heights, volumes = (edges[1:] + edges[:-1]) / 2.0, np.full(count, pi / 4.0 * diameter**2 * length / count)
    pieces, wholes = cylinder_factors(length / count / diameter), cylinder_factors(length / diameter)
    acting = _dipoles(heights, volumes)
    across = _matched(acting, pieces[1], wholes[1])
    return SteelBody(heights, volumes, np.stack([across, across, _matched(-2.0 * acting, pieces[0], wholes[0])]))


def _matched(acting: FloatArray, piece: float, whole: float) -> FloatArray:
    """Factors of equal pieces that act on each other so strongly that in an even field they are as one whole."""
    count = len(acting)
    own = piece * np.eye(count)
    if count == 1:
        return own
    low, high = 0.0, (whole - piece) * count / acting.sum()  # with the latter, evenly magnetised, they would be
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        factors = own + middle * acting
        sound = np.linalg.eigvalsh(factors)[0] > 0.0
        mean = np.linalg.solve(factors, np.ones(count)).mean() if sound else np.inf
        further = (mean < 1.0 / whole) if whole < piece else (mean > 1.0 / whole)
        low, high = (middle, high) if further else (low, middle)
    return np.asarray(own + low * acting)


def _dipoles(heights: FloatArray, volumes: FloatArray) -> FloatArray:
    """Demagnetising factors (K, K) of dipoles side by side; nothing on themselves."""
    apart = np.abs(heights[:, None] - heights)
    np.fill_diagonal(apart, np.inf)
    return np.asarray(volumes[None, :] / (4.0 * pi * apart**3))


def joined_bodies(bodies: tuple[SteelBody, ...]) -> SteelBody:
    """One body of several on the same axis.

    bodies: 1 or more [m]. Returns a SteelBody [m, m³, -]. Derived here: they act on each other as dipoles, as far as
    that is possible so near.

    >>> len(joined_bodies((rod(0.003, 0.0, 0.003), rod(0.0055, 0.003, 0.006))).heights)
    2
    """
    heights, volumes = (np.concatenate([getattr(body, name) for body in bodies]) for name in ("heights", "volumes"))
    own, first = np.zeros((3, len(heights), len(heights))), 0
    for body in bodies:
        last = first + len(body.heights)
        own[:, first:last, first:last] = body.factors
        first = last
    acting = _dipoles(heights, volumes) * (own[2] == 0.0)
    return SteelBody(
        heights,
        volumes,
        np.stack([_joined(part, k * acting, volumes) for part, k in zip(own, (1.0, 1.0, -2.0), strict=True)]),
    )


def _joined(own: FloatArray, acting: FloatArray, volumes: FloatArray) -> FloatArray:
    """Factors of bodies that act on each other, no more than leaves them half of the firmness that they have alone.

    Dipoles so near to each other would act too strongly: nothing magnetises itself.
    """
    root = np.sqrt(volumes)
    even = root[:, None] / root  # the symmetric form
    least = np.linalg.eigvalsh(own * even)[0] / 2.0
    scale = 1.0
    while np.linalg.eigvalsh((own + scale * acting) * even)[0] < least:
        scale *= 0.9
    return np.asarray(own + scale * acting)


def magnetisation(field: FloatArray, body: SteelBody, saturation: float) -> FloatArray:
    """Magnetisation of every piece, as mu_0·M.

    field: (P, K, 3) at the pieces, along x, y and z, without what the body adds [T]. body: of K pieces [m, m³, -].
    saturation: Js of the steel, above 0 [T]. Returns (P, K, 3) [T]. Derived here: M·(N + lambda) = B/mu_0, lambda ≥ 0
    where a piece is saturated.

    >>> [magnetisation(np.array([[[0.0, 0.0, B]]]), sphere(0.001), 2.0)[0, 0, 2].round(6).item() for B in (0.1, 5.0)]
    [0.3, 2.0]
    """
    field = np.asarray(field, float)
    matrix = body.factors
    own = np.einsum("cii->ic", matrix)  # (K, 3)
    extra: FloatArray = np.zeros(field.shape[:2])
    least = own.min(axis=1)
    identity = np.eye(len(body.heights))
    for _ in range(ROUNDS):
        systems = matrix + (extra[:, None, :, None] * identity)  # (P, 3, K, K)
        found = np.linalg.solve(systems, np.moveaxis(field, 2, 1)[..., None])[..., 0]
        J = np.moveaxis(found, 1, 2)
        size = np.linalg.norm(J, axis=2)
        grown = np.maximum((least + extra) * size / saturation - least, 0.0)
        if np.all(np.abs(grown - extra) <= CLOSE * (1.0 + extra)):
            break
        extra = grown
    return np.asarray(J)


def steel_energy(field: FloatArray, body: SteelBody, saturation: float) -> FloatArray:
    """Energy of a body of steel in a field; its force is what this falls by along the way.

    field: (P, K, 3) at the pieces [T]. body: of K pieces [m, m³, -]. saturation: Js of the steel [T].
    Returns (P,) [J], 0 or less. Range: bodies small against the distance over which the field changes; steel of high
    permeability, no remanence. Derived here (co-energy).

    >>> W = steel_energy(np.array([[[0.0, 0.1, 0.0]]]), sphere(0.001), 2.0)[0]
    >>> bool(abs(W + 4 * pi * 1e-9 * 0.1**2 / (2 * MU_0)) < 1e-15)  # −m·B/2
    True
    """
    J = magnetisation(field, body, saturation)
    pressed = np.einsum("cij,pjc->pic", body.factors, J)
    per_volume = np.einsum("pic,pic->pi", J, field - pressed / 2.0) / MU_0
    return np.asarray(-per_volume @ body.volumes)


@dataclass(frozen=True, eq=False)
class Cogging:
    """Cogging torque over the turn: T(alpha) = Re Σ torque_q·exp(i·order_q·alpha) [N m], orders per turn (Q,)."""

    orders: NDArray[np.integer]
    torques: NDArray[np.complex128]

    def at(self, angles: FloatArray) -> FloatArray:
        """Torque on the rotor (A,) [N m] at rotor angles (A,) [rad], counter-clockwise positive."""
        return np.asarray((np.exp(1j * np.multiply.outer(angles, self.orders)) @ self.torques).real)

    @property
    def peak_to_peak(self) -> float:
        """Over a turn [N m]."""
        if not np.any(self.torques):
            return 0.0
        wave = self.at(2.0 * pi * np.arange(SAMPLES * int(self.orders[0])) / (SAMPLES * int(self.orders[0])))
        return float(wave.max() - wave.min())

    @property
    def main_order(self) -> int:
        """Periods per turn of its largest part, 0 where there is none [-]."""
        return int(self.orders[np.argmax(np.abs(self.torques))]) if np.any(self.torques) else 0


def cogging(energies: FloatArray, poles: int, angles: FloatArray) -> Cogging:
    """Cogging torque of equal steel bodies under a perfect ring of magnets.

    energies: (S,) of one body on +x, while the rotor turns by a pole pitch in S even steps from 0 [J]. poles: of the
    ring [-]. angles: (n,) of the bodies around the turn [rad]. Returns Cogging [N m].
    What cancels between them is nil. Bodies that are apart, so that none feels the others. Derived here: a body at the
    angle phi has the energy of the one on +x at the rotor angle alpha − phi.

    >>> W = -np.cos(2 * pi * np.arange(16) / 16)  # one period for each of 8 poles
    >>> round(cogging(W, 8, np.zeros(1)).peak_to_peak, 6)
    16.0
    >>> cogging(W, 8, 2 * pi * np.arange(3) / 3).peak_to_peak  # three screws: 24 periods, of which W has none
    0.0
    """
    samples = len(energies)
    waves = np.arange(1, (samples + 1) // 2)
    orders = waves * poles
    parts = 2.0 / samples * np.fft.fft(energies)[waves]  # W = Re Σ parts·exp(i·order·alpha)
    single = -1j * orders * parts
    together = np.exp(-1j * np.multiply.outer(orders, angles)).sum(axis=1)
    torques = np.where(np.abs(together) > NOTHING * len(angles), single * together, 0.0)
    torques[np.abs(torques) < NOTHING * max(float(np.abs(single).max(initial=0.0)), 1e-300)] = 0.0
    return Cogging(orders, torques)


def all_coggings(parts: tuple[Cogging, ...]) -> Cogging:
    """The sum of several, under the same ring.

    parts: 1 or more, of the same orders [N m]. Returns Cogging [N m]. Derived here.

    >>> W = -np.cos(2 * pi * np.arange(16) / 16)
    >>> one = cogging(W, 8, np.zeros(1))
    >>> round(all_coggings((one, one)).peak_to_peak, 6)
    32.0
    """
    return Cogging(parts[0].orders, np.asarray(sum(part.torques for part in parts)))
