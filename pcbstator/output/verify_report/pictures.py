"""Pictures of a solved board: loss over each layer with the hot places marked, and the current of every via."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pcbstator.output.canvas.colours import INK, QUIET
from pcbstator.output.plotting import drawn_svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from pcbstator.verify.solution import PlacedSolution

SIZE = (8.0, 7.0)  # inches
DOTS = {"savefig.dpi": 180}  # per inch, of what is drawn as dots
MARK = "#17479e"


def loss_svg(part: PlacedSolution, index: int, name: str) -> str:
    """Loss by area of a layer, with the hot places of the board on it, numbered from the hottest."""
    sheet, loss = part.network.sheets[index], part.losses[index]
    mesh = sheet.elements.mesh
    most = max((float(np.percentile(each.density, 99.5)) for each in part.losses if each.density.size), default=1.0)

    def draw(figure: Figure) -> None:
        from matplotlib.collections import PolyCollection
        from matplotlib.colors import Normalize

        axes = figure.add_subplot()
        shapes = PolyCollection(
            list(mesh.points[mesh.corners]), array=loss.density, cmap="YlOrRd",
            norm=Normalize(0.0, most), linewidths=0.1, edgecolors="face", rasterized=True,
        )  # fmt: skip
        axes.add_collection(shapes)
        figure.colorbar(shapes, ax=axes, shrink=0.7, label="loss at 1 A rms in every phase, W/m²")
        for number, place in enumerate(part.hot, 1):
            if place.layer == index + 1:
                axes.plot(place.x, place.y, "o", markersize=16, fillstyle="none", color=MARK, markeredgewidth=2.2)
                axes.annotate(
                    str(number), (place.x, place.y), xytext=(13, 9), textcoords="offset points", fontweight="bold",
                    color=MARK, bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": MARK},
                )  # fmt: skip
        _framed(axes)

    return drawn_svg(name, f"Loss over layer {index + 1}", SIZE, draw, DOTS)


def vias_svg(part: PlacedSolution, name: str) -> str:
    """Current in the plating of every via, at its place."""

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        edge = part.network.board.edge
        if edge is not None:
            for polygon in getattr(edge, "geoms", [edge]):
                for ring in (polygon.exterior, *polygon.interiors):
                    axes.plot(*np.array(ring.coords).T, color=QUIET, linewidth=1.0)
        vias = part.vias[::-1]  # the largest on top
        dots = axes.scatter(
            [via.x for via in vias], [via.y for via in vias], c=[via.current for via in vias], cmap="YlOrRd", s=30,
            vmin=0.0, edgecolors=INK, linewidths=0.4,
        )  # fmt: skip
        figure.colorbar(dots, ax=axes, shrink=0.7, label="current at 1 A rms in every phase, A rms")
        _framed(axes)

    return drawn_svg(name, "Current of the vias", SIZE, draw, DOTS)


def _framed(axes: Axes) -> None:
    axes.set_aspect("equal")
    axes.autoscale_view()
    axes.set_xlabel("x, mm")
    axes.set_ylabel("y, mm")
