"""Figures of a study: its Pareto front with every design to hover over and to follow, and what its variables explain.

They draw what the study found. Every point of the Pareto front is a link to ``#design-NUMBER``, its row in the page.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.output.canvas.colours import INK, QUIET, phase_colour, tint
from pcbstator.output.canvas.places import along, label_offsets
from pcbstator.output.canvas.text import text_width
from pcbstator.output.plotting import drawn_svg
from pcbstator.output.study_report.words import (
    better_words,
    folded,
    hover_words,
    objective_keys,
    result_keys_of,
    result_words,
    shown_pareto,
    variable_words,
)
from pcbstator.study.records import Objective
from pcbstator.study.results import Best, Found, best_so_far, evenly

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

PARETO_PICTURE = "pareto-front"  # name of its file and of its ids
WIDTH = 8.0  # inches
PANEL = 2.7  # inches, of one pair of several objectives
MOST_LABELS = 25
MOST_POINTS = 3000  # of the Pareto front in all panels together: each is a link with a title
PANEL_LABELS = 7
LABEL = 8.0  # points of type, of the numbers beside points
FAR = 9.0  # points of type between a label and its point, from which on a line joins them
PANEL_DESIGNS = 600  # quiet ones in each of several panels
PARETO_COLOUR, CLOUD = phase_colour("B"), "#a8a8a8"
PLAIN_WORDS: dict[str, Any] = {"text.parse_math": False, "font.size": 10}  # the user's are never read as formulas
MOST_RESULTS = 12  # columns of the figure of influences
LEAST_TREND = 0.1  # rank correlation below which no direction is told
LEAST_SHARE = 0.005


def pareto_svg(found: Found) -> str | None:
    """The objectives of all designs that meet everything, with the Pareto front; None without either.

    One objective: over the number of the design, with the best so far; two: against each other; more: every pair.
    """
    shown = tuple(best for best in shown_pareto(found) if _finite(found, best))
    if not shown:
        return None
    count = len(found.study.objectives)
    shown = tuple(shown[place] for place in evenly(len(shown), MOST_POINTS // max(count * (count - 1) // 2, 1)))
    if count == 1:
        draw, size, panels = _draw_best(found, shown), (WIDTH, 4.6), 1
    elif count == 2:
        draw, size, panels = _draw_pair(found, shown), (WIDTH, 5.4), 1
    else:
        side = max(PANEL * (count - 1), WIDTH)
        draw, size, panels = _draw_pairs(found, shown), (side, 0.9 * side), count * (count - 1) // 2
    label = "Pareto front: the designs that no other design beats in all that was wanted"
    text = drawn_svg(PARETO_PICTURE, label, size, draw, PLAIN_WORDS)
    for panel in range(panels):
        text = _linked(text, f"{PARETO_PICTURE}-points-{panel}", found, shown)
    return text.replace('role="img"', 'role="group"', 1)  # an image would hide its links from a screen reader


def sensitivity_svg(found: Found) -> str | None:
    """The part of the spread of each result that each variable explains; None where nothing is known of it."""
    if not found.influences:
        return None
    known = {(influence.variable, influence.key): influence for influence in found.influences}
    keys = [key for key in result_keys_of(found) if any(key == other for _, other in known)]
    dropped, keys = keys[MOST_RESULTS:], keys[:MOST_RESULTS]
    variables, columns = found.study.variables, len(keys)
    cell = 0.95 if columns <= 7 else 0.8
    size = (2.2 + cell * columns, 2.1 + 0.36 * (len(variables) + 1) + (0.15 if dropped else 0.0))

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        for row, variable in enumerate(variables):
            for column, key in enumerate(keys):
                influence = known.get((variable.name, key))
                if influence is not None:
                    _cell(axes, column, row, influence.share, influence.direction)
        for column, key in enumerate(keys):
            total = sum(known[variable.name, key].share for variable in variables if (variable.name, key) in known)
            axes.text(column, len(variables), f"{100 * total:.0f} %", ha="center", va="center", fontsize=9)
        axes.axhline(len(variables) - 0.5, color=INK, linewidth=0.8)
        names = [*map(variable_words, variables), "together"]
        axes.set_yticks(range(len(names)), [folded(name, 9, 140) for name in names], fontsize=9)
        heads = [folded(result_words(found.study, key), 8, 68 * cell) for key in keys]
        axes.set_xticks(range(columns), heads, fontsize=8)
        axes.xaxis.tick_top()
        axes.tick_params(length=0)
        axes.set_xlim(-0.5, columns - 0.5)
        axes.set_ylim(len(variables) + 0.5, -0.5)
        for spine in axes.spines.values():
            spine.set_visible(False)
        words = (
            "Part of the spread of a result that a variable explains by itself, over all designs that fill the space "
            "evenly and meet everything. + the result grows with the variable, − it falls, no sign: no order or no "
            "single direction. What is missing to 100 % lies in the interplay of variables. The sum may pass 100 % by "
            "chance where designs are few, and where limits rule designs out, so that variables go together."
        )
        words += f" Not drawn: {_listed(found, dropped)}." if dropped else ""
        figure.supxlabel(folded(words, 8, 60 * size[0]), fontsize=8, color=INK, x=0.02, ha="left")

    return drawn_svg("sensitivity", "How much of each result each variable decides", size, draw, PLAIN_WORDS)


def _cell(axes: Axes, column: int, row: int, share: float, direction: float) -> None:
    from matplotlib.patches import Rectangle

    colour = tint(phase_colour("A"), share)
    axes.add_patch(Rectangle((column - 0.48, row - 0.46), 0.96, 0.92, facecolor=colour, edgecolor="none"))
    if share < LEAST_SHARE:
        axes.text(column, row, "0 %", ha="center", va="center", fontsize=9, color=QUIET)
        return
    sign = "" if abs(direction) < LEAST_TREND else " +" if direction > 0 else " −"
    ink = "white" if share > 0.65 else INK
    axes.text(column, row, f"{100 * share:.0f} %{sign}", ha="center", va="center", fontsize=9, color=ink)


def _listed(found: Found, keys: Sequence[str]) -> str:
    return ", ".join(result_words(found.study, key).partition(",")[0] for key in keys)


def _draw_best(found: Found, shown: Sequence[Best]) -> Callable[[Figure], None]:
    (objective,) = found.study.objectives

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        numbers, (values,) = found.numbers, _columns(found)
        known = np.isfinite(values)
        _cloud(axes, numbers, values, f"meets everything ({found.feasible})")
        so_far = best_so_far(objective, values[known])
        axes.step(numbers[known], so_far, where="post", color=PARETO_COLOUR, linewidth=1.2, label="best so far")
        places = np.array([best.number for best in shown], dtype=float)
        tops = np.array([best.results[objective.key] for best in shown])
        _points(axes, 0, places, tops, "the best")
        axes.set_xlabel("number of the design, in the order of the search")
        axes.set_ylabel(_axis_words(found, objective))
        _finish(figure, axes)
        _label_points(axes, places, tops, shown)

    return draw


def _draw_pair(found: Found, shown: Sequence[Best]) -> Callable[[Figure], None]:
    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        across, up = _columns(found)
        _cloud(axes, across, up, f"meets everything ({found.feasible})")
        xs, ys = _pareto_columns(found, shown)
        axes.plot(xs, ys, color=PARETO_COLOUR, linewidth=1.0)
        _points(axes, 0, xs, ys, f"Pareto front: no design beats it in both ({len(found.pareto_front)})")
        axes.set_xlabel(_axis_words(found, found.study.objectives[0]))
        axes.set_ylabel(_axis_words(found, found.study.objectives[1]))
        _finish(figure, axes)
        _label_points(axes, xs, ys, shown)

    return draw


def _draw_pairs(found: Found, shown: Sequence[Best]) -> Callable[[Figure], None]:
    objectives = found.study.objectives
    last = len(objectives) - 1

    def draw(figure: Figure) -> None:
        grid = figure.subplots(last, last, squeeze=False, sharex="col", sharey="row")
        columns, pareto_fronts = _columns(found), _pareto_columns(found, shown)
        part = evenly(len(found.numbers), PANEL_DESIGNS)
        pairs = [(row, column) for row in range(last) for column in range(row + 1)]
        for panel, (row, column) in enumerate(pairs):
            axes = grid[row, column]
            _cloud(axes, columns[column][part], columns[row + 1][part], f"meets everything ({found.feasible})")
            part_words = f", of these {len(shown)} drawn" if len(shown) < len(found.pareto_front) else ""
            words = f"Pareto front: none beats it in all ({len(found.pareto_front)}{part_words})"
            _points(axes, panel, pareto_fronts[column], pareto_fronts[row + 1], words)
            axes.grid(color="#dddddd", linewidth=0.6)
            axes.set_axisbelow(True)
            axes.tick_params(labelsize=9)
            if row == last - 1:
                axes.set_xlabel(_axis_words(found, objectives[column], 26 * 5.5), fontsize=10)
            if column == 0:
                axes.set_ylabel(_axis_words(found, objectives[row + 1], 26 * 5.5), fontsize=10)
        for row in range(last):
            for column in range(row + 1, last):
                grid[row, column].set_axis_off()
        handles, labels = grid[0, 0].get_legend_handles_labels()
        legend = grid[0, -1].legend(handles, labels, loc="upper right", frameon=False, fontsize=10)
        legend.set_in_layout(False)  # or it would push the columns apart
        _settle(figure)
        for row, column in pairs:
            _label_points(
                grid[row, column],
                pareto_fronts[column],
                pareto_fronts[row + 1],
                shown,
                evenly(len(shown), PANEL_LABELS),
            )

    return draw


def _columns(found: Found) -> list[FloatArray]:
    """The objectives of all drawn designs; NaN where one does not apply."""
    nothing = np.full(len(found.numbers), np.nan)
    columns = [found.columns.get(key, nothing) for key in objective_keys(found)]
    return [np.where(np.isfinite(column), column, np.nan) for column in columns]


def _pareto_columns(found: Found, shown: Sequence[Best]) -> list[FloatArray]:
    return [np.array([best.results[key] for best in shown]) for key in objective_keys(found)]


def _finite(found: Found, best: Best) -> bool:
    return all(np.isfinite(best.results.get(key, np.nan)) for key in objective_keys(found))


def _axis_words(found: Found, objective: Objective, width: float = 400.0) -> str:
    return f"{folded(result_words(found.study, objective.key), 10, width)}\n{better_words(objective)}"


def _cloud(axes: Axes, xs: FloatArray | NDArray[np.int64], ys: FloatArray, label: str) -> None:
    axes.plot(
        xs, ys, linestyle="none", marker="o", markersize=2.6, markerfacecolor="none", markeredgecolor=CLOUD,
        markeredgewidth=0.6, label=label,
    )  # fmt: skip


def _points(axes: Axes, panel: int, xs: FloatArray, ys: FloatArray, label: str) -> None:
    size, edge = (5.5, 0.5) if len(xs) < 60 else (4.5, 0.2)
    axes.plot(
        xs, ys, linestyle="none", marker="D", markersize=size, markerfacecolor=PARETO_COLOUR,
        markeredgecolor="white", markeredgewidth=edge, label=label, gid=f"points-{panel}", clip_on=False, zorder=4,
    )  # fmt: skip


def _finish(figure: Figure, axes: Axes) -> None:
    axes.grid(color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.ticklabel_format(useOffset=False)
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3, frameon=False, fontsize=10, markerscale=1.4)
    _settle(figure)


def _settle(figure: Figure) -> None:
    """Fixes the layout, so that what is placed from now on stays where it is."""
    figure.draw_without_rendering()
    figure.set_layout_engine("none")


def _label_points(
    axes: Axes, xs: FloatArray, ys: FloatArray, shown: Sequence[Best], chosen: Sequence[int] | None = None
) -> None:
    """The numbers of the chosen designs, else of some along the Pareto front, beside their points where they fit."""
    scale = 72 / axes.figure.dpi
    points = axes.transData.transform(np.column_stack([xs, ys])) * scale
    lines = axes.get_lines()
    others = axes.transData.transform(np.column_stack([lines[0].get_xdata(), lines[0].get_ydata()])) * scale
    frame = np.array(axes.get_window_extent().extents) * scale
    words = [str(best.number) for best in shown]
    sizes = np.array([(text_width(word, LABEL) + 2.0, LABEL + 1.0) for word in words])
    chosen = along(points, MOST_LABELS) if chosen is None else chosen
    places = label_offsets(points, sizes, others[np.isfinite(others).all(axis=1)], frame, chosen)
    for index, (dx, dy) in places.items():
        far = max(abs(dx) - sizes[index, 0] / 2, abs(dy) - sizes[index, 1] / 2) > FAR
        axes.annotate(
            words[index], (xs[index], ys[index]), (dx, dy), textcoords="offset points", ha="center", va="center",
            fontsize=LABEL, color=INK, zorder=5,
            arrowprops={"arrowstyle": "-", "color": QUIET, "linewidth": 0.5} if far else None,
        )  # fmt: skip


def _linked(text: str, group: str, found: Found, shown: Sequence[Best]) -> str:
    """Each marker of a group as a link to its design, with a title that a browser shows."""
    start = text.index(f'id="{group}"')
    first = text.index("<use", start)
    end = text.index("</g>", first)
    bests = iter(shown)

    def link(use: re.Match[str]) -> str:
        best = next(bests)
        words = escape(hover_words(found, best), quote=False)
        return f'<a href="#design-{best.number}"><title>{words}</title>{use[0]}</a>'

    return text[:first] + re.sub(r"<use\b[^>]*/>", link, text[first:end]) + text[end:]
