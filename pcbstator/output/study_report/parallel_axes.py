"""The designs of a study as lines across one axis for every variable and every result."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.output.canvas.colours import INK, QUIET, phase_colour
from pcbstator.output.canvas.text import known_glyphs
from pcbstator.output.plotting import drawn_svg, plain_settings
from pcbstator.output.study_report.figures import PLAIN_WORDS
from pcbstator.output.study_report.words import (
    folded,
    number_words,
    objective_keys,
    result_keys_of,
    result_words,
    shown_pareto,
    variable_words,
)
from pcbstator.study.records import Variable
from pcbstator.study.results import Found, evenly

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

MOST_AXES = 12
MOST_QUIET = 200  # designs behind the Pareto front
MOST_STRONG = 60  # designs of the Pareto front
MOST_SWEPT = 100  # designs of a sweep
MOST_TICKS = 9
RESULT_TICKS = 6  # or less, of numbers
END_MARGIN = 0.06  # part of an axis beside its ends that has no ticks
HEIGHT = 5.4  # inches
LETTERS, HEAD = 7.5, 8.5  # points of type, of ticks and of the heads of axes
CLOUD = "#b8b8b8"
# The best third first: apart in hue, in line and in words.
STYLES: tuple[tuple[str, Any], ...] = (
    (phase_colour("A"), "-"), (phase_colour("C"), (0, (6, 2))), (phase_colour("B"), (0, (1.5, 1.5))),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Upright:
    """One of the axes: its words, where the drawn designs (n,) lie on it, 0 to 1, and its ticks with their words."""

    words: str
    kind: str
    places: FloatArray
    ticks: tuple[tuple[float, str], ...]


def parallel_svg(found: Found) -> str | None:
    """Parallel coordinates of the designs that meet everything, the Pareto front strong; None where there is none.

    Without a Pareto front, all are coloured by the first result.
    """
    if not len(found.numbers):
        return None
    with plain_settings():  # also for the choice of ticks
        uprights, dropped = _uprights(found)
    if len(uprights) < 2:
        return None
    step = min(max(8.0 / len(uprights), 0.95), 1.6)  # inches between axes
    size = (step * len(uprights) + 0.6, HEIGHT)

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        axes.set_axis_off()
        axes.set_xlim(-0.3, len(uprights) - 0.3)
        axes.set_ylim(-0.03, 1.0)
        places = np.column_stack([upright.places for upright in uprights])
        _lines(axes, found, places)
        for index, upright in enumerate(uprights):
            _draw_upright(axes, index, upright, 72 * step)
        if dropped:
            words = f"Not drawn: {', '.join(dropped)}."
            figure.supxlabel(folded(words, LETTERS, 62 * size[0]), fontsize=LETTERS, color=INK, x=0.02, ha="left")

    return drawn_svg("parallel", "Variables and results of the designs, one line each", size, draw, PLAIN_WORDS)


def _uprights(found: Found) -> tuple[list[Upright], list[str]]:
    """The axes, and the words of what is left out: too many, or the same in all designs."""
    study, wanted = found.study, objective_keys(found)
    keys = [key for key in result_keys_of(found) if key in found.columns and _varies(found.columns[key])]
    most = MOST_AXES - sum(key in wanted for key in keys)
    variables = study.variables[:most]
    drawn = keys[: MOST_AXES - len(variables)]
    uprights = [_of_variable(variable, found.parts[:, column]) for column, variable in enumerate(variables)]
    for key in drawn:
        goals = [objective.goal for objective in study.objectives if objective.key == key]
        kind = "result" if not goals else "↑ more is better" if goals == ["most"] else "↓ less is better"
        uprights.append(_of_result(result_words(study, key), kind, found.columns[key]))
    dropped = [variable_words(variable).partition(",")[0] for variable in study.variables[most:]]
    for key in result_keys_of(found):
        if key not in drawn:
            dropped.append(result_words(study, key).partition(",")[0] + ("" if key in keys else " (the same in all)"))
    return uprights, dropped


def _varies(values: FloatArray) -> bool:
    """Whether there is anything to see: an axis on which all designs lie in one point would only tie up the lines."""
    known = values[np.isfinite(values)]
    return bool(len(known)) and float(np.ptp(known)) > 1e-9 * float(np.abs(known).max())


def _of_variable(variable: Variable, parts: FloatArray) -> Upright:
    from matplotlib.ticker import MaxNLocator

    count = len(variable.options)
    if count:
        step = ceil((count - 1) / (MOST_TICKS - 1)) or 1
        last = [count - 1] if (count - 1) % step else []
        options = [*range(0, count - (step if last else 0), step), *last]
        ticks = [(variable.part(option), number_words(variable.shown(option))) for option in options]
    else:
        marks = MaxNLocator(RESULT_TICKS).tick_values(variable.low, variable.high)
        inner = [float(mark) for mark in marks if END_MARGIN < variable.part(float(mark)) < 1 - END_MARGIN]
        values = [variable.low, *inner, variable.high]
        ticks = [(variable.part(value), number_words(float(f"{value:.5g}"))) for value in values]
    return Upright(variable_words(variable), "varied", parts, tuple(ticks))


def _of_result(words: str, kind: str, values: FloatArray) -> Upright:
    from matplotlib.ticker import MaxNLocator

    known = np.where(np.isfinite(values), values, np.nan)
    low, high = float(np.nanmin(known)), float(np.nanmax(known))
    marks = MaxNLocator(RESULT_TICKS).tick_values(low, high)
    low, high = float(marks[0]), float(marks[-1])
    ticks = tuple((float((mark - low) / (high - low)), number_words(float(f"{mark:.6g}"))) for mark in marks)
    return Upright(words, kind, (known - low) / (high - low), ticks)


def _draw_upright(axes: Axes, index: int, upright: Upright, step: float) -> None:
    """An axis with its ticks to the right of it and its head above; ``step``: distance to the next one, points."""
    from matplotlib.patheffects import withStroke

    halo = [withStroke(linewidth=2.5, foreground="white")]
    axes.plot([index, index], [0, 1], color=INK, linewidth=1.0, zorder=5, clip_on=False)
    for place, words in upright.ticks:
        axes.plot([index, index + 0.04], [place, place], color=INK, linewidth=1.0, zorder=5, clip_on=False)
        axes.text(
            index + 0.06, place, _short(words, 0.85 * step), fontsize=LETTERS, va="center", ha="left", zorder=6,
            path_effects=halo,
        )  # fmt: skip
    head = folded(upright.words, HEAD, 0.92 * step)
    axes.annotate(
        head, (index, 1.0), (0, 22), textcoords="offset points", fontsize=HEAD, ha="center", va="bottom",
        annotation_clip=False,
    )  # fmt: skip
    axes.annotate(
        upright.kind, (index, 1.0), (0, 8), textcoords="offset points", fontsize=LETTERS - 0.5, ha="center",
        va="bottom", color=QUIET, annotation_clip=False,
    )  # fmt: skip


def _short(words: str, width: float) -> str:
    """In at most two lines of ``width`` points."""
    lines = folded(words, LETTERS, width).split("\n")
    if len(lines) > 2:
        lines = [lines[0], lines[1].rstrip(" ,;") + "…"]
    return "\n".join(lines)


def _lines(axes: Axes, found: Found, places: FloatArray) -> None:
    """Quiet lines for some designs, strong ones in thirds of the first objective, or of the first result."""
    chosen = {best.number for best in shown_pareto(found)}
    strong = np.array([number in chosen for number in found.numbers], dtype=bool)
    keys = objective_keys(found)[:1] if chosen else found.keys[:1]
    values = found.columns.get(keys[0]) if keys else None
    if not chosen:
        some = np.array(evenly(len(places), MOST_SWEPT))
        if values is None or len(np.unique(values[some][np.isfinite(values[some])])) < 2:
            _bundle(axes, places[some], QUIET, "-", 0.6, f"meets everything ({found.feasible})")
            return
    else:
        others = np.flatnonzero(~strong)
        quiet = others[evenly(len(others), MOST_QUIET)]
        _bundle(axes, places[quiet], CLOUD, "-", 0.5, f"meets everything ({found.feasible})")
        best = np.flatnonzero(strong)
        values = np.full(len(places), np.nan) if values is None else values
        best = best[np.argsort(values[best], kind="stable")]
        some = best[evenly(len(best), MOST_STRONG)]
    goal = found.study.objectives[0].goal if chosen else "most"
    name = result_words(found.study, keys[0]) if keys else ""
    for group, (colour, line) in zip(_thirds(values, some, goal), STYLES, strict=True):
        if len(group):
            low, high = (number_words(float(edge), 3) for edge in (values[group].min(), values[group].max()))
            words = f"{'Pareto front: ' if chosen else ''}{name}: {low} to {high}" if low != high else f"{name}: {low}"
            _bundle(axes, places[group], colour, line, 1.1 if chosen else 0.7, known_glyphs(words))
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.01), ncols=2, frameon=False, fontsize=9, handlelength=3.2)


def _thirds(values: FloatArray, some: NDArray[np.int64], goal: str) -> list[NDArray[np.int64]]:
    """The designs in three groups by thirds of the spread of their values, the best first; without value: in none."""
    known = some[np.isfinite(values[some])]
    if not len(known):
        return [known] * len(STYLES)
    low, high = float(values[known].min()), float(values[known].max())
    part = (values[known] - low) / (high - low) if high > low else np.zeros(len(known))
    part = 1 - part if goal == "most" and high > low else part
    third = np.minimum((part * len(STYLES)).astype(int), len(STYLES) - 1)
    return [known[third == group] for group in range(len(STYLES))]


def _bundle(axes: Axes, rows: FloatArray, colour: str, line: Any, width: float, label: str) -> None:
    from matplotlib.collections import LineCollection

    across = np.arange(rows.shape[1], dtype=float)
    pieces: Sequence[FloatArray] = [np.column_stack([across, row]) for row in rows]
    if len(pieces):
        axes.add_collection(
            LineCollection(pieces, colors=colour, linestyles=[line], linewidths=width, label=label), autolim=False
        )
