"""The centre-lines of the conductors as DXF: a polyline for each track, as wide and as deep as it is."""

from __future__ import annotations

from typing import Any

from pcbstator.output.canvas.dxf import dxf_text, new_dxf
from pcbstator.output.outlines.drawn_board import PLATED, copper_layer
from pcbstator.output.outlines.polygons_dxf import APPLICATION


def centrelines_dxf(lines: dict[str, Any]) -> str:
    """From the plain data of ``centrelines``. Phase, path and the part of the phase current that the path carries stand
    in the extended data of each polyline; its points go the way of positive current."""
    tracks = [
        (phase["name"], number, path["share"], track)
        for phase in lines["phases"]
        for number, path in enumerate(phase["paths"], start=1)
        for track in path["tracks"]
    ]
    layers = sorted({track["layer"] for *_, track in tracks})
    colours = {copper_layer(layer): (1 + index % 6, "") for index, layer in enumerate(layers)}
    reach = max((abs(value) for *_, track in tracks for point in track["points_mm"] for value in point), default=1.0)
    with new_dxf(colours | {PLATED: (7, "")}) as document:
        document.appids.add(APPLICATION)
        space = document.modelspace()
        for phase, number, share, track in tracks:
            widths = (
                track["width_mm"]
                if isinstance(track["width_mm"], list)
                else [track["width_mm"]] * len(track["points_mm"])
            )
            ends = [*widths[1:], widths[-1]]
            points = [(x, y, w, v) for (x, y), w, v in zip(track["points_mm"], widths, ends, strict=True)]
            look = {"layer": copper_layer(track["layer"]), "elevation": track["z_mm"]}
            words = [f"phase={phase}", f"path={number}", f"share={share:g}"]
            line = space.add_lwpolyline(points, format="xyse", dxfattribs=look)
            line.set_xdata(APPLICATION, [(1000, each) for each in words])
        for via in lines["vias"]:
            space.add_circle((via["x_mm"], via["y_mm"]), via["drill_mm"] / 2, dxfattribs={"layer": PLATED})
        return dxf_text(document, 2.2 * reach)
