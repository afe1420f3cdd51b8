"""Radial modes of a ring: the eigenfunctions of −(1/r) d/dr(r d/dr) + m²/r² on spectral elements graded towards edges.

A field that turns as cos(m·theta) is a sum of Bessel functions J_m(k r). On a finite annulus the integral over k
becomes a sum over eigenfunctions, and any layer stack is a factor per k. Nodes are Gauss-Lobatto points, whose
quadrature makes the mass matrix diagonal: one symmetric eigenproblem per m, of some 80 unknowns, replaces the
Hankel integral.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

FADED = 1e-3  # of its value at the magnets' edge, where a harmonic is left out: 4e-6 of the peak, all orders together


@lru_cache(maxsize=32)
def _lobatto(order: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Gauss-Lobatto nodes, weights, derivative matrix and the matrix from node values to Legendre coefficients."""
    highest = np.zeros(order + 1)
    highest[order] = 1.0
    inside = np.sort(legendre.legroots(legendre.legder(highest)).real) if order > 1 else np.empty(0)
    nodes = np.concatenate([[-1.0], inside, [1.0]])
    weights = 2.0 / (order * (order + 1) * legendre.legval(nodes, highest) ** 2)
    to_legendre = np.linalg.inv(legendre.legvander(nodes, order))
    slopes = np.stack([legendre.legval(nodes, legendre.legder(row)) for row in np.eye(order + 1)], axis=1)
    return nodes, weights, slopes @ to_legendre, to_legendre


def element_rule(order: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Nodes, weights and derivative matrix of an element of RadialModes.

    order: of its polynomials, 2 or more [-]. Returns (order + 1,) places −1 … 1, (order + 1,) weights, and the square
    matrix from values at the places to slopes there [-]. Source: Gauss-Lobatto points, from memory.

    >>> element_rule(2)[1].round(4).tolist()
    [0.3333, 1.3333, 0.3333]
    """
    return _lobatto(order)[:3]


@lru_cache(maxsize=32)
def _gauss(points: int) -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre points and weights on 0 … 1."""
    x, w = legendre.leggauss(points)
    return (x + 1.0) / 2.0, w / 2.0


@dataclass(frozen=True, eq=False)
class RadialModes:
    """Spectral elements between ``boundaries`` (ascending radii [m]) of polynomial ``order``; zero at both ends.

    nodes: (N,) radii of the unknowns [m]; root_mass: (N,) square root of the diagonal mass matrix [m];
    stiffness: (N, N) scaled by it on both sides [1/m²], without the m²/r² term.
    """

    boundaries: FloatArray
    order: int
    nodes: FloatArray
    root_mass: FloatArray
    stiffness: FloatArray

    def eigen(self, m: NDArray[np.integer], source: tuple[float, float] | None = None) -> tuple[FloatArray, FloatArray]:
        """Wave numbers k (len(m), N) [1/m] and orthonormal mode vectors (len(m), N, N), column per mode.

        source: radii [m] between which the field is made. The higher m, the less far it reaches beyond them: elements
        further out are left out of the problem, but for the lowest m, and modes that are missing are columns of zeros.
        """
        N, diagonal = len(self.nodes), (m[:, None] / self.nodes) ** 2
        wave_numbers, vectors = np.empty((len(m), N)), np.zeros((len(m), N, N))
        lowest = m.min()
        spans = [(0, N) if source is None or each == lowest else self._reached(source, int(each)) for each in m]
        for first, last in sorted(set(spans)):
            rows, size = np.array([i for i, span in enumerate(spans) if span == (first, last)]), last - first
            matrices = np.repeat(self.stiffness[None, first:last, first:last], len(rows), axis=0)
            matrices.reshape(len(rows), -1)[:, :: size + 1] += diagonal[rows, first:last]
            squares, found = np.linalg.eigh(matrices)
            wave_numbers[rows, :size], vectors[rows, first:last, :size] = np.sqrt(squares), found
            wave_numbers[rows, size:] = wave_numbers[rows, size - 1 : size]
        return wave_numbers, vectors

    def _reached(self, source: tuple[float, float], m: int) -> tuple[int, int]:
        """First unknown, and the one after the last, of the elements where (r/R)^m is above FADED."""
        reach = FADED ** (-1.0 / m)
        first = int(np.searchsorted(self.boundaries, source[0] / reach, side="right")) - 1
        last = int(np.searchsorted(self.boundaries, source[1] * reach))
        return max(first, 0) * self.order, min(last, len(self.boundaries) - 1) * self.order - 1

    def interpolation(self, radii: FloatArray) -> FloatArray:
        """Matrix (len(radii), N) from node values to values at ``radii`` [m]."""
        to_legendre = _lobatto(self.order)[3]
        count = len(self.boundaries) - 1
        element = np.clip(np.searchsorted(self.boundaries, radii, side="right") - 1, 0, count - 1)
        start = self.boundaries[element]
        local = 2.0 * (radii - start) / (self.boundaries[element + 1] - start) - 1.0
        matrix = np.zeros((len(radii), count * self.order + 1))
        columns = element[:, None] * self.order + np.arange(self.order + 1)
        matrix[np.arange(len(radii))[:, None], columns] = legendre.legvander(local, self.order) @ to_legendre
        return matrix[:, 1:-1]

    def quadrature(self, breakpoints: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Radii (Q,) [m] and weights (Q,) [m] over all pieces between breakpoints and element boundaries.

        The substitution r = a + (b − a)(1 − cos(pi t))/2 makes square roots at either end of a piece smooth.
        """
        inside = self.boundaries[(self.boundaries > breakpoints[0]) & (self.boundaries < breakpoints[-1])]
        ends = np.unique(np.concatenate([breakpoints, inside]))
        t, w = _gauss(2 * self.order + 12)  # cos(pi·order·t) must be resolved
        width = np.diff(ends)[:, None]
        radii = ends[:-1, None] + width * (1.0 - np.cos(np.pi * t)) / 2.0
        weights = width * np.pi / 2.0 * np.sin(np.pi * t) * w
        return radii.ravel(), weights.ravel()


def radial_modes(boundaries: FloatArray, order: int) -> RadialModes:
    """Assemble spectral elements for the radial operator.

    boundaries: (B,) ascending radii, above 0 [m]. order: of the polynomials, 2 or more [-]. Returns RadialModes [m].
    Source: spectral elements after Patera 1984 (from memory); derived here for the Bessel operator.

    >>> import numpy as np
    >>> k, _ = radial_modes(np.linspace(1e-9, 1.0, 4), 8).eigen(np.array([1]))
    >>> bool(abs(k[0, 0] - 3.8317060) < 1e-6)  # first zero of J_1
    True
    """
    x, w, slope, _ = _lobatto(order)
    starts, half = boundaries[:-1, None], np.diff(boundaries)[:, None] / 2.0
    radii = starts + half * (x + 1.0)
    local = np.einsum("qi,eq,qj->eij", slope, w * radii / half, slope, optimize=False)
    size = len(starts) * order + 1
    stiffness, mass, nodes = np.zeros((size, size)), np.zeros(size), np.zeros(size)
    for element in range(len(starts)):
        span = slice(element * order, (element + 1) * order + 1)
        stiffness[span, span] += local[element]
        mass[span] += w * radii[element] * half[element]
        nodes[span] = radii[element]
    root = np.sqrt(mass[1:-1])
    return RadialModes(boundaries, order, nodes[1:-1], root, stiffness[1:-1, 1:-1] / (root[:, None] * root))


def graded_boundaries(edges: FloatArray, inner: float, outer: float, finest: float, growth: float = 0.8) -> FloatArray:
    """Element boundaries from ``inner`` to ``outer``, of size finest + growth × distance to the nearest edge.

    edges: (E,) ascending radii [m], each a boundary unless closer than finest/2 to the one before. inner, outer: ends,
    beyond the edges [m]. finest: size at an edge [m]. growth: of the size with distance [-].
    Returns (B,) [m], ascending. Derived here.

    >>> import numpy as np
    >>> [round(float(r), 2) for r in graded_boundaries(np.array([2.0, 4.0]), 1.0, 8.0, 0.5)]
    [1.0, 2.0, 3.0, 4.0, 4.59, 5.75, 8.0]
    """
    kept = [float(edges[0])]
    for edge in edges[1:]:
        if edge - kept[-1] > finest / 2.0:
            kept.append(float(edge))

    def elements_within(distance: float) -> float:
        return float(np.log1p(growth * distance / finest)) / growth

    def distance_after(elements: FloatArray) -> FloatArray:
        return np.expm1(growth * elements) * finest / growth

    pieces = []
    for start, sense, length in ((kept[0], -1.0, kept[0] - inner), (kept[-1], 1.0, outer - kept[-1])):
        total = elements_within(length)
        pieces.append(start + sense * distance_after(np.linspace(0.0, total, max(1, round(total)) + 1)))
    for left, right in pairwise(kept):
        total = 2.0 * elements_within((right - left) / 2.0)
        steps = np.linspace(0.0, total, max(1, round(total)) + 1)
        first = steps <= total / 2.0
        pieces += [left + distance_after(steps[first]), right - distance_after(total - steps[~first])]
    boundaries = np.sort(np.concatenate(pieces))
    return np.asarray(boundaries[np.append(True, np.diff(boundaries) > 1e-6 * finest)])
