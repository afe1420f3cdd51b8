"""What a study asked for and found, in words and in rows: shared by its page, its figures and the terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isfinite

import numpy as np

from pcbstator.analysis.cost import invented_prices
from pcbstator.output.canvas.text import known_glyphs, wrapped
from pcbstator.output.words import figures
from pcbstator.study.confirm import Confirmation
from pcbstator.study.keys import unit_of, words_of
from pcbstator.study.records import Constraint, Objective, Study, Variable
from pcbstator.study.results import Best, Found, evenly

MOST_ROWS = 1000  # of the Pareto front in page and figures; designs.csv marks all
LISTED = 8  # options that are named one by one
NONE = "–"  # stands for a number that does not apply


def folded(words: str, size: float, width: float) -> str:
    """Words in lines of at most ``width`` points; a unit that does not fit behind its name goes below it.

    >>> folded("board temperature, °C", 8.0, 60.0)
    'board\\ntemperature,\\n°C'
    """
    name, comma, unit = words.rpartition(", ")
    if comma and " " not in unit and len(wrapped(words, size, width)) > len(wrapped(f"{name},", size, width)):
        lines = [*wrapped(f"{name},", size, width), *wrapped(unit, size, width)]
    else:
        lines = wrapped(words, size, width)
    return "\n".join(map(known_glyphs, lines))


def number_words(value: float | str | None, digits: int = 4) -> str:
    """A value of a table; text stays as it is.

    >>> number_words(0.0576437), number_words(float("nan")), number_words("thin"), number_words(6), number_words(2e-9)
    ('0.05764', '–', 'thin', '6', '2e-09')
    >>> number_words(1387.79227, 3), number_words(123456)
    ('1388', '123456')
    """
    if isinstance(value, str):
        return value
    if value is None or np.isnan(value):
        return NONE
    if value and not (isfinite(value) and 1e-6 <= abs(value) < 1e9):
        return f"{value:.{digits}g}"
    return figures(value, max(digits, len(f"{abs(value):.0f}")))


def variable_words(variable: Variable) -> str:
    """The name of a variable as a reader sees it: a name of the user's own stays as it is.

    >>> variable_words(Variable("rotor.magnet.thickness_mm")), variable_words(Variable("board.layers"))
    ('magnet thickness, mm', 'layers')
    >>> from pcbstator.study.records import Option
    >>> variable_words(Variable("screws of 2.5 mm", options=(Option("none", ()),), ordered=False))
    'screws of 2.5 mm'
    """
    if variable.options and variable.name not in dict(variable.options[0].settings):
        return variable.name
    return key_words(variable.name)


def key_words(key: str) -> str:
    """A key of a design as a reader sees it, with the table it stands in where that lies within another."""
    sections = key.split(".")[:-1]
    part = f"{sections[-1].replace('_', ' ')} " if len(sections) > 1 else ""
    return part + words_of(key)


def result_words(study: Study, key: str) -> str:
    """A result as a reader sees it, prices with their currency."""
    currency = dict(study.prices).get("currency")
    return f"{words_of(key)}, {currency}" if currency and key.startswith("cost.") else words_of(key)


def shown_pareto(found: Found) -> tuple[Best, ...]:
    """The Pareto front, or as many of its designs as page and figures hold, evenly taken."""
    return tuple(found.pareto_front[place] for place in evenly(len(found.pareto_front), MOST_ROWS))


def objective_keys(found: Found) -> tuple[str, ...]:
    """The results that were to become least or most."""
    return tuple(objective.key for objective in found.study.objectives)


def result_keys_of(found: Found) -> tuple[str, ...]:
    """Every kept result, the objectives first; those that only designs of the Pareto front have count as well."""
    more = (key for best in found.pareto_front for key in best.results)
    return tuple(dict.fromkeys((*(objective_keys(found) if found.pareto_front else ()), *found.keys, *more)))


def better_words(objective: Objective) -> str:
    """Which way is better, for the end of an axis that grows to the right or, turned, upwards."""
    return "more is better →" if objective.goal == "most" else "← less is better"


def asked_words(study: Study) -> list[str]:
    """What was asked, in sentences: what varies, what is required, what is wanted."""
    lines = ["Varied: " + "; ".join(map(_range_words, study.variables)) + "."]
    if study.constraints:
        lines.append("Required: " + "; ".join(_constraint_words(study, each) for each in study.constraints) + ".")
    if study.objectives:
        wanted = (f"the {each.goal} {result_words(study, each.key).partition(', ')[0]}" for each in study.objectives)
        lines.append("Wanted: " + "; ".join(wanted) + ".")
    else:
        lines.append("Nothing was to be made least or most: this is a sweep.")
    return lines


def _range_words(variable: Variable) -> str:
    named = variable_words(variable)
    unit = unit_of(variable.name) if variable.ordered and named != variable.name else ""
    name = named.removesuffix(f", {unit}") if unit else named
    if not variable.options:
        return f"{name} from {variable.low:g} to {variable.high:g} {unit}".strip()
    labels = [number_words(variable.shown(place)) for place in range(len(variable.options))]
    if len(labels) <= LISTED:
        return f"{name}: {', '.join(labels)} {unit}".strip()
    kind = "values" if variable.ordered else "choices"
    return f"{name}: {len(labels)} {kind} from {labels[0]} to {labels[-1]} {unit}".strip()


def _constraint_words(study: Study, constraint: Constraint) -> str:
    name, unit = words_of(constraint.key), unit_of(constraint.key)
    if isinstance(constraint.limit, float):
        limit = f"{constraint.times * constraint.limit:g} {unit}".strip()
        return f"{name.removesuffix(f', {unit}')} at {constraint.sense} {limit}"
    factor = f"{constraint.times:g} × " if constraint.times != 1 else ""
    return f"{name} at {constraint.sense} {factor}{result_words(study, constraint.limit)}"


def number_rows(found: Found) -> list[tuple[str, str]]:
    """What was counted, and how far the quick numbers are to be trusted."""
    rows = [("designs looked at", str(found.designs)), ("of these meet everything", str(found.feasible))]
    if not found.study.objectives:
        return rows
    rows.append(("on the Pareto front", str(len(found.pareto_front))))
    confirmed = [best.confirmation for best in found.pareto_front if best.confirmation is not None]
    rows.append(("of these predicted in full", str(len(confirmed))))
    rows.append(("found unfit when predicted in full, and left out", str(found.unfit)))
    if confirmed:
        rows.append(("largest difference of the quick numbers from the full prediction", difference_words(confirmed)))
    return rows


def difference_words(confirmed: Sequence[Confirmation]) -> str:
    """The largest difference in percent, and of what.

    >>> difference_words([Confirmation("", 0, 0.0123, "thermal.continuous_torque_n_m")])
    '1.2 % (continuous torque)'
    """
    worst = max(confirmed, key=lambda confirmation: confirmation.difference)
    percent = 100 * worst.difference
    words = "below 0.01 %" if percent < 0.01 else f"{number_words(percent, 2)} %"
    return f"{words} ({words_of(worst.differs).partition(',')[0]})" if worst.differs else words


def pin_words(variable: Variable, end: str) -> str:
    """What to do where every design of the Pareto front lies at one end of a variable.

    >>> pin_words(Variable("board.thickness_mm", low=0.8, high=1.6), "upper")
    'thickness, mm: the whole Pareto front lies at the upper end, 1.6; widen it, there may be better ones beyond'
    """
    value = number_words(variable.shown(variable.at(0.0 if end == "lower" else 1.0)))
    return (
        f"{variable_words(variable)}: the whole Pareto front lies at the {end} end, {value}; widen it, there may be "
        "better ones beyond"
    )


def price_words(found: Found) -> str:
    """How far prices are invented; nothing where no price is shown."""
    if not any(key.startswith("cost.") for key in result_keys_of(found)):
        return ""
    own, invented = dict(found.study.prices), invented_prices()
    kept = [name for name in invented if name != "currency" and own.get(name, invented[name]) == invented[name]]
    if len(kept) >= len(invented) - 1:
        return (
            "All prices are invented: they tell designs apart, not what you will pay. State your own under [prices] in "
            "the study."
        )
    words = "The prices are those of the study: they tell designs apart and are no quotation."
    return f"{words} Still as the program came with them, invented: {', '.join(kept)}." if kept else words


def hover_words(found: Found, best: Best) -> str:
    """A design in a few lines: its number, what was wanted of it, its variables."""
    study = found.study
    lines = [f"design {best.number}"]
    lines += [_pair(result_words(study, key), best.results.get(key)) for key in objective_keys(found)]
    lines += [_pair(variable_words(v), best.values[v.name]) for v in study.variables]
    return "\n".join(lines)


def _pair(name: str, value: float | str | None) -> str:
    """Name and value with the unit behind it.

    >>> _pair("track width, mm", 0.5), _pair("strength", "thin, cheap")
    ('track width 0.5 mm', 'strength thin, cheap')
    """
    words, _, unit = name.rpartition(", ") if not isinstance(value, str) else (name, "", "")
    return f"{words} {number_words(value)} {unit}".strip() if words else f"{name} {number_words(value)}"


def header_words(found: Found, keys: Sequence[str]) -> Mapping[str, str]:
    """Names of the columns of variables, then of results; by the name or key that they have in the rows."""
    names = {variable.name: variable_words(variable) for variable in found.study.variables}
    return names | {key: result_words(found.study, key) for key in keys}
