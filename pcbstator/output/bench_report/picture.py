"""Every reading as a bar on one scale: how many standard deviations it is from its prediction."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.bench.result import FAR, Comparison
from pcbstator.errors import printable
from pcbstator.output.bench_report.words import difference
from pcbstator.output.plotting import drawn_svg

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SIDE = 8.0  # standard deviations to either side; farther ones are drawn at the edge with their number
SOUND, FAR_OFF, DOUBTFUL = "#2f6f4f", "#b3372c", "#8a6d1f"


def deviations_svg(found: Comparison) -> str:
    """The picture as SVG text."""
    height = 1.6 + 0.32 * len(found.rows)
    label = "Difference of every reading from its prediction, in standard deviations"

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        axes.axvspan(-2, 2, color=SOUND, alpha=0.14, lw=0)
        axes.axvspan(-FAR, FAR, color=SOUND, alpha=0.08, lw=0)
        axes.axvline(0, color="black", lw=0.8)
        for at, row in enumerate(found.rows):
            place = min(max(row.deviation, -SIDE), SIDE)
            colour = DOUBTFUL if row.slip or row.doubtful else FAR_OFF if row.far else SOUND
            part = row.reading_sigma / row.sigma
            axes.errorbar(place, at, xerr=part, fmt="o", ms=6, color=colour, capsize=3)
            words = difference(row) + (" ?" if row.slip or row.doubtful else "")
            axes.text(SIDE + 0.4, at, words, va="center", fontsize=10, color=colour)
        axes.set_yticks(range(len(found.rows)), [printable(row.name) for row in found.rows])
        axes.set_ylim(len(found.rows) - 0.4, -0.6)
        axes.set_xlim(-SIDE - 0.3, SIDE + 0.3)
        axes.set_xlabel("standard deviations from the prediction; the bar is the reading's own")

    return drawn_svg("deviations", label, (8.5, height), draw)
