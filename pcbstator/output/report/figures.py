"""Figures of a report as self-contained SVG: EMF waves, their harmonics, torque over an electrical turn.

They draw arrays that others computed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import pi
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.output.canvas.colours import INK, QUIET, phase_colour
from pcbstator.output.plotting import drawn_svg
from pcbstator.output.words import figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from pcbstator.analysis.magnetic.waveforms import Waves

SIZE = (7.0, 3.6)  # inches; the type is chosen for a phone that shows the figure 4 inches wide
USUAL_RPM = 1000.0  # where there is no job
FAINTEST = 1e-5  # of the fundamental; what is weaker is not shown
_STYLES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)))


def emf_svg(waves: Waves, phases: Sequence[str], rpm: float = USUAL_RPM) -> str:
    """EMF of every phase, and between the first two terminals, over one electrical turn at ``rpm`` of the motor."""
    speed = f"{figures(rpm, 3)} rpm"
    size = rpm * pi / 30
    highest = size * float(np.abs(waves.line_emf[0] if len(waves.line_emf) else waves.phase_emf).max())
    unit, scale = ("mV", 1e3 * size) if highest < 0.5 else ("V", size)

    def draw(axes: Axes) -> None:
        degrees = np.degrees(waves.angles)
        for index, (name, wave) in enumerate(zip(phases, waves.phase_emf * scale, strict=True)):
            style = _STYLES[index % len(_STYLES)]
            axes.plot(degrees, wave, color=phase_colour(name), linestyle=style, linewidth=2, label=f"phase {name}")
        if len(waves.line_emf):
            pair = f"between {phases[0]} and {phases[1]}"
            axes.plot(degrees, waves.line_emf[0] * scale, color=INK, linewidth=1.2, label=pair)
        axes.set_ylabel(f"EMF at {speed}, {unit}")
        _turn_axis(axes)
        _legend_above(axes)

    return figure_svg("emf", f"EMF of the phases over one electrical turn at {speed}", draw)


def harmonics_svg(orders: Sequence[int], ratios: Sequence[float], hidden: int | None) -> str:
    """Harmonics of the phase EMF over the fundamental; ``hidden``: multiples of it cancel between terminals."""

    def draw(axes: Axes) -> None:
        for order, ratio in zip(orders, ratios, strict=True):
            if ratio < FAINTEST:
                axes.text(order, 1.25e-3, "–", ha="center", color=QUIET)
                continue
            cancels = bool(hidden) and order % (hidden or 1) == 0
            fill, hatch = ("white", "////") if cancels else (phase_colour("A"), None)
            axes.bar(order, 100 * ratio, width=1.2, edgecolor=phase_colour("A"), facecolor=fill, hatch=hatch)
            axes.text(order, 115 * ratio, _percent(100 * ratio), ha="center", va="bottom", fontsize=8.5)
        axes.set_yscale("log")
        axes.set_ylim(100 * FAINTEST, 400)
        axes.set_xlim(min(orders) - 1.2, max(orders) + 1.2)
        axes.set_xticks(list(orders))
        axes.set_yticks([1e-3, 1e-2, 0.1, 1, 10, 100], ["0.001", "0.01", "0.1", "1", "10", "100"])
        axes.minorticks_off()
        axes.set_xlabel("order")
        axes.set_ylabel("part of fundamental, %")

    return figure_svg("harmonics", "Harmonics of the phase EMF", draw)


def torque_svg(waves: Waves, ripple: float) -> str:
    """Torque of sine current over one electrical turn as a part of its mean, with its ripple written in."""

    def draw(axes: Axes) -> None:
        mean = float(waves.torque[:-1].mean())
        percent = 100 * waves.torque / mean
        low, high = float(percent.min()), float(percent.max())
        height = max(high - low, 0.02)
        axes.plot(np.degrees(waves.angles), percent, color=INK, linewidth=2)
        axes.axhline(100, color=QUIET, linewidth=0.8, linestyle=(0, (4, 3)))
        for level in (low, high):
            axes.axhline(level, color=QUIET, linewidth=0.6, linestyle=":")
        axes.set_ylim(low - 0.25 * height, high + 0.6 * height)
        words = f"peak to peak {_percent(100 * ripple)} % of the mean"
        axes.text(180, high + 0.2 * height, words, ha="center", va="bottom")
        axes.ticklabel_format(axis="y", useOffset=False)
        axes.set_ylabel("part of mean torque, %")
        _turn_axis(axes)

    return figure_svg("torque", "Torque of sine current over one electrical turn", draw)


def _percent(value: float) -> str:
    """Two figures, never in powers of ten.

    >>> _percent(0.058412), _percent(100.0), _percent(3.0)
    ('0.058', '100', '3')
    """
    return np.format_float_positional(value, precision=2, unique=False, fractional=False, trim="-")


def _turn_axis(axes: Axes) -> None:
    axes.set_xlim(0, 360)
    axes.set_xticks(range(0, 361, 60))
    axes.set_xlabel("electrical rotor angle, degrees")
    axes.grid(color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)


def _legend_above(axes: Axes) -> None:
    place = (0.5, 1.0)
    axes.legend(loc="lower center", bbox_to_anchor=place, ncols=4, frameon=False, handlelength=2.4, columnspacing=1.2)


def figure_svg(name: str, label: str, draw: Callable[[Axes], None]) -> str:
    """Text of the SVG that ``draw`` makes of a pair of axes; the same data give the same bytes."""
    return drawn_svg(name, label, SIZE, lambda figure: draw(figure.subplots()))
