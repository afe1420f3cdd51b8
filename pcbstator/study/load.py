"""The door for studies: a TOML file becomes a checked study, or one error with every complaint."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from math import isfinite
from pathlib import Path
from typing import Annotated, Any

from annotated_types import Len
from pydantic import Discriminator, PlainValidator, Tag, model_validator
from pydantic_core import ErrorDetails

from pcbstator.design import Design
from pcbstator.design.keys import keys, nearest, sections
from pcbstator.design.load import load_design_and_text, read_tables, record_from_tables
from pcbstator.design.quantities import Count, Record, Text, is_number, key, number_remedy, refusal, shown
from pcbstator.design.sections.prices import Prices
from pcbstator.design.validation.complaints import complaint_of
from pcbstator.errors import Complaint, DesignError
from pcbstator.study.keys import is_result, nearest_result
from pcbstator.study.records import Constraint, Goal, Objective, Option, Study, Variable

MOST_OPTIONS = 2000
LABEL = Text(60)
CHOICE = '{ label = "thin", "rotor.magnet.thickness_mm" = 2.0 }'

Table = dict[str, Any]


def _number(value: Any) -> float:
    """Any number; whole ones stay whole, for counts."""
    if is_number(value) and isfinite(value):
        return value  # type: ignore[no-any-return]
    raise refusal("must be a number", number_remedy(value))


def _key_or_table(value: Any) -> str:
    """A key of the design, or a whole table such as ``rotor.magnet``."""
    if isinstance(value, str) and value and (value in keys() or value in sections()):
        return value
    raise refusal("must be a key of the design", nearest(str(value)), value=shown(value))


def _key(value: Any) -> str:
    """A key of the design."""
    if _key_or_table(value) not in keys():
        raise refusal("must be a key, not a table", "use choices for whole tables")
    return str(value)


def _result(value: Any) -> str:
    """The key of a result."""
    if isinstance(value, str) and is_result(value):
        return value
    raise refusal("must be a result such as thermal.continuous_torque_n_m", nearest_result(str(value)))


def _values(value: Any) -> list[Any]:
    """A list of different numbers, words, yes and no; numbers in rising order."""
    listed = value if isinstance(value, list) else []
    sound = all(isinstance(v, bool | str) or (is_number(v) and isfinite(v)) for v in listed)
    if not sound or not 0 < len(listed) <= MOST_OPTIONS:
        rule = f"must be a list of 1 to {MOST_OPTIONS} numbers, words or yes and no"
        raise refusal(rule, "write values = [1, 2, 4]")
    if len(set(listed)) < len(listed):
        raise refusal("must differ from each other", "take one of them away")
    return sorted(listed) if all(map(is_number, listed)) else listed


def _base_file(value: Any) -> str:
    """Name of a design file."""
    if isinstance(value, str) and value and value.isprintable():
        return value
    rule = "must name the base design's file, seen from the study's folder"
    raise refusal(rule, 'write design = "stage.toml"', value="nothing" if value == "" else shown(value))


BaseFile = Annotated[str, PlainValidator(_base_file)]
Number = Annotated[float, PlainValidator(_number)]
DesignKey = Annotated[str, PlainValidator(_key)]
KeyOrTable = Annotated[str, PlainValidator(_key_or_table)]
ResultKey = Annotated[str, PlainValidator(_result)]
Limit = Annotated[float | str, PlainValidator(lambda v: _result(v) if isinstance(v, str) else float(_number(v)))]


class _OneKey(Record):
    """A variable of one key."""

    path: DesignKey = key("key", "any key of docs/design-file.md", example="winding.turns")
    also: dict[DesignKey, Number] = key("also", "keys that follow at a distance", {})

    def of_options(self, options: list[Any]) -> Variable:
        """The variable with these values of the key."""
        followers = self.also.items()
        settings = [((self.path, v), *((other, v + offset) for other, offset in followers)) for v in options]
        labels = [f"{value:g}" if is_number(value) else str(value) for value in options]
        return Variable(self.path, options=tuple(map(Option, labels, settings)), ordered=all(map(is_number, options)))


class RangeTable(_OneKey):
    """Every number between two, or every so many."""

    low: Number = key("from", "the least", example=4)
    high: Number = key("to", "the most", example=16)
    step: Number | None = key("step", "from one to the next", None)

    @model_validator(mode="after")
    def _ends(self) -> RangeTable:
        low, high, step = self.low, self.high, self._whole_step or self.step
        if not low < high:
            raise refusal("must be above from", "exchange them", at="to", value=f"{low:g} to {high:g}")
        if self._whole_step and not all(isinstance(value, int) for value in (low, high, step)):
            rule = f"{self.path} takes whole numbers"
            raise refusal(rule, "write them without a point", value=f"{low} to {high}")
        if step is not None and (step <= 0 or (high - low) / step > MOST_OPTIONS):
            rule = f"must be above 0 and make at most {MOST_OPTIONS} steps"
            raise refusal(rule, f"write step = {(high - low) / 10:g}", at="step", value=f"{step:g}")
        return self

    def variable(self) -> Variable:
        """The variable; without a step it takes every number of the range."""
        low, high, step = self.low, self.high, self._whole_step or self.step
        if step is None:
            return Variable(self.path, low=float(low), high=float(high), also=tuple(self.also.items()))
        found = [low + n * step for n in range(int((high - low) / step + 1e-9) + 1)]
        return self.of_options(found if self._whole_step else [float(f"{value:.9g}") for value in found])

    @property
    def _whole_step(self) -> float | None:
        """The step of a key that takes whole numbers; None for others."""
        kind = keys()[self.path][0].kind
        return (kind.step if self.step is None else self.step) if isinstance(kind, Count) else None


class ValuesTable(_OneKey):
    """Listed values of one key."""

    values: Annotated[list[Any], PlainValidator(_values)] = key("values", "these and no others", example=[2, 4])

    @model_validator(mode="after")
    def _followed(self) -> ValuesTable:
        if self.also and not all(map(is_number, self.values)):
            raise refusal("needs values that are numbers", "use choices instead", at="also", value=shown(self.values))
        return self

    def variable(self) -> Variable:
        """The variable."""
        return self.of_options(self.values)


class ChoiceTable(Record):
    """One choice: a label and the keys of the design that it sets, or takes away."""

    label: Annotated[str, LABEL] = key("label", "the choice in a word", example="thin")
    without: tuple[KeyOrTable, ...] = key("without", "keys that it takes away", ())
    settings: dict[KeyOrTable, Any] = key("settings", "keys that it sets", {})

    @model_validator(mode="before")
    @classmethod
    def _split(cls, table: Any) -> Table:
        if not isinstance(table, dict) or len(table) < 2:
            rule = "must be a table with a label and at least one key of the design in quotes"
            raise refusal(rule, f"write {CHOICE}")
        own = {name: table[name] for name in ("label", "without") if name in table}
        return own | {"settings": {name: value for name, value in table.items() if name not in own}}

    def option(self) -> Option:
        """What it sets, after what it takes away."""
        return Option(self.label, tuple((dict.fromkeys(self.without) | self.settings).items()))


class ChoicesTable(Record):
    """Several choices, each of which sets some keys at once."""

    name: Annotated[str, LABEL] = key("name", "what the choices are called", example="magnets")
    choices: Annotated[tuple[ChoiceTable, ...], Len(1, MOST_OPTIONS)] = key("choices", "one table each", example=[])

    @model_validator(mode="after")
    def _told_apart(self) -> ChoicesTable:
        labels = [choice.label for choice in self.choices]
        if len(set(labels)) < len(labels):
            raise refusal("must have different labels", "rename one of them", at="choices", value=shown(labels))
        return self

    def variable(self) -> Variable:
        """The variable."""
        return Variable(self.name, options=tuple(choice.option() for choice in self.choices), ordered=False)


class ConstraintTable(Record):
    """A result and its limit: a number or another result, times a factor."""

    result: ResultKey = key("key", "any result of docs/nomenclature.md", example="copper.mass_g")
    least: Limit | None = key("least", "it must reach this", None)
    most: Limit | None = key("most", "it must keep this", None)
    times: Number = key("times", "factor on the limit", 1.0)

    @model_validator(mode="after")
    def _one_limit(self) -> ConstraintTable:
        if (self.least is None) == (self.most is None):
            value = "nothing" if self.least is None else "least and most"
            raise refusal("must have one of least and most", "for two limits write two constraints", value=value)
        return self

    def constraint(self) -> Constraint:
        """The constraint."""
        sense: Goal = "most" if self.least is None else "least"
        limit = self.most if self.least is None else self.least
        return Constraint(self.result, sense, limit if limit is not None else 0.0, float(self.times))


class ObjectiveTable(Record):
    """A result of which there shall be the least or the most."""

    result: ResultKey = key("key", "any result of docs/nomenclature.md", example="cost.total")
    goal: Goal = key("goal", "what is wanted of it", example="least")


VARIABLES = ("from", "values", "choices")


def _told_by(table: Any) -> str | None:
    """The key by which the validator tells a variable; None where there is none, or several."""
    given = [name for name in VARIABLES if isinstance(table, dict) and name in table]
    return given[0] if len(given) == 1 else None


VariableTable = Annotated[
    Annotated[RangeTable, Tag("from")]
    | Annotated[ValuesTable, Tag("values")]
    | Annotated[ChoicesTable, Tag("choices")],
    Discriminator(_told_by),
]


class StudyFile(Record):
    """A study file as it stands."""

    title: Annotated[str, Text(120)] = key("title", "name of the study", example="a study")
    design: BaseFile | None = key("design", "file of the base design, seen from the study's folder", None)
    budget: Annotated[int, Count(range(1, 10_000_001))] = key("budget", "designs to look at", 1000)
    seed: Annotated[int, Count(range(2**32))] = key("seed", "same seed, same designs", 1)
    workers: Annotated[int, Count(range(257))] = key("workers", "processes; 0: one per core", 0)
    generation: Annotated[int, Count(range(4097))] = key("generation", "designs that a search asks for at a time", 0)
    columns: tuple[ResultKey, ...] = key("columns", "further results to keep", ())
    variables: Annotated[tuple[VariableTable, ...], Len(1, 40)] = key("variables", "what is varied", ())
    constraints: tuple[ConstraintTable, ...] = key("constraints", "what must hold", ())
    objectives: Annotated[tuple[ObjectiveTable, ...], Len(0, 6)] = key("objectives", "what is sought", ())
    prices: Prices = key("prices", "prices of your own", Prices())

    @property
    def varied(self) -> tuple[Variable, ...]:
        """The variables."""
        return tuple(table.variable() for table in self.variables)


def load_study(path: str | Path) -> Study:
    """The study in a TOML file, with the base design that it names beside it.

    Raises DesignError with every complaint at once about the study, then about its base design.
    """
    place = Path(path)
    file = _checked({"design": ""} | read_tables(place)[0], place.name)
    design, text = load_design_and_text(place.parent / str(file.design))
    return _study(file, design, text)


def study_from_tables(tables: Table, design: Design, design_text: str, source: str = "study") -> Study:
    """The study in nested tables as a study file has them; ``design_text``: the base design as TOML."""
    return _study(_checked(tables, source), design, design_text)


def _checked(tables: Table, source: str) -> StudyFile:
    """What the file says, free of mistakes."""
    file = record_from_tables(StudyFile, tables, source, _own_words)
    if complaints := [*_varied_twice(file.varied), *_asked_twice(file.objectives)]:
        raise DesignError(source, complaints)
    return file


def _study(file: StudyFile, design: Design, design_text: str) -> Study:
    """The study, complete in itself."""
    return Study(
        title=file.title,
        design_text=design_text,
        design_name=design.source,
        folder=str(design.folder or ""),
        variables=file.varied,
        constraints=tuple(table.constraint() for table in file.constraints),
        objectives=tuple(Objective(table.result, table.goal) for table in file.objectives),
        columns=tuple(dict.fromkeys(file.columns)),
        budget=file.budget,
        seed=file.seed,
        workers=file.workers,
        generation=file.generation,
        prices=tuple(file.prices.model_dump().items()),
    )


def _varied_twice(variables: tuple[Variable, ...]) -> Iterator[Complaint]:
    """Complaints about keys that several variables set."""
    owners: dict[str, Variable] = {}
    for variable in variables:
        own = {path for option in variable.options for path, _ in option.settings} or {variable.name}
        for path in sorted(own | {path for path, _ in variable.also}):
            twice = [other for other in owners if f"{path}.".startswith(f"{other}.") or other.startswith(f"{path}.")]
            if twice and owners[twice[0]] is not variable:
                remedy = "vary a key in one place only; join what goes together as choices"
                both = f"{owners[twice[0]].name} and {variable.name}"
                yield Complaint("variables", f"{path} must be varied once", both, remedy)
            owners[path] = variable


def _asked_twice(objectives: Iterable[ObjectiveTable]) -> Iterator[Complaint]:
    """Complaints about results that several objectives name."""
    for name, times in Counter(objective.result for objective in objectives).items():
        if times > 1:
            yield Complaint("objectives", "must name each result once", name, "take one of them away")


def _own_words(detail: ErrorDetails, path: str) -> Complaint | None:
    """What a study file says of tables that it cannot tell, and of the keys of the design that a choice sets."""
    table = detail["input"]
    if path.endswith(".settings") and detail["loc"][-1] == "[key]":
        return complaint_of(detail, path.removesuffix(".settings"))
    if detail["type"] != "union_tag_not_found":
        return None
    if not isinstance(table, dict):
        return Complaint(path, "must be a table of keys", shown(table), "write [[variables]] above its keys")
    given = ", ".join(name for name in VARIABLES if name in table) or "nothing"
    remedy = "write from and to, or values = [...], or choices = [{ ... }, ...]"
    return Complaint(path, "must have one of from, values and choices", given, remedy)
