"""What all DXF files share: R2010 in millimetres, no dates in them, outlines of the board, lines of text."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from math import tan
from typing import TYPE_CHECKING

from pcbstator.copper.geometry.contour import Arc, Contour, signed_sweep

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts import Modelspace

DASHED = "DASHED"


@contextmanager
def new_dxf(layers: Mapping[str, tuple[int, str]]) -> Iterator[Drawing]:
    """A document with these layers: colour of the standard's index and linetype, empty for a full line. Everything
    about it, its text too, is to be asked for within: the time and random marks that a DXF file carries are left out.
    """
    import ezdxf
    from ezdxf import units

    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        document = ezdxf.new("R2010", units=units.MM)
        document.linetypes.add(DASHED, pattern=[3.0, 2.0, -1.0], description="Dashed _ _ _")
        for name, (colour, linetype) in layers.items():
            layer = document.layers.add(name, color=colour)
            if linetype:
                layer.dxf.linetype = linetype
        yield document
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def dxf_text(document: Drawing, height: float) -> str:
    """The document as text; it opens with a view so high [mm] about the origin."""
    document.set_modelspace_vport(height=height)
    for kind in sorted(document.entitydb.dxf_types_in_use()):  # written in no fixed order otherwise
        document.classes.add_class(kind)
    file = io.StringIO()
    document.write(file)
    return file.getvalue()


def add_contour(space: Modelspace, contour: Contour, layer: str) -> None:
    """An outline of the board: a circle, or a polyline whose bulges are the tangents of quarter angles."""
    look = {"layer": layer}
    if contour.round is not None:
        (x, y), radius = contour.round
        space.add_circle((1e3 * x, 1e3 * y), 1e3 * radius, dxfattribs=look)
        return
    vertices = [
        (1e3 * start[0], 1e3 * start[1], tan(signed_sweep(start, segment) / 4) if isinstance(segment, Arc) else 0.0)
        for start, segment in contour.pairs()
    ]
    space.add_lwpolyline(vertices, format="xyb", close=True, dxfattribs=look)


def add_text(space: Modelspace, layer: str, words: str, x: float, y: float, size: float, centred: bool = False) -> None:
    """One line of text, its middle or the left of its base line at x, y [mm]."""
    from ezdxf.enums import TextEntityAlignment

    place = TextEntityAlignment.MIDDLE_CENTER if centred else TextEntityAlignment.LEFT
    plain = words.replace("%%", "% %").replace("^", "^ ")  # DXF reads %%d and ^J as more than what they say
    space.add_text(plain, height=size, dxfattribs={"layer": layer}).set_placement((x, y), align=place)
