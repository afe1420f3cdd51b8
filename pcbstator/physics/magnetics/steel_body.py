"""Small bodies of steel in a field that is not theirs: moment, energy, force and cogging torque.

A body is one or several pieces along an axis parallel to z, each evenly magnetised in the field of its middle, which
for a sphere is the mean over it. Pieces act on each other as dipoles. The steel is ideal up to its saturation:

    W = −max { Σ V·M·B − mu_0/2·Σ Σ V·M·N·M },   |M| ≤ Js/mu_0,

so that force and torque are −dW along any way. A sphere, N = 1/3, has the moment 4·pi·a³·B/mu_0, at most V·Js/mu_0.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import acosh, acos, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]

ROUNDS = 200  # 10 to 30 do
CLOSE = 1e-9  # of the saturation
SPHERE = 1.0 / 3.0


@dataclass(frozen=True, eq=False)
class SteelBody:
    """Pieces on one axis: heights z (K,) [m], volumes (K,) [m³], demagnetising factors along z (K,) [-]."""

    heights: FloatArray
    volumes: FloatArray
    factors: FloatArray


def spheroid_factor(slenderness: float) -> float:
    """Demagnetising factor of a spheroid along its axis of revolution.

    slenderness: its length along that axis over its diameter, above 0 [-]. Returns 0 … 1 [-]; across it is half of what
    is left to 1. Outside the range: LawRangeError. Source: Osborn 1945, prolate and oblate spheroids (from memory).

    >>> round(spheroid_factor(1.0), 4), round(spheroid_factor(2.0), 4), round(spheroid_factor(0.5), 4)
    (0.3333, 0.1736, 0.5272)
    """
    m = slenderness
    if not m > 0.0:
        raise LawRangeError(f"a spheroid's length over its diameter must be above 0, got {m!r}")
    if abs(m - 1.0) < 1e-4:
        return SPHERE + 4.0 / 15.0 * (1.0 - m)
    if m > 1.0:
        return (m / sqrt(m * m - 1.0) * acosh(m) - 1.0) / (m * m - 1.0)
    return (1.0 - m / sqrt(1.0 - m * m) * acos(m)) / (1.0 - m * m)


def rod(diameter: float, lower: float, upper: float) -> SteelBody:
    """A round rod, such as the shank of a screw, as pieces about as long as thick; a flat one as one piece.

    diameter, lower, upper: of its ends, upper above lower [m]. Returns a SteelBody [m, m³, -]. Outside the range:
    LawRangeError. Derived here: cylinders as spheroids of their proportions.

    >>> rod(0.003, -0.006, 0.003).heights.round(4).tolist()
    [-0.0045, -0.0015, 0.0015]
    """
    if not (diameter > 0.0 and upper > lower):
        raise LawRangeError(f"a rod needs a diameter and a length above 0, got {diameter!r}, {lower!r}, {upper!r} m")
    count = max(1, round((upper - lower) / diameter))
    edges = np.linspace(lower, upper, count + 1)
    length = (upper - lower) / count
    volume, factor = pi / 4.0 * diameter**2 * length, spheroid_factor(length / diameter)
    return SteelBody((edges[1:] + edges[:-1]) / 2.0, np.full(count, volume), np.full(count, factor))


def joined_bodies(bodies: tuple[SteelBody, ...]) -> SteelBody:
    """One body of several on the same axis.

    bodies: 1 or more [m]. Returns a SteelBody [m, m³, -]. Derived here.

    >>> len(joined_bodies((rod(0.003, 0.0, 0.003), rod(0.0055, 0.003, 0.006))).heights)
    2
    """
    parts = ([getattr(body, name) for body in bodies] for name in ("heights", "volumes", "factors"))
    return SteelBody(*(np.concatenate(part) for part in parts))


def magnetisation(field: FloatArray, body: SteelBody, saturation: float) -> FloatArray:
    """Magnetisation of every piece, as mu_0·M.

    field: (P, K, 3) at the pieces, along x, y and z, without what the body adds [T]. body: of K pieces [m, m³, -].
    saturation: Js of the steel, above 0 [T]. Returns (P, K, 3) [T]. Derived here: M·(N + lambda) = B/mu_0, lambda ≥ 0
    where a piece is saturated.

    >>> ball = SteelBody(np.zeros(1), np.array([1e-9]), np.array([1 / 3]))
    >>> [magnetisation(np.array([[[0.0, 0.0, B]]]), ball, 2.0)[0, 0, 2].round(6).item() for B in (0.1, 5.0)]
    [0.3, 2.0]
    """
    field = np.asarray(field, float)
    matrix = demagnetising_matrix(body)
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


def demagnetising_matrix(body: SteelBody) -> FloatArray:
    """Demagnetising factors of the pieces, on themselves and on each other.

    body: of K pieces [m, m³, -]. Returns (3, K, K) along x, y and z [-], with N_ij·V_i = N_ji·V_j.
    Derived here: dipoles side by side across the axis, in line along it.

    >>> chain = demagnetising_matrix(rod(0.001, 0.0, 0.2))  # middle of a long rod: 1/2 across, 0 along
    >>> chain[:, 100].sum(axis=1).round(2).tolist()
    [0.48, 0.48, 0.03]
    """
    apart = np.abs(body.heights[:, None] - body.heights)
    np.fill_diagonal(apart, np.inf)
    across = body.volumes[None, :] / (4.0 * pi * apart**3)
    along = np.diag(body.factors) - 2.0 * across
    side = np.diag((1.0 - body.factors) / 2.0) + across
    return np.stack([side, side, along])


def steel_energy(field: FloatArray, body: SteelBody, saturation: float) -> FloatArray:
    """Energy of a body of steel in a field; its force is what this falls by along the way.

    field: (P, K, 3) at the pieces [T]. body: of K pieces [m, m³, -]. saturation: Js of the steel [T].
    Returns (P,) [J], 0 or less. Range: bodies small against the distance over which the field changes; steel of high
    permeability, no remanence. Derived here (co-energy).

    >>> ball = SteelBody(np.zeros(1), np.array([4 / 3 * pi * 1e-9]), np.array([1 / 3]))  # radius 1 mm
    >>> W = steel_energy(np.array([[[0.0, 0.1, 0.0]]]), ball, 2.0)[0]
    >>> bool(abs(W + 4 * pi * 1e-9 * 0.1**2 / (2 * MU_0)) < 1e-15)  # −m·B/2
    True
    """
    J = magnetisation(field, body, saturation)
    pressed = np.einsum("cij,pjc->pic", demagnetising_matrix(body), J)
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


SAMPLES = 96  # of a wave for each magnet
NOTHING = 1e-9  # of what single bodies make: they cancel


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
