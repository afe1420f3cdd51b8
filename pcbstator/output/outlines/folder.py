"""The folder of ``outlines``: a board's copper, edge and holes as SVG, DXF and JSON; tiles and slip-ring boards in
folders of their own, as ``make`` has them; the free room once, for the whole ring."""

from __future__ import annotations

from math import degrees
from typing import TYPE_CHECKING

from pcbstator.analysis.electrical.slip_ring import lay_slip_ring_boards
from pcbstator.copper import Copper
from pcbstator.copper.connections.slip_ring import slip_ring_gaps
from pcbstator.copper.connections.tiles import lay_tiles, tile_folder
from pcbstator.copper.free_room import free_room
from pcbstator.copper.net_areas import LEAST_TOLERANCE, MOST_OF_GAP, TOLERANCE, net_areas
from pcbstator.copper.plain_board import BoardCopper, PlainBoard
from pcbstator.errors import OutputError
from pcbstator.output.fabrication.package import OutputFile, drawn_board, folder_files, slip_ring_folder, tile_facts
from pcbstator.output.outlines.drawn_board import PROFILE, DrawnBoard
from pcbstator.output.outlines.polygons_dxf import all_layers_dxf, layer_dxf
from pcbstator.output.outlines.polygons_svg import all_layers_svg, layer_svg
from pcbstator.output.outlines.rings_json import rings_json
from pcbstator.output.outlines.room_dxf import room_dxf
from pcbstator.output.outlines.room_svg import room_svg

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

Files = dict[str, str | bytes]


def outline_files(design: SizedDesign, copper: Copper, stated: float | None = None) -> Files:
    """Name and content of every file, manifests included. stated: tolerance of edges [m].

    Raises OutputError where nets could come too near each other with such a tolerance.
    """
    slip_rings = lay_slip_ring_boards(design)
    tolerance = _tolerance(stated, MOST_OF_GAP * _least_gap(design, slip_rings))
    board = drawn_board(design, copper)
    kinds, facts = lay_tiles(design, board), {"tolerance_mm": round(1e3 * tolerance, 6)}
    folders: dict[str, Files] = {}
    for kind in kinds:
        title = f"{design.title}: {tile_folder(kind)}"
        files = board_files(title, kind.board, tolerance)
        folders[tile_folder(kind)] = folder_files(design, kind.board, files, more=facts | tile_facts(kind))
    for name, other in slip_rings.items():
        title = f"{design.title}: slip rings" + (f", {name} board" if name else "")
        files = board_files(title, other, tolerance)
        folders[slip_ring_folder(name)] = folder_files(design, other, files, more=facts)
    areas = net_areas(board, tolerance)
    files = [] if kinds else _files_of(DrawnBoard(design.title, board, areas, tolerance))
    room = free_room(board, areas, design.rules, design.board.track_gap)
    files += [
        OutputFile("free-room.svg", "drawing", room_svg(design, board, room)),
        OutputFile("free-room.dxf", "drawing", room_dxf(design, board, room)),
    ]
    more: dict[str, object] = dict(facts)
    if design.boards > 1:
        more |= {"count": design.boards, "turns_deg": [round(degrees(turn), 6) + 0.0 for turn in copper.board_turns]}
    return folder_files(design, board, files, folders, more)


def board_files(title: str, board: BoardCopper, tolerance: float) -> list[OutputFile]:
    """All outlines of one board."""
    return _files_of(DrawnBoard(title, board, net_areas(board, tolerance), tolerance))


def _files_of(drawn: DrawnBoard) -> list[OutputFile]:
    found = []
    for number, layer in enumerate(drawn.copper, start=1):
        found.append(OutputFile(f"{layer}.svg", "copper", layer_svg(drawn, layer), number))
        found.append(OutputFile(f"{layer}.dxf", "copper", layer_dxf(drawn, layer), number))
    return [
        *found,
        OutputFile(f"{PROFILE}.svg", "profile", layer_svg(drawn, PROFILE)),
        OutputFile(f"{PROFILE}.dxf", "profile", layer_dxf(drawn, PROFILE)),
        OutputFile("outlines.svg", "outlines", all_layers_svg(drawn)),
        OutputFile("outlines.dxf", "outlines", all_layers_dxf(drawn)),
        OutputFile("outlines.json", "outlines", rings_json(drawn)),
    ]


def _least_gap(design: SizedDesign, slip_rings: dict[str, PlainBoard]) -> float:
    """Least distance [m] between two nets of any of the boards."""
    found = [design.board.track_gap]
    for board in slip_rings.values():
        gaps = slip_ring_gaps(board)
        found += [gap.distance for gap in (gaps.rings, gaps.terminals, gaps.leads) if gap]
    return min(found)


def _tolerance(stated: float | None, most: float) -> float:
    """As stated, else the usual one or less where gaps are narrow [m]."""
    usual = max(min(TOLERANCE, most), LEAST_TOLERANCE)
    if stated is None:
        return usual
    if not LEAST_TOLERANCE <= stated <= most:
        raise OutputError(
            f"tolerance: must be {1e3 * LEAST_TOLERANCE:g} mm or more and at most a tenth of the least gap between "
            f"nets, {1e3 * most:.4g} mm; got {1e3 * stated:g} mm; use {1e3 * usual:.3g} mm"
        )
    return stated
