"""The copper of all layers joined by the plating of its holes: one network, and the current in all of it.

A wall of a hole is at one voltage on each layer, and the plating joins it to the next layer, middle to middle. The hole
of a terminal is full of solder: its wall is at one voltage on all layers. A terminal without a hole is a land, at one
voltage where the solder mask is open. Lengths are millimetres, as in the files.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import pi, sin

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from shapely.geometry.base import BaseGeometry

from pcbstator.verify.conduction.mesh import FLATNESS, FloatArray, IndexArray, meshed
from pcbstator.verify.conduction.network import Network, Pair
from pcbstator.verify.conduction.sheet import SheetNetwork, sheet_network
from pcbstator.verify.records import WrittenBoard, WrittenHole

SIDES = 24  # of the polygon that stands for the wall of a hole
ON_WALL = 3e-5  # mm
LAND = 0.25  # mm, radius of what is touched of a land that the solder mask does not show


@dataclass(frozen=True)
class Build:
    """What the files leave open about the conductor, in SI.

    thicknesses, depths: of the copper of every layer and of its middle below the first one, falling [m]. plating: on
    the inside of drilled holes [m]. resistivity: [ohm m].
    """

    thicknesses: tuple[float, ...]
    depths: tuple[float, ...]
    plating: float
    resistivity: float


@dataclass(frozen=True, eq=False)
class BoardNetwork:
    """A board seen from the walls of its holes.

    sheets: of every layer. network: of walls and terminals; walls are numbered hole by hole and layer by layer, then
    come lands. barrels: (n, 3) hole, layer above, layer below, from 0; barrel_conductances: (n,) [S].
    """

    board: WrittenBoard
    build: Build
    sheets: tuple[SheetNetwork, ...]
    network: Network
    barrels: IndexArray
    barrel_conductances: FloatArray

    def resistances(self) -> dict[Pair, float]:
        """Resistance [ohm] between each pair of terminals, the others open; nan where no copper joins them."""
        return self.network.resistances()

    def barrel_currents(self, voltages: NDArray[np.inexact]) -> NDArray[np.inexact]:
        """Current (n, k) [A] downwards in every piece of barrel, from the walls' voltages (walls, k) [V]."""
        hole, above, below = self.barrels.T
        layers = len(self.sheets)
        drop = voltages[hole * layers + above] - voltages[hole * layers + below]
        return np.asarray(drop * self.barrel_conductances[:, None])


def wall_outline(hole: WrittenHole) -> shapely.Polygon:
    """The wall of a hole or slot as a polygon [mm], of a round hole a regular one as large as the circle."""
    if len(hole.path) > 1:
        return shapely.LineString(hole.path).buffer(hole.diameter / 2, quad_segs=SIDES // 4)
    angles = 2 * pi * np.arange(SIDES) / SIDES
    radius = hole.diameter / 2 * (2 * pi / SIDES / sin(2 * pi / SIDES)) ** 0.5
    return shapely.Polygon(hole.path[0] + radius * np.stack([np.cos(angles), np.sin(angles)], axis=1))


def plating_section(hole: WrittenHole, plating: float) -> float:
    """Section [mm2] of the plating of a hole, on the inside of what was drilled; plating: [mm]."""
    length = float(np.hypot(*np.diff(hole.path, axis=0).T).sum())
    plating = min(plating, hole.diameter / 2)
    return (pi * (hole.diameter - plating) + 2 * length) * plating


def board_network(
    board: WrittenBoard, build: Build, size: float | None = None, halvings: int = 0,
    contacts: Mapping[str, tuple[int, BaseGeometry]] | None = None,
) -> BoardNetwork:  # fmt: skip
    """The network of a board.

    board: as its files have it [mm]. build: what they leave open [m, ohm m]. size: longest piece of an outline
    [mm], as of meshed. halvings: how often the triangles are refined after that. contacts: further terminals by name,
    number of the layer and what they touch [mm]. Returns a BoardNetwork [S]; a terminal
    that no copper is at is left out. Derived here: see the head of this file.
    """
    layers, walls = len(board.layers), [wall_outline(hole) for hole in board.holes]
    soldered, lands = _terminals(board, walls)
    lands |= {name: (number - 1, shape) for name, (number, shape) in (contacts or {}).items()}
    removed = shapely.union_all(walls) if walls else shapely.Polygon()
    plated = [number for number, hole in enumerate(board.holes) if hole.plated is not False]
    middles = np.array([[*board.holes[number].path[0], board.holes[number].diameter] for number in plated])
    land_contacts = {name: len(walls) * layers + number for number, name in enumerate(lands)}
    sheets = []
    for index, layer in enumerate(board.layers):
        touched = {land_contacts[name]: shape for name, (at, shape) in lands.items() if at == index}
        sheet = shapely.simplify(layer.copper, FLATNESS).difference(removed)
        for shape in touched.values():
            sheet = sheet.difference(shape)
        mesh = meshed(sheet, size, middles.reshape(-1, 3))
        for _ in range(halvings):
            mesh = mesh.halved()
        joined = [n for n in plated if board.holes[n].first <= layer.number <= board.holes[n].last]
        outlines = {number * layers + index: walls[number] for number in joined} | touched
        contact = _contacts(mesh.points, outlines)
        sheets.append(sheet_network(mesh, contact, build.thicknesses[index] / build.resistivity))
    barrels, conductances = _barrels(board, build, plated)
    node = np.arange(len(walls) * layers + len(lands))
    for number in soldered.values():
        node[number * layers : (number + 1) * layers] = number * layers
    taps = {name: number * layers for name, number in soldered.items()} | land_contacts
    network = Network(_joined(sheets, barrels, conductances, len(node)), node, taps)
    return BoardNetwork(board, build, tuple(sheets), network, barrels, conductances)


def _joined(sheets: Sequence[SheetNetwork], barrels: IndexArray, conductances: FloatArray, contacts: int) -> coo_array:
    """The conductances of all copper and plating between contacts [S]."""
    hole, above, below = barrels.T
    a, b = hole * len(sheets) + above, hole * len(sheets) + below
    parts = [(a, a, conductances), (b, b, conductances), (a, b, -conductances), (b, a, -conductances)]
    for pieces in (pieces for sheet in sheets for pieces in sheet.solved):
        rows = np.broadcast_to(pieces.contacts[:, :, None], pieces.conductances.shape)
        parts.append((rows.ravel(), rows.swapaxes(1, 2).ravel(), pieces.conductances.ravel()))
    rows, columns, values = (np.concatenate(each) for each in zip(*parts, strict=True))
    return coo_array((values, (rows, columns)), shape=(contacts, contacts))


def _terminals(
    board: WrittenBoard, walls: Sequence[BaseGeometry]
) -> tuple[dict[str, int], dict[str, tuple[int, BaseGeometry]]]:
    """The hole of every terminal that has one, and layer and land of those that have none."""
    soldered: dict[str, int] = {}
    lands: dict[str, tuple[int, BaseGeometry]] = {}
    for name, (x, y) in board.terminals.items():
        place = shapely.Point(x, y)
        found = [n for n, wall in enumerate(walls) if board.holes[n].plated is not False and wall.intersects(place)]
        if found:
            soldered[name] = found[0]
            continue
        for index in (0, len(board.layers) - 1):
            copper = board.layers[index].copper
            if copper.intersects(place):
                shown = [part for part in shapely.get_parts(board.masks.get(index + 1)) if part.intersects(place)]
                lands[name] = (index, shapely.intersection(shown[0] if shown else place.buffer(LAND), copper))
                break
    return soldered, lands


def _contacts(points: FloatArray, outlines: Mapping[int, BaseGeometry]) -> IndexArray:
    """The contact that each point belongs to, by the outline that it lies on; -1 for none."""
    contact = np.full(len(points), -1)
    if len(points) and outlines:
        rims = shapely.boundary(np.array(list(outlines.values()), dtype=object))
        spots = np.asarray(shapely.points(points), dtype=object)
        rim, point = shapely.STRtree(spots).query(rims, predicate="dwithin", distance=ON_WALL)
        contact[point] = np.array(list(outlines))[rim]
    return contact


def _barrels(board: WrittenBoard, build: Build, plated: Sequence[int]) -> tuple[IndexArray, FloatArray]:
    """Hole, layer above and layer below of every piece of plating between two layers, and its conductance [S]."""
    barrels, found = [], []
    for number in plated:
        hole = board.holes[number]
        section = plating_section(hole, 1e3 * build.plating)
        for above in range(hole.first - 1, min(hole.last, len(board.layers)) - 1):
            barrels.append((number, above, above + 1))
            length = 1e3 * abs(build.depths[above] - build.depths[above + 1])
            found.append(section / (1e3 * build.resistivity) / length)
    return np.array(barrels, np.int64).reshape(-1, 3), np.array(found)
