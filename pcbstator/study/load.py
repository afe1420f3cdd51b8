"""The door for studies: a TOML file becomes a checked study, or one error with every complaint."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from math import isfinite
from pathlib import Path
from typing import Any, Literal

from pcbstator.analysis.cost import invented_prices
from pcbstator.design import Design
from pcbstator.design.keys import Key, keys, nearest, sections
from pcbstator.design.load import load_design_and_text, plain, read_tables
from pcbstator.design.quantities import Count, is_number, shown
from pcbstator.errors import Complaint, DesignError
from pcbstator.study.keys import is_result, nearest_result
from pcbstator.study.records import Constraint, Objective, Option, Study, Variable

TOP = (
    "title", "design", "budget", "seed", "workers", "generation", "columns",
    "variables", "constraints", "objectives", "prices",
)  # fmt: skip
VARIABLE = ("key", "name", "from", "to", "step", "values", "choices", "also")
LARGEST_BUDGET = 10_000_000
MOST_VARIABLES, MOST_OPTIONS, MOST_OBJECTIVES, MOST_WORKERS = 40, 2000, 6, 256
LARGEST_GENERATION = 4096
LONGEST_TITLE, LONGEST_LABEL = 120, 60

Table = dict[str, Any]


def load_study(path: str | Path) -> Study:
    """The study in a TOML file, with the base design that it names beside it.

    Raises DesignError with every complaint at once, about the study or about its base design.
    """
    place = Path(path)
    tables, _, _ = read_tables(place)
    named = tables.get("design")
    if not isinstance(named, str) or not named.isprintable() or not named:
        rule = "must name the base design's file, seen from the study's folder"
        value = "nothing" if named is None else shown(named)
        raise DesignError(place.name, [Complaint("design", rule, value, 'write design = "stage.toml"')])
    design, text = load_design_and_text(place.parent / named)
    return study_from_tables(tables, design, text, place.name)


def study_from_tables(tables: Table, design: Design, design_text: str, source: str = "study") -> Study:
    """The study in nested tables as a study file has them; ``design_text``: the base design as TOML."""
    tables, reader = plain(tables), _Reader()
    reader.known(tables, TOP, "")
    variables = [v for place, table in reader.listed(tables, "variables") if (v := reader.variable(table, place))]
    constraints = [c for place, table in reader.listed(tables, "constraints") if (c := reader.constraint(table, place))]
    objectives = [o for place, table in reader.listed(tables, "objectives") if (o := reader.objective(table, place))]
    if not tables.get("variables"):
        reader.complain("variables", "at least one is needed", "nothing", "add [[variables]] with a key")
    reader.each_once(variables, objectives)
    study = Study(
        title=reader.text(tables, "title", LONGEST_TITLE) or "",
        design_text=design_text,
        design_name=design.source,
        folder=str(design.folder or ""),
        variables=tuple(variables),
        constraints=tuple(constraints),
        objectives=tuple(objectives),
        columns=reader.columns(tables),
        budget=reader.whole(tables, "budget", 1000, 1, LARGEST_BUDGET),
        seed=reader.whole(tables, "seed", 1, 0, 2**32 - 1),
        workers=reader.whole(tables, "workers", 0, 0, MOST_WORKERS),
        generation=reader.whole(tables, "generation", 0, 0, LARGEST_GENERATION),
        prices=reader.prices(tables),
    )
    if reader.complaints:
        raise DesignError(source, reader.complaints)
    return study


class _Reader:
    """Reads tables and gathers what is wrong with them; what cannot be read comes back empty."""

    def __init__(self) -> None:
        self.complaints: list[Complaint] = []

    def complain(self, key: str, rule: str, value: object, remedy: str) -> None:
        """Keeps a complaint; text stands as it is, other values are shown."""
        words = value if isinstance(value, str) else "nothing" if value is None else shown(value)
        self.complaints.append(Complaint(key, rule, words, remedy))

    def known(self, table: Table, names: tuple[str, ...], place: str) -> None:
        """Complains about unknown keys."""
        for name in table:
            if name not in names:
                close = difflib.get_close_matches(name, names, n=1, cutoff=0.6)
                remedy = f"did you mean {close[0]}?" if close else "known here: " + ", ".join(names)
                named = name if name and name.isprintable() else shown(name)
                self.complain(f"{place}.{named}" if place else named, "is not a known key", shown(table[name]), remedy)

    def listed(self, tables: Table, name: str) -> Iterator[tuple[str, Table]]:
        """The tables of a list with their places in words, such as ``variables[2]``."""
        found = tables.get(name, [])
        if not isinstance(found, list) or not all(isinstance(table, dict) for table in found):
            self.complain(name, "must be a list of tables", shown(found), f"write [[{name}]] above each of them")
            return
        yield from ((f"{name}[{number}]", table) for number, table in enumerate(found, start=1))

    def text(self, table: Table, name: str, longest: int, place: str = "") -> str | None:
        """A line of text."""
        value = table.get(name)
        if isinstance(value, str) and 0 < len(value) <= longest and value.isprintable():
            return value
        rule = f"must be one line of text, 1 to {longest} characters"
        self.complain(place + name, rule, None if value is None else shown(value), f'write {name} = "..."')
        return None

    def whole(self, table: Table, name: str, default: int, low: int, high: int) -> int:
        """A whole number."""
        value = table.get(name, default)
        if isinstance(value, int) and not isinstance(value, bool) and low <= value <= high:
            return value
        self.complain(name, f"must be a whole number from {low} to {high}", shown(value), f"write {name} = {default}")
        return default

    def number(self, table: Table, name: str, place: str, default: float | None = None) -> float | None:
        """A number as it stands, whole or not."""
        value: Any = table.get(name, default)
        if is_number(value) and isfinite(value):
            return value  # type: ignore[no-any-return]
        self.complain(f"{place}.{name}", "must be a number", None if value is None else shown(value), f"{name} = 1.0")
        return None

    def result(self, key: object, place: str) -> str | None:
        """The key of a result."""
        if isinstance(key, str) and is_result(key):
            return key
        value = None if key is None else shown(key)
        self.complain(place, "must be a result such as thermal.continuous_torque_n_m", value, nearest_result(str(key)))
        return None

    def design_keys(self, names: list[str], place: str) -> None:
        """Complains about what is no key of a design, nor a whole table such as ``rotor.magnet``."""
        for name in names:
            if not name or (name not in keys() and name not in sections()):
                self.complain(place, "must be a key of the design", shown(name), nearest(name))

    def variable(self, table: Table, place: str) -> Variable | None:
        """A variable, or None with complaints."""
        before = len(self.complaints)
        self.known(table, VARIABLE, place)
        given = [key for key in ("from", "values", "choices") if key in table]
        if len(given) != 1:
            remedy = "write from and to, or values = [...], or choices = [{ ... }, ...]"
            self.complain(place, "must have one of from, values and choices", ", ".join(given) or None, remedy)
            return None
        if given == ["choices"]:
            found = self.choices(table, place)
        elif "key" not in table:
            self.complain(f"{place}.key", "is required", None, 'write key = "winding.turns"')
            return None
        else:
            key = str(table["key"])
            self.design_keys([key], f"{place}.key")
            if key in sections():
                self.complain(f"{place}.key", "must be a key, not a table", shown(key), "use choices for whole tables")
            also = self.offsets(table, place)
            found = None
            if len(self.complaints) == before:
                options = self.steps(table, place, keys()[key][0]) if given == ["from"] else self.values(table, place)
                if len(self.complaints) == before:
                    found = self.numbers(table, place, key, options, also)
        return found if len(self.complaints) == before else None

    def numbers(
        self, table: Table, place: str, key: str, options: list[Any] | None, also: tuple[tuple[str, float], ...]
    ) -> Variable | None:
        """A variable of one key; ``options`` None: every number of its range."""
        if options is None:
            return Variable(key, low=float(table["from"]), high=float(table["to"]), also=also)
        ordered = all(is_number(value) for value in options)
        if also and not ordered:
            self.complain(f"{place}.also", "needs values that are numbers", shown(options), "use choices instead")
            return None
        settings = [((key, value), *((other, value + offset) for other, offset in also)) for value in options]
        labels = [f"{value:g}" if is_number(value) else str(value) for value in options]
        return Variable(key, options=tuple(map(Option, labels, settings)), ordered=ordered)

    def steps(self, table: Table, place: str, key: Key) -> list[Any] | None:
        """Whole or stepped numbers from ``from`` to ``to``; None for every number between them."""
        low, high = self.number(table, "from", place), self.number(table, "to", place)
        step = self.number(table, "step", place, key.kind.step if isinstance(key.kind, Count) else 1)
        if low is None or high is None or step is None:
            return None
        if not low < high:
            self.complain(f"{place}.to", "must be above from", f"{low:g} to {high:g}", "exchange them")
            return None
        whole = isinstance(key.kind, Count)
        if not whole and "step" not in table:
            return None
        if whole and not all(isinstance(value, int) for value in (low, high, step)):
            self.complain(place, f"{key.path} takes whole numbers", f"{low} to {high}", "write them without a point")
            return None
        if step <= 0 or (high - low) / step > MOST_OPTIONS:
            rule = f"must be above 0 and make at most {MOST_OPTIONS} steps"
            self.complain(f"{place}.step", rule, f"{step:g}", f"write step = {(high - low) / 10:g}")
            return None
        count = int((high - low) / step + 1e-9) + 1
        return [low + n * step if whole else float(f"{low + n * step:.9g}") for n in range(count)]

    def values(self, table: Table, place: str) -> list[Any]:
        """Listed values; numbers in rising order."""
        values = table["values"]
        plain_ones = isinstance(values, list) and all(isinstance(value, int | float | str) for value in values)
        if not plain_ones or not 0 < len(values) <= MOST_OPTIONS:
            rule = f"must be a list of 1 to {MOST_OPTIONS} numbers, words or yes and no"
            self.complain(f"{place}.values", rule, shown(values), "write values = [1, 2, 4]")
        elif len(set(values)) < len(values):
            self.complain(f"{place}.values", "must differ from each other", shown(values), "take one of them away")
        elif all(is_number(value) for value in values):
            return sorted(values)
        return list(values) if plain_ones else []

    def choices(self, table: Table, place: str) -> Variable | None:
        """Several choices, each of which sets some keys at once."""
        name, listed = self.text(table, "name", LONGEST_LABEL, f"{place}."), table["choices"]
        example = '{ label = "thin", "rotor.magnet.thickness_mm" = 2.0 }'
        if not isinstance(listed, list) or not 0 < len(listed) <= MOST_OPTIONS:
            remedy = f"write choices = [{example}, ...]"
            self.complain(f"{place}.choices", "must be a list of tables", shown(listed), remedy)
            return None
        options = []
        for number, choice in enumerate(listed, start=1):
            here = f"{place}.choices[{number}]"
            if not isinstance(choice, dict) or len(choice) < 2:
                rule = "must be a table with a label and at least one key of the design in quotes"
                self.complain(here, rule, shown(choice), f"write {example}")
                continue
            label = self.text(choice, "label", LONGEST_LABEL, f"{here}.")
            settings = {key: value for key, value in choice.items() if key not in ("label", "without")}
            settings = dict.fromkeys(self.without(choice, here)) | settings  # taken away before anything is set
            self.design_keys(list(settings), here)
            options.append(Option(label or "", tuple(settings.items())))
        labels = [option.label for option in options]
        if len(set(labels)) < len(labels):
            self.complain(f"{place}.choices", "must have different labels", shown(labels), "rename one of them")
        return Variable(name or "", options=tuple(options), ordered=False)

    def without(self, choice: Table, place: str) -> list[str]:
        """Keys that a choice takes away from the design."""
        names = choice.get("without", [])
        if isinstance(names, list) and all(isinstance(name, str) for name in names):
            return names
        remedy = 'write without = ["rotor.magnet.remanence_t"]'
        self.complain(f"{place}.without", "must be a list of keys", shown(names), remedy)
        return []

    def offsets(self, table: Table, place: str) -> tuple[tuple[str, float], ...]:
        """Further keys that follow the value at a distance."""
        also = table.get("also", {})
        if not isinstance(also, dict) or not all(is_number(offset) and isfinite(offset) for offset in also.values()):
            remedy = 'write also = { "rotor.magnet.outer_diameter_mm" = -4.0 }'
            self.complain(f"{place}.also", "must be a table of keys and offsets", shown(also), remedy)
            return ()
        self.design_keys(list(also), f"{place}.also")
        return tuple(also.items())  # whole offsets stay whole, for counts

    def constraint(self, table: Table, place: str) -> Constraint | None:
        """A constraint, or None with complaints."""
        before = len(self.complaints)
        self.known(table, ("key", "least", "most", "times"), place)
        key = self.result(table.get("key"), f"{place}.key")
        senses: list[Literal["least", "most"]] = [sense for sense in ("least", "most") if sense in table]
        times = self.number(table, "times", place, 1.0)
        if len(senses) != 1:
            remedy = "for two limits write two constraints"
            self.complain(place, "must have one of least and most", " and ".join(senses) or None, remedy)
            return None
        limit = table[senses[0]]
        if isinstance(limit, str):
            self.result(limit, f"{place}.{senses[0]}")
        else:
            self.number(table, senses[0], place)
        if len(self.complaints) > before or key is None or times is None:
            return None
        return Constraint(key, senses[0], limit if isinstance(limit, str) else float(limit), float(times))

    def objective(self, table: Table, place: str) -> Objective | None:
        """An objective, or None with complaints."""
        self.known(table, ("key", "goal"), place)
        key, goal = self.result(table.get("key"), f"{place}.key"), table.get("goal")
        if goal in ("least", "most"):
            return Objective(key, goal) if key is not None else None
        value = None if goal is None else shown(goal)
        self.complain(f"{place}.goal", 'must be "least" or "most"', value, 'write goal = "most"')
        return None

    def each_once(self, variables: list[Variable], objectives: list[Objective]) -> None:
        """No key is varied twice, no result asked for twice, and there are not too many of them."""
        for name, listed, most in (
            ("variables", len(variables), MOST_VARIABLES),
            ("objectives", len(objectives), MOST_OBJECTIVES),
        ):
            if listed > most:
                self.complain(name, f"at most {most} are possible", str(listed), "hold some of them fixed")
        owners: dict[str, Variable] = {}
        for variable in variables:
            own = {key for option in variable.options for key, _ in option.settings} or {variable.name}
            for key in sorted(own | {key for key, _ in variable.also}):
                twice = [other for other in owners if f"{key}.".startswith(f"{other}.") or other.startswith(f"{key}.")]
                if twice and owners[twice[0]] is not variable:
                    remedy = "vary a key in one place only; join what goes together as choices"
                    both = f"{owners[twice[0]].name} and {variable.name}"
                    self.complain("variables", f"{key} must be varied once", both, remedy)
                owners[key] = variable
        asked = [objective.key for objective in objectives]
        for key in sorted({key for key in asked if asked.count(key) > 1}):
            self.complain("objectives", "must name each result once", key, "take one of them away")

    def columns(self, tables: Table) -> tuple[str, ...]:
        """Further results to keep."""
        columns = tables.get("columns", [])
        if not isinstance(columns, list):
            self.complain("columns", "must be a list of results", shown(columns), 'write columns = ["copper.mass_g"]')
            return ()
        found = [self.result(column, "columns") for column in columns]
        return tuple(dict.fromkeys(column for column in found if column is not None))

    def prices(self, tables: Table) -> tuple[tuple[str, Any], ...]:
        """The invented prices with those of the study in their places."""
        own, known = tables.get("prices", {}), invented_prices()
        if not isinstance(own, dict):
            self.complain("prices", "must be a table", shown(own), "write [prices] with keys below it")
            return ()
        self.known(own, tuple(known), "prices")
        for name, value in own.items():
            if name == "currency":
                self.text(own, name, 12, "prices.")
            elif not is_number(value) or not 0 <= value < 1e9:
                self.complain(f"prices.{name}", "must be a number, 0 or more", shown(value), "write 0.0 for no cost")
        return tuple((known | own).items())
