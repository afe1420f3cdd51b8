"""A ring in tiles, in words: what to order, and how the tiles are put together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.analysis.mechanical.order import jumper_wire
from pcbstator.copper import Copper
from pcbstator.copper.connections.tiles import TileKind, lay_tiles, tile_folder, tile_sides
from pcbstator.output.words import Row, figures, millimetres

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign


def tile_rows(design: SizedDesign, copper: Copper) -> list[Row]:
    """Kinds of tiles with their count, then the tile jumpers between them; none for a whole ring."""
    if copper.tiles == 1:
        return []
    across, up = tile_sides(design, copper)
    size = f"{figures(1e3 * across)} × {figures(1e3 * up)} mm"
    rows = [
        Row("Tiles", f"{copper.tiles} of {figures(360 / copper.tiles)}°",
            f"each fits {size}, turned as may be; {millimetres(design.board.tile_gap)} between them")
    ]  # fmt: skip
    kinds = lay_tiles(design, copper)
    rows += [Row(f"Folder {tile_folder(kind)}", f"order {len(kind.tiles)}", _places(kind)) for kind in kinds]
    wire = f"copper wire of {figures(1e3 * jumper_wire(design), 2)} mm, tinned; the shortest way, X to Y"
    return [*rows, Row("Tile jumpers", str(len(copper.jumper_holes) // 2), wire)]


def _places(kind: TileKind) -> str:
    """Which tiles of the ring a kind is, and their terminals where names on the board are numbers."""
    several = len(kind.tiles) > 1
    words = f"tile{'s' if several else ''} {', '.join(map(str, kind.tiles))} of the ring"
    for tile, names in zip(kind.tiles, kind.names, strict=True):
        if any(printed != name for printed, name in names.items()):
            words += f"; on tile {tile} " + ", ".join(f"pad {printed} is {name}" for printed, name in names.items())
    return words
