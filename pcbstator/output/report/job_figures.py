"""Figures of the drive at its job: speed and torque, loss. They draw what others computed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

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


def speed_torque_svg(motion: MotionResult) -> str:
    """Peak and continuous region over speed, with what the motion needs."""
    speeds = np.array([point["speed_rpm"] for point in motion.curve])
    peaks = 1e3 * np.array([point["peak_torque_n_m"] for point in motion.curve])

    def draw(axes: Sequence[Axes]) -> None:
        (ax,) = axes
        ax.fill_between(speeds, peaks, color=BLUE, alpha=0.15, linewidth=0)
        ax.plot(speeds, peaks, color=BLUE, label="intermittent: current limit and voltage")
        if motion.curve and "continuous_torque_n_m" in motion.curve[0]:
            lasting = 1e3 * np.array([point["continuous_torque_n_m"] for point in motion.curve])
            ax.fill_between(speeds, lasting, color=BLUE, alpha=0.25, linewidth=0)
            ax.plot(speeds, lasting, color=BLUE, linestyle=(0, (5, 2)), label="continuous: heat")
        if motion.required_peak is not None and motion.top_speed is not None and motion.required_rms is not None:
            top = motion.top_speed * 30 / np.pi
            for torque, word, marker in ((motion.required_peak, "peak", "^"), (motion.required_rms, "rms", "o")):
                ax.plot(
                    [top], [1e3 * torque], marker, color=RED, markersize=8, label=f"the motion's {word}", clip_on=False
                )
        ax.set_xlim(0, max(float(speeds.max()), 1e-9))
        ax.set_ylim(0, None)
        _label(ax, "torque, mN·m", "speed, rpm")

    return _stack("speed-torque", "Torque over speed", 1, 4.0, draw)


def loss_map_svg(motion: MotionResult) -> str:
    """Efficiency over speed and torque, each point as large as its loss."""
    columns = {
        key: np.array([point[key] for point in motion.map])
        for key in ("speed_rpm", "torque_n_m", "loss_w", "efficiency")
    }

    def draw(axes: Sequence[Axes]) -> None:
        (ax,) = axes
        ax.scatter(
            columns["speed_rpm"], 1e3 * columns["torque_n_m"], c=columns["efficiency"], cmap="viridis", s=950,
            marker="s", vmin=0, vmax=1,
        )  # fmt: skip
        for speed, torque, loss, efficiency in zip(*columns.values(), strict=True):
            words = f"{100 * efficiency:.0f} %\n{loss:.2g} W"
            colour = "white" if efficiency < 0.55 else "black"
            ax.text(speed, 1e3 * torque, words, ha="center", va="center", fontsize=7, color=colour)
        ax.margins(0.09)
        ax.set_xlabel("speed, rpm")
        ax.set_ylabel("torque, mN·m")

    return _stack("loss-map", "Efficiency and loss over speed and torque", 1, 4.6, draw)


def _label(axes: Axes, vertical: str, horizontal: str = "") -> None:
    axes.set_ylabel(vertical)
    axes.set_xlabel(horizontal)
    axes.grid(color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
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
