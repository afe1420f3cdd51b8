"""Figures of the drive at its job: speed and torque, loss, simulated scenarios. They draw what others computed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.records import MotionResult
from pcbstator.analysis.drive.scenarios import ScenarioRun
from pcbstator.output.canvas.colours import INK, QUIET, phase_colour
from pcbstator.output.canvas.text import text_width
from pcbstator.output.plotting import drawn_svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

WIDTH = 7.0  # inches
LEGEND = 10.0  # points of type
BLUE, RED = phase_colour("A"), phase_colour("C")
POINTS = 1500  # of a curve; the CSV has all


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


def scenario_svg(run: ScenarioRun) -> str:
    """One scenario as three pictures over time."""
    return _stack(f"run-{run.name}", run.title, 3, 6.6, _DRAWERS[run.name](run))


def _draw_following(run: ScenarioRun) -> Callable[[Sequence[Axes]], None]:
    trace = run.trace
    part = slice(None, None, max(1, len(trace.times) // POINTS))
    times = trace.times[part]

    def draw(axes: Sequence[Axes]) -> None:
        axes[0].plot(times, np.degrees(trace.wanted[part]), color=QUIET, linewidth=3, label="wanted")
        axes[0].plot(times, np.degrees(trace.angles[part]), color=BLUE, label="load")
        _label(axes[0], "angle, deg")
        axes[1].plot(times, np.degrees((trace.angles - trace.wanted)[part]), color=RED)
        _label(axes[1], "error, deg")
        _current(axes[2], run, part)

    return draw


def _draw_slow(run: ScenarioRun) -> Callable[[Sequence[Axes]], None]:
    trace = run.trace
    part = slice(None, None, max(1, len(trace.times) // POINTS))

    def draw(axes: Sequence[Axes]) -> None:
        step = float(trace.times[1] - trace.times[0])
        apart = max(1, round(0.02 / step))
        mean = (trace.angles[apart:] - trace.angles[:-apart]) / (apart * step) * 30 / np.pi
        axes[0].plot(trace.times[apart:][part], mean[part], color=BLUE, label="mean of 20 ms")
        axes[0].axhline(run.numbers["speed_rpm"], color=QUIET, linewidth=0.8, linestyle="--", label="wanted")
        _label(axes[0], "speed, rpm")
        axes[1].plot(trace.times[part], np.degrees((trace.angles - trace.wanted)[part]), color=RED)
        _label(axes[1], "error, deg")
        _current(axes[2], run, part)

    return draw


def _draw_approach(run: ScenarioRun) -> Callable[[Sequence[Axes]], None]:
    trace, numbers = run.trace, run.numbers
    part = slice(None, None, max(1, len(trace.times) // POINTS))

    def draw(axes: Sequence[Axes]) -> None:
        axes[0].plot(trace.times[part], np.degrees(trace.angles[part]), color=BLUE, label="load")
        _label(axes[0], "angle, deg")
        for key, word, marker in (("from_below_deg", "from below", "^"), ("from_above_deg", "from above", "v")):
            places = numbers.get(key, [])
            colour = BLUE if marker == "^" else RED
            axes[1].plot(range(1, len(places) + 1), places, marker, color=colour, markersize=9, label=f"mark, {word}")
        axes[1].axhline(0, color=QUIET, linewidth=0.8, linestyle="--")
        axes[1].set_xlim(0.5, numbers["approaches_from_each_side"] + 0.5)
        axes[1].set_xticks(range(1, numbers["approaches_from_each_side"] + 1))
        axes[1].margins(y=0.2)
        _label(axes[1], "off target, deg", "approach")
        _current(axes[2], run, part)

    return draw


def _draw_steps(run: ScenarioRun) -> Callable[[Sequence[Axes]], None]:
    trace, numbers = run.trace, run.numbers
    part = slice(None, None, max(1, len(trace.times) // POINTS))

    def draw(axes: Sequence[Axes]) -> None:
        axes[0].plot(trace.times[part], np.degrees(trace.wanted[part]), color=QUIET, linewidth=3, label="wanted")
        axes[0].plot(trace.times[part], np.degrees(trace.angles[part]), color=BLUE, label="load")
        _label(axes[0], "angle, deg")
        axes[1].bar(range(1, numbers["steps"] + 1), numbers["each_step_deg"], color=BLUE, width=0.7)
        axes[1].axhline(numbers["step_deg"], color=QUIET, linewidth=0.8, linestyle="--")
        _label(axes[1], "size, deg", "step")
        _current(axes[2], run, part)

    return draw


def _draw_hold(run: ScenarioRun) -> Callable[[Sequence[Axes]], None]:
    trace = run.trace
    part = slice(None, None, max(1, len(trace.times) // POINTS))

    def draw(axes: Sequence[Axes]) -> None:
        axes[0].plot(trace.times[part], 1e3 * trace.push[part], color=INK)
        _label(axes[0], "push, mN·m")
        axes[1].plot(trace.times[part], np.degrees(trace.angles[part]), color=BLUE)
        _label(axes[1], "angle, deg")
        _current(axes[2], run, part)

    return draw


_DRAWERS: dict[str, Callable[[ScenarioRun], Callable[[Sequence[Axes]], None]]] = {
    "moves": _draw_following,
    "slow": _draw_slow,
    "approach": _draw_approach,
    "steps": _draw_steps,
    "hold": _draw_hold,
}


def _current(axes: Axes, run: ScenarioRun, part: slice) -> None:
    axes.plot(run.trace.times[part], run.trace.current[part], color=INK, linewidth=0.8)
    _label(axes, "current, A", "time, s")


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
