"""Pictures of motion logs: spectrum, friction around the turn, error of a sensor, moves and coast-downs."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from pcbstator.bench.logs.result import Picture
from pcbstator.errors import printable
from pcbstator.output.plotting import drawn_svg

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLOURS = ("#1f5a94", "#b3372c", "#2f6f4f", "#8a6d1f", "#666666")
SIZE = (8.5, 4.2)
DOTS = {"linestyle": "none", "marker": "o", "markersize": 3.0}


def log_svg(picture: Picture) -> str:
    """A picture as SVG text."""

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        for line, colour in zip(picture.lines, COLOURS, strict=False):
            style = {**DOTS, "zorder": 1.5} if line.dots else {"linewidth": 1.3}
            axes.plot(line.x, line.y, color=colour, label=printable(line.label), **style)
        if picture.logarithmic:
            axes.set_yscale("log")
        low, high = axes.get_ylim()
        for place, _words in picture.marks:
            axes.axvline(place, color="#bbbbbb", lw=0.8, zorder=0)
        for place, words in _apart(picture):
            axes.annotate(
                words, (place, 1.0), xycoords=("data", "axes fraction"), ha="center", va="bottom", fontsize=10
            )
        axes.set_ylim(low, high)
        axes.set_xlabel(picture.x_label)
        axes.set_ylabel(picture.y_label)
        axes.margins(x=0.01)
        if any(line.label for line in picture.lines):
            figure.legend(loc="outside lower center", ncols=min(3, len(picture.lines)), frameon=False, fontsize=10)

    return drawn_svg(picture.name, escape(printable(picture.title)), SIZE, draw)


def _apart(picture: Picture) -> list[tuple[float, str]]:
    """Marks whose words do not run into each other; neighbours share one."""
    if not picture.marks:
        return []
    ends = [float(line.x[at]) for line in picture.lines if len(line.x) for at in (0, -1)]
    room = (max(ends) - min(ends)) / 24
    groups: list[list[tuple[float, str]]] = []
    for mark in sorted(picture.marks):
        if groups and mark[0] - groups[-1][-1][0] < room:
            groups[-1].append(mark)
        else:
            groups.append([mark])
    return [(sum(place for place, _ in group) / len(group), ", ".join(words for _, words in group)) for group in groups]
