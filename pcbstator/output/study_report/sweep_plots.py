"""Plain plots of a sweep: each result over each variable, so that a reader sees how one follows the other."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.output.canvas.colours import phase_colour
from pcbstator.output.plotting import drawn_svg
from pcbstator.output.study_report.figures import PLAIN_WORDS
from pcbstator.output.study_report.words import folded, number_words, result_keys_of, result_words, variable_words
from pcbstator.study.records import Variable
from pcbstator.study.results import Found

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

SIZE = 4.2, 3.1  # inches: as wide as a telephone
MOST_RESULTS, MOST_VARIABLES = 8, 4
MOST_LINES = 6  # values of another variable that are told apart by a line each
MOST_MARKS = 1500


def sweep_svgs(found: Found) -> dict[str, str]:
    """A picture of every result over every variable that takes numbers, by name; none for a search."""
    if found.study.objectives or len(found.numbers) < 2:
        return {}
    keys = [
        key for key in result_keys_of(found) if len(np.unique(found.columns[key][np.isfinite(found.columns[key])])) > 1
    ]
    pictures = {}
    for number, key in enumerate(keys[:MOST_RESULTS], start=1):
        shown = 0
        for place, variable in enumerate(found.study.variables):
            if shown == MOST_VARIABLES or not variable.ordered or len(np.unique(found.parts[:, place])) < 2:
                continue
            shown += 1
            name = f"sweep-{number}-{shown}"
            label = f"{result_words(found.study, key)} over {variable_words(variable)}"
            pictures[name] = drawn_svg(name, _plain(label), SIZE, _draw(found, key, place), PLAIN_WORDS)
    return pictures


def _plain(words: str) -> str:
    return "".join(letter for letter in words if letter not in "<>&\"'")


def _draw(found: Found, key: str, place: int) -> Callable[[Figure], None]:
    """A result over one variable: a line for each value of the other where there are two, else all designs as points
    with the middle one of each value.
    """
    variable, values = found.study.variables[place], found.columns[key]
    x = np.array([_number(variable, part) for part in found.parts[:, place]])

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        for number, (label, rows) in enumerate(_lines(found, place)):
            rows = rows & np.isfinite(values)
            order = np.argsort(x[rows], kind="stable")
            style = ("o-", "s--", "^:", "D-.", "v-", "P--")[number]
            colour = phase_colour("ABC"[number % 3])
            axes.plot(x[rows][order], values[rows][order], style, color=colour, markersize=4, label=label or None)
        if not axes.lines:
            known = np.flatnonzero(np.isfinite(values))
            known = known[:: max(len(known) // MOST_MARKS, 1)]
            axes.plot(x[known], values[known], ".", color="#a8a8a8", markersize=4)
            places, middles = _middles(x[known], values[known])
            axes.plot(places, middles, "o-", color=phase_colour("A"), markersize=4, label="middle of all designs")
        if any(not str(line.get_label()).startswith("_") for line in axes.lines):
            axes.legend(fontsize=7, frameon=False)
        axes.set_xlabel(folded(variable_words(variable), 9, 260), fontsize=9)
        axes.set_ylabel(folded(result_words(found.study, key), 9, 200), fontsize=9)
        axes.tick_params(labelsize=8)
        axes.ticklabel_format(style="plain", useOffset=False)

    return draw


def _number(variable: Variable, part: float) -> float:
    """The value of a variable that takes numbers at a part of its range."""
    return float(variable.shown(variable.at(float(part))))


def _lines(found: Found, place: int) -> list[tuple[str, NDArray[np.bool_]]]:
    """What each line is for, and its rows; none where more than one other variable has a say."""
    others = [other for other in range(len(found.study.variables)) if other != place
              and len(np.unique(found.parts[:, other])) > 1]  # fmt: skip
    if not others:
        return [("", np.ones(len(found.parts), dtype=bool))]
    values = np.unique(found.parts[:, others[0]])
    if len(others) > 1 or len(values) > MOST_LINES:
        return []
    variable = found.study.variables[others[0]]
    name = variable_words(variable).partition(",")[0]
    return [
        (f"{name} {number_words(variable.shown(variable.at(float(part))))}", found.parts[:, others[0]] == part)
        for part in values
    ]


def _middles(x: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The median of the values over x, of each x by itself where they are few, else in ten bands."""
    places = np.unique(x)
    if len(places) <= 3 * MOST_LINES:
        return places, np.array([np.median(values[x == place]) for place in places])
    bands = np.array_split(np.argsort(x, kind="stable"), 10)
    return np.array([x[band].mean() for band in bands]), np.array([np.median(values[band]) for band in bands])
