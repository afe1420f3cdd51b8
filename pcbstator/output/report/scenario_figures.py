"""Figures of the simulated scenarios. They draw what others computed, narrow enough for a telephone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.simulation.scenarios import ScenarioRun
from pcbstator.output.canvas.colours import INK, QUIET, phase_colour
from pcbstator.output.plotting import drawn_svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]
Drawer = Callable[[ScenarioRun, Sequence[Any]], None]

WIDTH = 5.6  # inches
HEIGHT = 2.2  # inches a picture
LEGEND = 10.0  # points of type
BLUE, RED = phase_colour("A"), phase_colour("C")
POINTS = 1500  # of a curve; the CSV has all
ERROR = "error, deg"
BELIEVED = "as the sensor believes"


def scenario_svg(run: ScenarioRun) -> str:
    """One scenario as pictures one below the other; the same data give the same bytes."""
    rows, draw = _DRAWERS[run.name]
    if run.name == "slow" and "order" not in run.curves:
        rows -= 1

    def fill(figure: Figure) -> None:
        draw(run, list(figure.subplots(rows, squeeze=False)[:, 0]))
        figure.align_ylabels()

    return drawn_svg(f"run-{run.name}", run.title, (WIDTH, HEIGHT * rows), fill)


def _moves(run: ScenarioRun, axes: Sequence[Axes]) -> None:
    _wanted(axes[0], run)
    _errors(axes[1], run)
    _current(axes[2], run)


def _slow(run: ScenarioRun, axes: Sequence[Axes]) -> None:
    curves = run.curves
    angle = curves["angle_deg"]
    few = _few(len(angle))
    axes[0].plot(curves["speed_angle_deg"][few], curves["speed_rpm"][few], color=BLUE, label="mean of 20 ms")
    axes[0].axhline(run.numbers["speed_rpm"], color=QUIET, linewidth=0.8, linestyle="--", label="wanted")
    _label(axes[0], "speed, rpm")
    axes[1].plot(angle[few], curves["believed_error_deg"][few], color=QUIET, linewidth=0.8, label=BELIEVED)
    axes[1].plot(angle[few], curves["error_deg"][few], color=RED, label="load")
    _label(axes[1], ERROR)
    axes[2].plot(angle[few], curves["current_a"][few], color=INK, linewidth=0.8)
    _label(axes[2], "current, A", "angle, deg")
    if "order" in curves:
        _spectrum(axes[3], run)


def _spectrum(axes: Axes, run: ScenarioRun) -> None:
    """Ripple of the speed by order; the orders with a name as points."""
    orders, ripple = run.curves["order"], 100 * run.curves["order_ripple_ratio"]
    shown = ripple > 0
    axes.loglog(orders[shown], ripple[shown], color=QUIET, linewidth=0.8)
    for entry in run.numbers["orders"]:
        place = (entry["order"], 100 * entry["speed_ripple_ratio"])
        axes.plot(*place, "o", color=RED, markersize=6)
        axes.annotate(str(entry["order"]), place, (0, 6), textcoords="offset points", ha="center", fontsize=LEGEND)
    named = [100 * entry["speed_ripple_ratio"] for entry in run.numbers["orders"]]
    top = max([*named, float(ripple.max())])
    axes.set_ylim(top / 1e4, top * 4)
    axes.set_xlim(0.8, 2000)
    _label(axes, "speed ripple, %", "order: times per turn")


def _approach(run: ScenarioRun, axes: Sequence[Axes]) -> None:
    numbers = run.numbers
    order = np.argsort(numbers["at_deg"])
    places = np.array(numbers["at_deg"])[order]
    for side, marker, colour in (("below", "^", BLUE), ("above", "v", RED)):
        for prefix, line in (("", "-"), ("believed_", ":")):
            off = np.array(numbers[f"{prefix}from_{side}_deg"])[order]
            word = f"from {side}" if not prefix else None
            axes[0].plot(places, off, line, marker=marker if not prefix else None, color=colour, label=word)
    axes[0].plot([], [], ":", color=INK, label=BELIEVED)
    axes[0].axhline(0, color=QUIET, linewidth=0.8)
    _label(axes[0], "off target, deg", "target, deg")
    _errors(axes[1], run, f"at {numbers['worst_at_deg']:.4g}°: {ERROR}")
    for axis in axes[1:2]:
        band = 2.5 * max(numbers["worst_error_deg"], numbers["settled_within_deg"])
        axis.set_ylim(-band, band)
    _current(axes[2], run)


def _steps(run: ScenarioRun, axes: Sequence[Axes]) -> None:
    numbers = run.numbers
    _wanted(axes[0], run)
    sizes = numbers["each_step_deg"]
    axes[1].bar(range(1, len(sizes) + 1), sizes, color=BLUE, width=0.7)
    axes[1].axhline(numbers["step_deg"], color=QUIET, linewidth=0.8, linestyle="--")
    _label(axes[1], "size, deg", "step")
    _errors(axes[2], run)


def _hold(run: ScenarioRun, axes: Sequence[Axes]) -> None:
    trace, few = run.trace, _few(len(run.trace.times))
    axes[0].plot(trace.times[few], 1e3 * trace.push[few], color=INK)
    _label(axes[0], "push, mN·m")
    _errors(axes[1], run)
    axes[1].set_xlabel("time, s")
    pushes, turned = run.curves["nudge_n_m"], run.curves["nudge_deg"]
    order = np.argsort(pushes)
    axes[2].plot(turned[order], 1e3 * pushes[order], "o-", color=BLUE, markersize=4)
    _label(axes[2], "nudge, mN·m", "largest turn of the load, deg")


_DRAWERS: dict[str, tuple[int, Drawer]] = {
    "moves": (3, _moves),
    "slow": (4, _slow),
    "approach": (3, _approach),
    "steps": (3, _steps),
    "hold": (3, _hold),
}


def _few(count: int) -> slice:
    return slice(None, None, max(1, count // POINTS))


def _wanted(axes: Axes, run: ScenarioRun) -> None:
    trace, few = run.trace, _few(len(run.trace.times))
    axes.plot(trace.times[few], np.degrees(trace.wanted[few]), color=QUIET, linewidth=3, label="wanted")
    axes.plot(trace.times[few], np.degrees(trace.angles[few]), color=BLUE, label="load")
    _label(axes, "angle, deg")


def _errors(axes: Axes, run: ScenarioRun, vertical: str = ERROR) -> None:
    """Error over time, as seen and as believed."""
    times, few = run.trace.times, _few(len(run.trace.times))
    axes.plot(times[few], run.curves["believed_error_deg"][few], color=QUIET, linewidth=0.8, label=BELIEVED)
    axes.plot(times[few], run.curves["error_deg"][few], color=RED, label="load")
    _label(axes, vertical)


def _current(axes: Axes, run: ScenarioRun) -> None:
    few = _few(len(run.trace.times))
    axes.plot(run.trace.times[few], run.trace.current[few], color=INK, linewidth=0.8)
    _label(axes, "current, A", "time, s")


def _label(axes: Axes, vertical: str, horizontal: str = "") -> None:
    axes.set_ylabel(vertical)
    axes.set_xlabel(horizontal)
    axes.grid(color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    if axes.get_yscale() == "linear":
        axes.ticklabel_format(axis="y", useOffset=False)
    if axes.get_legend_handles_labels()[1]:
        axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3, frameon=False, fontsize=LEGEND)
