"""Direct current in the copper of written files, and between two parts of one sheet: the verifying room's finite
elements (``pcbstator.verify.conduction``) on what the tests' own readers find in the files.

In Galerkin's method the power at given voltages is never too small, so the resistances found are lower bounds, which
rise with refinement; a right-angle bend lacks 0.04 squares on the coarsest mesh. Lengths are millimetres, as in the
files.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pcbstator.verify.conduction.board import Build, board_network, wall_outline
from pcbstator.verify.conduction.mesh import meshed
from pcbstator.verify.conduction.sheet import sheet_network
from pcbstator.verify.records import WrittenBoard, WrittenHole, WrittenLayer
from tests.output.readback import net_shapes, read_holes

FloatArray = NDArray[np.float64]
Resistances = dict[tuple[str, str], float]


@dataclass(frozen=True)
class Hole:
    """A hole with a plated wall: place and drilled diameter [mm]."""

    x: float
    y: float
    diameter: float

    @property
    def outline(self) -> shapely.Polygon:
        """A regular polygon as large as the circle."""
        return wall_outline(WrittenHole(np.array([[self.x, self.y]]), self.diameter, True, 1, 1))


@dataclass(frozen=True)
class Board:
    """What carries current in a board.

    sheets: the copper of every layer; thicknesses, and depths of their middles [mm]. plating: on the inside of the
    drilled holes [mm]. resistivity: [ohm·mm]. terminals: the hole of each by its name. brushes: what lies at one
    voltage on the first layer, by names of their own.
    """

    sheets: tuple[BaseGeometry, ...]
    thicknesses: tuple[float, ...]
    depths: tuple[float, ...]
    holes: tuple[Hole, ...]
    plating: float
    resistivity: float
    terminals: Mapping[str, Hole]
    brushes: Mapping[str, shapely.Polygon] = field(default_factory=dict)


def read_board(
    files: Mapping[str, str | bytes], thicknesses: Sequence[float], depths: Sequence[float], plating: float, rho: float
) -> Board:
    """The board of a folder's files, with what they leave open: thicknesses, depths and plating [m], rho [ohm·m]."""
    texts = {name: content for name, content in files.items() if isinstance(content, str)}
    drilled = [hole for name, text in texts.items() if name.endswith(".drl") for hole in read_holes(text)]
    plated = tuple(Hole(x, y, diameter) for x, y, diameter, wall in drilled if wall)
    out = shapely.union_all([Hole(*hole[:3]).outline for hole in drilled])
    layers = [net_shapes(texts[f"copper-{number}.gbr"]) for number in range(1, len(depths) + 1)]
    sheets = [shapely.union_all([shape for shapes in layer.values() for shape in shapes]) for layer in layers]
    places = json.loads(texts["manifest.json"])["terminals"]
    return Board(
        tuple(sheet.difference(out) for sheet in sheets),
        tuple(1e3 * thickness for thickness in thicknesses),
        tuple(1e3 * depth for depth in depths),
        plated,
        1e3 * plating,
        1e3 * rho,
        {name: _hole_at(plated, place["x_mm"], place["y_mm"]) for name, place in places.items()},
    )


def _hole_at(holes: Sequence[Hole], x: float, y: float) -> Hole:
    (hole,) = (hole for hole in holes if np.hypot(hole.x - x, hole.y - y) < 2e-3)
    return hole


def squares(sheet: BaseGeometry, ends: Sequence[Callable[[FloatArray], NDArray[np.bool_]]], size: float) -> float:
    """Resistance between two parts of the boundary of a sheet, in squares; ends: which of the points (n, 2) are there.

    From two meshes, to where they lead with the order 4/3 that re-entrant right angles have.
    """
    found = []
    for halvings in (0, 1):
        mesh = meshed(sheet, size)
        for _ in range(halvings):
            mesh = mesh.halved()
        contact = np.full(len(mesh.points), -1)
        for number, end in enumerate(ends):
            contact[end(mesh.points)] = number
        (solved,) = sheet_network(mesh, contact, 1.0).solved
        found.append(float(1.0 / solved.conductances[0, 0, 0]))
    return found[1] + (found[1] - found[0]) / (2 ** (4 / 3) - 1)


def written_board(board: Board) -> tuple[WrittenBoard, Build]:
    """The board as the verifying room takes it."""
    layers = len(board.sheets)
    written = WrittenBoard(
        "board",
        tuple(WrittenLayer(number, "", sheet) for number, sheet in enumerate(board.sheets, 1)),
        tuple(WrittenHole(np.array([[h.x, h.y]]), h.diameter, True, 1, layers) for h in board.holes),
        terminals={name: (hole.x, hole.y) for name, hole in board.terminals.items()},
    )
    metres = [tuple(1e-3 * value for value in values) for values in (board.thicknesses, board.depths)]
    return written, Build(metres[0], metres[1], 1e-3 * board.plating, 1e-3 * board.resistivity)


def terminal_resistances(board: Board, size: float = 0.5, halvings: int = 0) -> Resistances:
    """Resistance [ohm] between each pair of terminals and brushes, the others open; nan where no copper joins them.

    size: longest piece of an outline [mm]; halvings: how often the mesh is refined after that.
    """
    brushes = {name: (1, shape) for name, shape in board.brushes.items()}
    return board_network(*written_board(board), size, halvings, brushes).resistances()
