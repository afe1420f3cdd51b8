"""Figures of the drive at its job: speed and torque, loss. They draw what others computed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.records import MotionResult
from pcbstator.output.canvas.colours import phase_colour
from pcbstator.output.canvas.text import text_width
from pcbstator.output.plotting import drawn_svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH = 7.0  # inches
LEGEND = 10.0  # points of type
BLUE, RED = phase_colour("A"), phase_colour("C")
LIMITS = {"current": "current limit", "voltage": "voltage", "heat": "heat"}


def speed_torque_svg(motion: MotionResult) -> str:
    """Peak and continuous region over speed, with what the motion needs."""
    speeds = np.array([point["speed_rpm"] for point in motion.curve])
    peaks = 1e3 * np.array([point["peak_torque_n_m"] for point in motion.curve])

    def draw(axes: Sequence[Axes]) -> None:
        (ax,) = axes
        ax.fill_between(speeds, peaks, color=BLUE, alpha=0.15, linewidth=0)
        ax.plot(speeds, peaks, color=BLUE, label=f"intermittent: {_limits(motion, 'peak')}")
        if motion.curve and "continuous_torque_n_m" in motion.curve[0]:
            lasting = 1e3 * np.array([point["continuous_torque_n_m"] for point in motion.curve])
            ax.fill_between(speeds, lasting, color=BLUE, alpha=0.25, linewidth=0)
            warm = ", magnets warm" if (motion.warm_magnets or 1.0) < 0.999 else ""
            words = f"continuous: {_limits(motion, 'continuous')}{warm}"
            ax.plot(speeds, lasting, color=BLUE, linestyle=(0, (5, 2)), label=words)
        for top, torque, word, marker in _job_points(motion):
            ax.plot([top], [1e3 * torque], marker, color=RED, markersize=8, label=f"the motion's {word}", clip_on=False)
        if speeds[0] > 0:
            plain_log(ax, "x", float(speeds[0]), float(speeds[-1]))
        else:
            ax.set_xlim(0, max(float(speeds.max()), 1e-9))
        ax.set_ylim(0, None)
        _label(ax, "torque, mN·m", "speed, rpm")

    return _stack("speed-torque", "Torque over speed", 1, 4.0, draw)


def _limits(motion: MotionResult, word: str) -> str:
    """What limits a torque, from slow to fast."""
    found = dict.fromkeys(point[f"{word}_limited_by"] for point in motion.curve)
    return ", then ".join(LIMITS[each] for each in found)


def _job_points(motion: MotionResult) -> list[tuple[float, float, str, str]]:
    """Speed [rpm], torque [N m], name and marker of what the motion needs, at its top speed."""
    if motion.required_peak is None or motion.top_speed is None or motion.required_rms is None:
        return []
    top = motion.top_speed * 30 / np.pi
    return [(top, motion.required_peak, "peak", "^"), (top, motion.required_rms, "rms", "o")]


def loss_map_svg(motion: MotionResult) -> str:
    """Efficiency over speed and torque, each point with its loss, and where the motion is."""
    columns = {
        key: np.array([point[key] for point in motion.map])
        for key in ("speed_rpm", "torque_n_m", "loss_w", "efficiency")
    }

    def draw(axes: Sequence[Axes]) -> None:
        (ax,) = axes
        speeds, torques = columns["speed_rpm"], 1e3 * columns["torque_n_m"]
        ax.scatter(speeds, torques, c=columns["efficiency"], cmap="viridis", s=950, marker="s", vmin=0, vmax=1)
        for speed, torque, loss, efficiency in zip(speeds, torques, *list(columns.values())[2:], strict=True):
            part = f"{100 * efficiency:.2g}" if efficiency >= 1e-4 else "< 0.01"
            words = f"{part} %\n{loss:.2g} W"
            colour = "white" if efficiency < 0.55 else "black"
            ax.text(speed, torque, words, ha="center", va="center", fontsize=7, color=colour)
        for top, torque, word, marker in _job_points(motion):
            ax.plot([top], [1e3 * torque], marker, color=RED, markersize=9, markeredgecolor="white",
                    label=f"the motion's {word}", clip_on=False)  # fmt: skip
        ax.margins(0.09)
        for axis, values in (("x", np.unique(speeds)), ("y", np.unique(torques))):
            if _by_ratios(values):
                step = values[1] / values[0]
                plain_log(ax, axis, values[0] / step**0.7, values[-1] * step**0.7)
        _label(ax, "torque, mN·m", "speed, rpm")

    return _stack("loss-map", "Efficiency and loss over speed and torque", 1, 4.6, draw)


def _by_ratios(values: NDArray[np.float64]) -> bool:
    """Whether rising values go by even ratios rather than by even steps."""
    return len(values) > 2 and float(np.diff(values)[-1]) > 1.5 * float(np.diff(values)[0])


def plain_log(axes: Axes, axis: str, low: float, high: float) -> None:
    """A logarithmic axis whose marks are plain numbers."""
    marks = [step * 10.0**power for power in range(-6, 7) for step in (1, 2, 5)]
    marks = [mark for mark in marks if low <= mark <= high]
    if len(marks) > 9:
        marks = [mark for mark in marks if f"{mark:e}".startswith("1")]
    words = [np.format_float_positional(mark, precision=2, fractional=False, trim="-") for mark in marks]
    if axis == "x":
        axes.set_xscale("log")
        axes.set_xlim(low, high)
        axes.set_xticks(marks, words)
    else:
        axes.set_yscale("log")
        axes.set_ylim(low, high)
        axes.set_yticks(marks, words)
    axes.minorticks_off()


def _label(axes: Axes, vertical: str, horizontal: str = "") -> None:
    axes.set_ylabel(vertical)
    axes.set_xlabel(horizontal)
    axes.grid(color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    if axes.get_yscale() == "linear":
        axes.ticklabel_format(axis="y", useOffset=False)
    labels = axes.get_legend_handles_labels()[1]
    if labels:
        wide = sum(text_width(label, LEGEND) + 5 * LEGEND for label in labels)  # with line and space
        columns = 4 if wide < 72 * WIDTH else 2
        axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=columns, frameon=False, fontsize=LEGEND)


def _stack(name: str, label: str, rows: int, height: float, draw: Callable[[Sequence[Any]], None]) -> str:
    """Text of the SVG of pictures one below the other; the same data give the same bytes."""

    def fill(figure: Figure) -> None:
        draw(list(figure.subplots(rows, squeeze=False)[:, 0]))
        figure.align_ylabels()

    return drawn_svg(name, label, (WIDTH, height), fill)
