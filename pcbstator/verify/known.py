"""What the files of a board leave open, as numbers: how it is built, its magnets, and what was predicted of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from pcbstator.physics.magnetics.magnet_ring import RingField
from pcbstator.verify.conduction.board import Build
from pcbstator.verify.conduction.network import Pair, Wire
from pcbstator.verify.spacing import SpacingRules


class PhaseEnds(NamedTuple):
    """A phase between two terminals: positive current goes in at ``start`` and out at ``end``."""

    name: str
    start: str
    end: str


@dataclass(frozen=True)
class Expected:
    """What was predicted of the board.

    resistances: between terminals [ohm]. linkages: fundamental of every phase by its name [Wb], the linkage being the
    real part of it times exp(−i·p·alpha). torque_constant: per peak phase ampere [N m/A].
    """

    resistances: Mapping[Pair, float] = field(default_factory=dict)
    linkages: Mapping[str, complex] = field(default_factory=dict)
    torque_constant: float | None = None


class Placed(NamedTuple):
    """A board at its place in the machine: name of its folder, the angle [rad] by which it is turned from where its
    files have it, its number in a stack from the rotor on, and names of its terminals in the machine by their own.
    """

    board: str
    angle: float
    level: int
    names: Mapping[str, str]


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of a machine beside its files.

    builds: thicknesses, depths, plating, resistivity of every board by the name of its folder. terminals: their places
    [mm] on each, for files that have none. placed: the boards of the winding, wires: between their terminals in the
    machine. phases: by those terminals. magnets: their field at the depths of all layers, board after board; None
    where there is none. speed: for the eddies [rad/s]. rise: for the standards' currents [K].
    rules: least numbers of every board [mm]. words: what is left out.
    """

    builds: Mapping[str, Build]
    terminals: Mapping[str, Mapping[str, tuple[float, float]]] = field(default_factory=dict)
    placed: tuple[Placed, ...] = ()
    wires: tuple[Wire, ...] = ()
    phases: tuple[PhaseEnds, ...] = ()
    magnets: RingField | None = None
    expected: Expected = field(default_factory=Expected)
    speed: float = 0.0
    rise: float = 20.0
    rules: Mapping[str, SpacingRules] = field(default_factory=dict)
    words: tuple[str, ...] = ()
