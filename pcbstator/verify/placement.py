"""Where a board lies in its files: mirrored, turned and shifted origins found from the terminals, and undone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import atan2, degrees

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pcbstator.errors import Complaint, FilesError
from pcbstator.findings import Finding
from pcbstator.verify.records import FloatArray, Pin, WrittenBoard, WrittenHole, WrittenLayer
from pcbstator.verify.wording import place, written

FIT = 0.05  # mm: how far a terminal may lie off its place
LEAST_REACH = 1.0  # mm: terminals nearer to each other do not tell an angle

Place = tuple[float, float]


@dataclass(frozen=True)
class Placement:
    """How files lie against the design: a place p of the files is at matrix·p + shift [mm] in the design.

    mirrored: the files show the board from below. terminals: places of the terminals in the files.
    """

    matrix: FloatArray
    shift: FloatArray
    terminals: Mapping[str, Place]

    @property
    def mirrored(self) -> bool:
        """Whether the files show the board mirrored."""
        return bool(np.linalg.det(self.matrix) < 0)

    @property
    def angle(self) -> float:
        """By how much the files are turned on to lie as the design [rad], after x is reversed where mirrored."""
        return atan2(-self.matrix[0, 1], self.matrix[1, 1])

    @property
    def unmoved(self) -> bool:
        """Whether the files lie as the design does."""
        return bool(np.allclose(self.matrix, np.eye(2), atol=1e-4) and np.allclose(self.shift, 0, atol=FIT))

    def words(self) -> str:
        """The placement in words.

        >>> Placement(np.array([[0.0, -1.0], [1.0, 0.0]]), np.array([5.0, 0.0]), {}).words()
        'turned by 90 degrees, shifted by x 5 mm, y 0 mm'
        """
        if self.unmoved:
            return "as the design lies"
        parts = ["mirrored"] if self.mirrored else []
        if abs(self.angle) > 1e-4:
            parts.append(f"turned by {degrees(self.angle):.4g} degrees")
        if np.abs(self.shift).max() > FIT:
            parts.append(f"shifted by x {self.shift[0] + 0.0:.5g} mm, y {self.shift[1] + 0.0:.5g} mm")
        return ", ".join(parts)

    def moved(self, points: FloatArray) -> FloatArray:
        """Places (n, 2) of the files as places of the design."""
        return np.asarray(points @ self.matrix.T + self.shift, dtype=np.float64)


def placed(board: WrittenBoard, terminals: Mapping[str, Place]) -> tuple[WrittenBoard, Placement]:
    """The board as the design lies, and how its files lay; FilesError where that cannot be told.

    terminals: their places in the design by name [mm]. Where the files name the same terminals, their places are held
    against each other; otherwise the plated holes are searched for the same pattern.
    """
    named = {name: board.terminals[name] for name in terminals if name in board.terminals}
    named = named or _pins(board, terminals)
    placement = _from_named(named, terminals)
    if placement is None:
        placement = _from_holes(board, terminals)
        board = replace(board, findings=(*board.findings, *_elsewhere(named, placement)))
    return undone(board, placement), placement


def _elsewhere(named: Mapping[str, Place], placement: Placement) -> list[Finding]:
    """Terminals that the files name at another place than the holes have them."""
    findings = []
    for name, there in named.items():
        here = placement.terminals[name]
        if np.hypot(there[0] - here[0], there[1] - here[1]) > FIT:
            words = f"terminal {name} is named at {place(*there)}, and by the design it is at {place(*here)}"
            findings.append(written("verify.terminal", f"{words}: exchanged or moved", place(*here)))
    return findings


def undone(board: WrittenBoard, placement: Placement) -> WrittenBoard:
    """The board, moved to where the design has it."""
    if placement.unmoved:
        return replace(board, terminals=dict(placement.terminals))
    move = placement.moved
    return replace(
        board,
        layers=tuple(_layer(layer, move) for layer in board.layers),
        holes=tuple(_hole(hole, move) for hole in board.holes),
        edge=None if board.edge is None else shapely.transform(board.edge, move),
        netlist=tuple(replace(p, x=at[0], y=at[1]) for p in board.netlist for at in [_at(move, p.x, p.y)]),
        terminals={name: _at(move, *at) for name, at in placement.terminals.items()},
        masks={number: shapely.transform(mask, move) for number, mask in board.masks.items()},
        pins=tuple(Pin(p.part, p.number, p.function, *_at(move, p.x, p.y)) for p in board.pins),
    )


Move = Callable[[FloatArray], FloatArray]


def _at(move: Move, x: float, y: float) -> Place:
    at = move(np.array([[x, y]]))[0]
    return float(at[0]), float(at[1])


def _layer(layer: WrittenLayer, move: Move) -> WrittenLayer:
    return replace(
        layer,
        copper=shapely.transform(layer.copper, move),
        nets={name: shapely.transform(area, move) for name, area in layer.nets.items()},
        unnamed=shapely.transform(layer.unnamed, move),
        pads=np.column_stack([move(layer.pads[:, :2]), layer.pads[:, 2]]),
    )


def _hole(hole: WrittenHole, move: Move) -> WrittenHole:
    return replace(hole, path=move(hole.path))


def _pins(board: WrittenBoard, terminals: Mapping[str, Place]) -> dict[str, Place]:
    """Places of pins in the copper files whose function is a terminal's name and is there once."""
    found: dict[str, Place] = {}
    for name in terminals:
        places = {(pin.x, pin.y) for pin in board.pins if pin.function == name}
        if len(places) == 1:
            found[name] = places.pop()
    return found


def _from_named(named: Mapping[str, Place], terminals: Mapping[str, Place]) -> Placement | None:
    """The move that brings named places onto the terminals, one that mirrors only where it alone fits; None where none
    does, as with names that were exchanged."""
    if len(named) < 2:
        return None
    files = np.array([named[name] for name in named])
    design = np.array([terminals[name] for name in named])
    for mirrored in (False, True):
        matrix, shift = _rigid(files, design, mirrored)
        if float(np.hypot(*(files @ matrix.T + shift - design).T).max()) <= FIT:
            return Placement(matrix, shift, dict(named))
    return None


def _nearest(tree: cKDTree, points: FloatArray) -> tuple[FloatArray, NDArray[np.intp]]:
    distance, index = tree.query(points)
    return np.atleast_1d(np.asarray(distance)), np.atleast_1d(np.asarray(index, dtype=np.intp))


def _rigid(files: FloatArray, design: FloatArray, mirrored: bool) -> tuple[FloatArray, FloatArray]:
    """Turn and shift of least squares from one set of places to another, mirroring x first where asked."""
    mirror = np.diag([-1.0, 1.0]) if mirrored else np.eye(2)
    start = files @ mirror.T
    a, b = start - start.mean(axis=0), design - design.mean(axis=0)
    turn = atan2(float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum()), float((a * b).sum()))
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ mirror
    return matrix, design.mean(axis=0) - files.mean(axis=0) @ matrix.T


def _from_holes(board: WrittenBoard, terminals: Mapping[str, Place]) -> Placement:
    """The move that brings plated holes onto all terminals."""
    names = sorted(terminals)
    design = np.array([terminals[name] for name in names]).reshape(-1, 2)
    holes = np.array([hole.path[0] for hole in board.holes if hole.plated is not False]).reshape(-1, 2)
    sizes = np.array([hole.diameter for hole in board.holes if hole.plated is not False])
    if len(names) < 2 or len(holes) < len(names):
        raise _unfit(board, "at least two terminals and their holes are needed")
    unmoved = Placement(np.eye(2), np.zeros(2), dict(terminals))
    distance, _ = _nearest(cKDTree(holes), design)
    if distance.max() <= FIT:
        return unmoved
    found: list[Placement] = []
    for size in np.unique(sizes)[::-1]:
        found = _matches(holes[sizes == size], design, names)
        if found:
            break
    straight = [placement for placement in found if not placement.mirrored]
    kept = straight or found
    if not kept:
        raise _unfit(board, "no plated holes lie to each other as the terminals do")
    if len(kept) > 1:
        raise _unfit(board, f"the terminals fit the holes in {len(kept)} ways")
    return kept[0]


def _matches(holes: FloatArray, design: FloatArray, names: list[str]) -> list[Placement]:
    """Every move that brings holes of one size onto all of ``design``."""
    apart = np.hypot(*(design[:, None] - design[None]).transpose(2, 0, 1))
    first, second = np.unravel_index(int(np.argmax(apart)), apart.shape)
    reach = float(apart[first, second])
    if reach < LEAST_REACH or len(holes) > 2000:
        return []
    tree = cKDTree(holes)
    between = np.hypot(*(holes[:, None] - holes[None]).transpose(2, 0, 1))
    found: list[Placement] = []
    pair = design[[first, second]]
    for a, b in zip(*np.nonzero(np.abs(between - reach) <= 2 * FIT), strict=True):
        for mirrored in (False, True):
            matrix, shift = _rigid(holes[[a, b]], pair, mirrored)
            distance, index = _nearest(tree, (design - shift) @ np.linalg.inv(matrix).T)
            if distance.max() > 2 * FIT or len(set(index.tolist())) < len(index):
                continue
            matrix, shift = _rigid(holes[index], design, mirrored)
            places = {name: (float(x), float(y)) for name, (x, y) in zip(names, holes[index], strict=True)}
            same = [np.allclose(matrix, f.matrix, atol=1e-2) and np.allclose(shift, f.shift, atol=0.5) for f in found]
            if not any(same):
                found.append(Placement(matrix, shift, places))
    return found


def _unfit(board: WrittenBoard, value: str) -> FilesError:
    rule = "how the files lie against the design must follow from the terminals"
    remedy = "name the terminals' places in the files in a map file: terminals.A = [x, y]"
    return FilesError(board.name or "folder", [Complaint("terminals", rule, value, remedy)])
