"""The copper of one layer as polygons, with their area.

    python docs/examples/layer_polygons.py [FOLDER]

The union is what stays on the laminate after etching and drilling, but for copper that is not winding (lands of a
thermistor) and for the teardrops that `make` adds.
"""

import sys
from pathlib import Path

import shapely
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from pcbstator import project
from pcbstator.copper import Copper
from pcbstator.copper.geometry.tracks import strip_outline

DESIGN = Path(__file__).parents[2] / "designs" / "filter-wheel.toml"


def layer_polygons(copper: Copper, layer: int) -> list[shapely.Polygon]:
    """The copper of a layer [mm]: tracks with round ends and pads, less the holes."""
    shapes = [
        shapely.Polygon(1e3 * strip_outline(track))  # widens along its way
        if track.widths is not None
        else shapely.LineString(1e3 * track.points).buffer(500 * track.width)
        for track in copper.tracks
        if track.layer == layer
    ]
    places = [(shapely.Point(1e3 * hole.x, 1e3 * hole.y), hole) for hole in copper.holes]
    pads = [place.buffer(500 * hole.pad) for place, hole in places]
    drilled = [place.buffer(500 * hole.drill) for place, hole in places]
    left = shapely.union_all(shapes + pads).difference(shapely.union_all(drilled))
    return [part for part in shapely.get_parts(left) if isinstance(part, shapely.Polygon)]


def picture(polygons: list[shapely.Polygon]) -> Figure:
    """All polygons at one scale."""
    figure = Figure(figsize=(7, 7), layout="constrained")
    axes = figure.subplots()
    for number, polygon in enumerate(polygons):
        rings = [Outline(shapely.get_coordinates(ring), closed=True) for ring in (polygon.exterior, *polygon.interiors)]
        axes.add_patch(PathPatch(Outline.make_compound_path(*rings), facecolor=f"C{number % 10}", linewidth=0))
    axes.autoscale_view()
    axes.set(aspect="equal", xlabel="x [mm]", ylabel="y [mm]")
    return figure


if __name__ == "__main__":
    polygons = layer_polygons(project.lay_copper(project.load_design(DESIGN)), 1)
    print(f"layer 1: {len(polygons)} pieces of copper, {sum(part.area for part in polygons):.1f} mm2 in all")
    picture(polygons).savefig(Path(sys.argv[1] if len(sys.argv) > 1 else ".") / "layer-1.svg")
