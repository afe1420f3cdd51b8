"""The motor as it is built: many rotors drawn with the spreads of ``[build]``, each in all orders of the turn.

The perfect ring keeps its own linkage; what one magnet links (``one_magnet``) gives only what the errors add to it, of
first order in each. The steel behind the magnets is endless for that, and Halbach rings are made of their segments.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import ceil, inf, log2, pi
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.electrical.conductors import Conductors, phase_angle
from pcbstator.analysis.magnetic.rotor_field import all_path_linkages, copper_distances, copper_span, magnet_footprint
from pcbstator.design.sections.build import Build
from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.built_ring import fixed_saddle, fixed_shift, ring_sums, shifted_sums
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_ring import RingField
from pcbstator.physics.magnetics.one_magnet import one_magnet_field

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

ORDERS = 7  # times the pole pairs: errors are followed up to there
SAMPLES = 64  # of a wave for each pole pair, at least


@dataclass(frozen=True, eq=False)
class Ring:
    """The pieces of the ring of magnets: places [rad], axial part and part along the turn of the magnetisation of each,
    one magnet pointing down at the angle 0 being 1; mean radius and outer edge [m].
    """

    places: FloatArray
    axial: FloatArray
    along: FloatArray
    radius: float
    edge: float


def ring_of(design: SizedDesign) -> Ring:
    """The magnets of one rotor, or the segments of a Halbach ring."""
    footprint = magnet_footprint(design)
    S, poles = footprint.segments_per_pole, design.rotor.poles
    number = np.arange(poles * S)
    sense = 1.0 if footprint.strong_side else -1.0
    inner, outer = float(footprint.breakpoints[0]), float(footprint.breakpoints[-1])
    along = sense * np.sin(number * pi / S) if S > 1 else np.zeros(len(number))
    return Ring(2 * pi * number / len(number), np.cos(number * pi / S), along, (inner + outer) / 2, outer)


@dataclass(frozen=True, eq=False)
class OneMagnet:
    """What one magnet of the ring links: by name of the table (``MagnetField``) complex (rows, orders) [Wb], for every
    phase and for every path; orders: 1, 2, 3 … of the turn.
    """

    phases: Mapping[str, ComplexArray]
    paths: Mapping[str, ComplexArray]
    orders: NDArray[np.integer]


def one_magnet(design: SizedDesign, conductors: Conductors, layers: MagnetLayers) -> OneMagnet:
    """The linkages of one magnet with this copper; layers: across the magnet plate."""
    orders = np.arange(1, ORDERS * design.rotor.poles // 2 + 1)
    inner, outer = copper_span(design)
    footprint, distances = magnet_footprint(design), copper_distances(design, layers)
    field = one_magnet_field(footprint, layers, inner, outer, distances, orders)
    tables = field.tables()
    if layers.facing_distance < inf:
        # Beyond the middle between two rotors, away from the one is towards the other.
        sides = np.where(distances < design.rotor.air_gap - np.array(design.layer_z) - 1e-12, -1.0, 1.0)
        tables["board_away"] = replace(field.board_away, values=field.board_away.values * sides[:, None])
    else:  # all the same whether magnets or board move
        del tables["board_away"]
    found = all_path_linkages([(conductors.copper, table) for table in tables.values()])
    paths = {}
    for name, rows in zip(tables, found, strict=True):
        if isinstance(rows, LawRangeError):
            raise rows
        paths[name] = rows * (-1j if name in field.odd else 1.0)
    paths.setdefault("board_away", paths["lifted"])
    if design.boards > 1 and design.build is not None and design.build.stack_angle > 0:
        along = ("tilted_along",) if footprint.segments_per_pole > 1 else ()
        paths |= _by_board(design, conductors, {name: tables[name] for name in ("itself", *along)})
    shares = conductors.network.shares
    return OneMagnet({name: shares @ rows for name, rows in paths.items()}, paths, orders)


def _by_board(design: SizedDesign, conductors: Conductors, tables: Mapping[str, RingField]) -> dict[str, ComplexArray]:
    """What one magnet links in each board of a stack: the field is there on that board's layers alone."""
    boards = np.arange(len(design.layer_z)) * design.boards // len(design.layer_z)
    names, masked = [], []
    for name, table in tables.items():
        for number in range(design.boards):
            names.append(f"{name} {number}")
            masked.append((conductors.copper, replace(table, values=table.values * (boards == number)[:, None])))
    found = {}
    for name, rows in zip(names, all_path_linkages(masked), strict=True):
        if isinstance(rows, LawRangeError):
            raise rows
        found[name] = rows * (-1j if name.startswith("tilted_along") else 1.0)
    return found


@dataclass(frozen=True, eq=False)
class Errors:
    """Drawn errors of one cause, as they act on whatever links the magnets.

    sums: by table (draws, orders), of the magnets with their weights. ring: (orders,) sums of the perfect ring, which
    a board aside (shift: (draws,) x + i·y [m]) or bent (bend: depth [m] and angle [rad]) sees otherwise. remanence, as
    a part, and lift [m] of every magnet: (draws, rotors, magnets). aside: (draws,) of one rotor from the other [m].
    turned: (draws, boards, orders) what turning each board adds to its linkage, as a part; ring_along: as ring, of the
    parts along the turn.
    """

    sums: Mapping[str, ComplexArray]
    ring: ComplexArray
    shift: ComplexArray | None = None
    bend: tuple[FloatArray, FloatArray] | None = None
    remanence: FloatArray | None = None
    lift: FloatArray | None = None
    aside: ComplexArray | None = None
    turned: ComplexArray | None = None
    ring_along: ComplexArray | None = None

    def near(self, some: slice) -> Errors:
        """The same for a few orders that follow each other."""
        sums = {table: rows[:, some] for table, rows in self.sums.items()}
        turned = None if self.turned is None else self.turned[..., some]
        along = None if self.ring_along is None else self.ring_along[some]
        return replace(self, sums=sums, ring=self.ring[some], turned=turned, ring_along=along)

    def linkages(self, rows: Mapping[str, ComplexArray]) -> ComplexArray:
        """What is linked more: (draws, rows, orders) [Wb]."""
        total = sum((sums[:, None] * rows[table] for table, sums in self.sums.items()), np.zeros(1, complex))
        if self.shift is not None:
            total = total + fixed_shift(rows, self.ring, self.shift)
        if self.bend is not None:
            total = total + fixed_saddle(rows["board_away"], self.ring, *self.bend)
        if self.turned is not None and self.ring_along is not None:
            for number, parts in enumerate(np.moveaxis(self.turned, 1, 0)):
                whole = rows[f"itself {number}"] * self.ring
                if f"tilted_along {number}" in rows:
                    whole = whole + rows[f"tilted_along {number}"] * self.ring_along
                total = total + parts[:, None] * whole
        return np.asarray(total)


class Draw:
    """Draws the errors of many motors, cause by cause, in the same order for the same seed."""

    def __init__(self, design: SizedDesign, build: Build, orders: NDArray[np.integer]) -> None:
        self.design, self.build, self.orders = design, build, orders
        self.ring = ring_of(design)
        self.rotors = 2 if design.rotor.arrangement == "double" else 1
        self.generator = np.random.default_rng(build.seed)
        self.perfect = ring_sums(self.ring.axial[None], self.ring.places, orders)[0]
        self.perfect_along = ring_sums(self.ring.along[None], self.ring.places, orders)[0]

    def causes(self) -> dict[str, Errors]:
        """Errors by the key of ``[build]`` that they come from; keys that are 0 are left out."""
        build, shape = self.build, (self.build.draws, self.rotors, len(self.ring.places))
        normal, uniform = self.generator.normal, self.generator.uniform
        found: dict[str, Errors] = {}
        if build.remanence_spread > 0:
            stronger = normal(0, build.remanence_spread, shape)
            found["remanence_spread_percent"] = self._magnets(self._polarised(stronger), remanence=stronger)
        if build.magnet_angle > 0:
            found["magnet_angle_deg"] = self._turned(normal(0, build.magnet_angle, shape))
        if build.magnet_radius > 0:
            found["magnet_radius_mm"] = self._magnets({"outwards": normal(0, build.magnet_radius, shape)})
        if build.magnetisation_tilt > 0:
            outwards, along = normal(0, build.magnetisation_tilt, (2, *shape))
            found["magnetisation_tilt_deg"] = self._magnets({"tilted_outwards": outwards, "tilted_along": along})
        if build.reversed_magnets > 0:
            wrong = np.argsort(uniform(size=shape), axis=2) < build.reversed_magnets
            found["reversed_magnets"] = self._magnets(self._polarised(np.where(wrong, -2.0, 0.0)))
        if build.rotor_eccentric > 0:
            aside = self._aside(build.rotor_eccentric, self.rotors)
            shift = aside[:, :, None] * np.exp(-1j * self.ring.places)
            parts = {"outwards": shift.real, "along": shift.imag}
            between = aside[:, 0] - aside[:, 1] if self.rotors == 2 else None
            found["rotor_eccentric_mm"] = self._magnets(parts, aside=between)
        if build.rotor_run_out > 0:
            tilt = self._aside(build.rotor_run_out / 2, self.rotors)[:, :, None] * np.exp(-1j * self.ring.places)
            lift = tilt.real * self.ring.radius / self.ring.edge
            found["rotor_run_out_mm"] = self._magnets({"lifted": lift}, lift=lift)
        if build.board_eccentric > 0:
            shift = self._aside(build.board_eccentric, 1)[:, 0]
            found["board_eccentric_mm"] = Errors({}, self.perfect, shift=shift)
        if build.board_bow > 0:
            part = (2 * self.ring.radius / self.design.board.outer_diameter) ** 2
            depth = uniform(-1, 1, build.draws) * build.board_bow * part
            bend = depth, uniform(0, pi, build.draws)
            found["board_bow_mm"] = Errors({}, self.perfect, bend=bend)
        if build.stack_angle > 0 and self.design.boards > 1:
            angles = normal(0, build.stack_angle, (build.draws, self.design.boards))
            turned = np.exp(1j * angles[..., None] * self.orders) - 1
            found["stack_angle_deg"] = Errors({}, self.perfect, turned=turned, ring_along=self.perfect_along)
        return found

    def _polarised(self, parts: FloatArray) -> dict[str, FloatArray]:
        """Weights of magnets whose whole magnetisation changes by a part."""
        both = {"itself": parts}
        return both | {"whole": parts} if self.ring.along.any() else both

    def _magnets(self, parts: Mapping[str, FloatArray], **others: Any) -> Errors:
        """Errors of single magnets: by table (draws, rotors, magnets). Each of two rotors gives half of the field."""
        sums = {}
        for table, weights in parts.items():
            signs = self.ring.along if table == "whole" else self.ring.axial
            name = "tilted_along" if table == "whole" else table
            sums[name] = ring_sums((weights * signs).mean(axis=1), self.ring.places, self.orders)
        return Errors(sums, self.perfect, **others)

    def _turned(self, angles: FloatArray) -> Errors:
        """Magnets turned along the turn, each by its angle, exactly."""
        rotors = np.moveaxis(angles, 1, 0)
        signs = {"itself": self.ring.axial} | ({"tilted_along": self.ring.along} if self.ring.along.any() else {})
        sums = {
            table: np.mean([shifted_sums(sign, one, self.ring.places, self.orders) for one in rotors], axis=0)
            for table, sign in signs.items()
        }
        return Errors(sums, self.perfect)

    def _aside(self, most: float, count: int) -> ComplexArray:
        """Shifts x + i·y (draws, count) of a length drawn evenly up to the most, in any direction."""
        length, angle = self.generator.uniform(size=(2, self.build.draws, count))
        return np.asarray(most * length * np.exp(2j * pi * angle))


def emf_waves(linkages: ComplexArray, orders: NDArray[np.integer], samples: int) -> FloatArray:
    """Slope of linkages (…, orders) [Wb] over a whole turn of the rotor: (…, samples) [Wb/rad]."""
    spectrum = np.zeros((*linkages.shape[:-1], samples // 2 + 1), complex)
    spectrum[..., orders] = np.conj(-1j * orders * linkages) * (samples / 2)
    return np.asarray(np.fft.irfft(spectrum, samples))


def sine_torques(linkages: ComplexArray, orders: NDArray[np.integer], pole_pairs: int) -> FloatArray:
    """Torque over a whole turn per peak ampere, sine currents that follow the fundamental of phase A.

    linkages: (draws, phases, orders) [Wb]. Returns (draws, samples) [N·m/A].
    """
    samples = 2 ** ceil(log2(max(SAMPLES * pole_pairs, 2 * int(orders.max()) + 2)))
    turn = 2 * pi * np.arange(samples) / samples
    column = int(np.flatnonzero(orders == pole_pairs)[0])
    phases = linkages.shape[1]
    start = np.angle(linkages[:, 0, column])
    emf, torque = emf_waves(linkages, orders, samples), np.zeros((len(linkages), samples))
    sine, cosine = np.sin(pole_pairs * turn), np.cos(pole_pairs * turn)
    for phase in range(phases):
        delay = start[:, None] + phase_angle(phase, phases)
        torque -= (np.cos(delay) * sine - np.sin(delay) * cosine) * emf[:, phase]
    return torque
