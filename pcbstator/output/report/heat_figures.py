"""Figures about heat: temperature over time, and the current that a time allows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.output.canvas.colours import INK, QUIET, phase_colour
from pcbstator.output.report.figures import figure_svg
from pcbstator.output.words import figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from pcbstator.analysis.thermal.curves import HeatCurves

_STYLES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)))
_TIMES = ((1, "1 s"), (10, "10 s"), (60, "1 min"), (600, "10 min"), (3600, "1 h"), (36000, "10 h"))


def heating_svg(curves: HeatCurves, in_motion: float | None = None) -> str:
    """Hottest copper over time from cold at several currents, with the board's limit and, where it is known, with what
    the repeated motion reaches [C]."""

    def draw(axes: Axes) -> None:
        colours = (*map(phase_colour, "ABC"), INK)
        for index, curve in enumerate(curves.heating):
            later = curve.time > 0
            axes.plot(
                curve.time[later], curve.temperature_c[later], color=colours[index % 4], linewidth=2,
                linestyle=_STYLES[index % len(_STYLES)], label=f"{figures(curve.current, 2)} A",
            )  # fmt: skip
        axes.axhline(curves.limit_c, color=INK, linewidth=1.0, linestyle=(0, (4, 3)))
        axes.text(curves.time[0], curves.limit_c + 1.5, f" limit {figures(curves.limit_c, 3)} °C", va="bottom")
        if in_motion is not None:
            axes.axhline(in_motion, color=INK, linewidth=1.0, linestyle=":")
            words = f"in the motion {figures(in_motion, 3)} °C "
            axes.text(curves.time[-1], in_motion + 1.5, words, ha="right", va="bottom")
        _time_axis(axes, curves)
        axes.set_ylabel("hottest copper, °C")
        axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=4, frameon=False, handlelength=2.4)

    return figure_svg("heating", "Temperature over time at several currents", draw)


def allowed_svg(curves: HeatCurves) -> str:
    """Current that may flow for a time, from cold and from warm, and continuously."""

    def draw(axes: Axes) -> None:
        axes.plot(curves.time, curves.cold, color=phase_colour("A"), linewidth=2, label="from cold")
        if curves.warm is not None:
            axes.plot(
                curves.time, curves.warm, color=phase_colour("B"), linewidth=2, linestyle=_STYLES[1], label="from warm"
            )
        axes.axhline(curves.continuous, color=INK, linewidth=1.0, linestyle=(0, (4, 3)))
        words = f" continuous {figures(curves.continuous, 3)} A"
        axes.text(curves.time[0], curves.continuous * 1.03, words, va="bottom")
        axes.set_yscale("log")
        low, high = curves.continuous * 0.8, float(curves.cold.max()) * 1.2
        marks = [step * 10.0**power for power in range(-4, 4) for step in (1, 2, 3, 5)]
        marks = [mark for mark in marks if low <= mark <= high]
        axes.set_yticks(marks, [figures(mark, 2) for mark in marks])
        axes.minorticks_off()
        axes.set_ylim(low, high)
        _time_axis(axes, curves)
        axes.set_ylabel("rms phase current, A")
        axes.legend(loc="upper right", frameon=False)

    return figure_svg("allowed", "Current over the time that it may flow", draw)


def _time_axis(axes: Axes, curves: HeatCurves) -> None:
    axes.set_xscale("log")
    axes.set_xlim(float(curves.time[0]), float(curves.time[-1]))
    shown = [(time, words) for time, words in _TIMES if curves.time[0] <= time <= curves.time[-1]]
    axes.set_xticks([time for time, _ in shown], [words for _, words in shown])
    axes.minorticks_off()
    axes.set_xlabel("time")
    axes.grid(color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines["left"].set_color(QUIET)
