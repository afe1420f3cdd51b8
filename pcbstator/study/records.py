"""What a study asks for and what it found, as frozen records. Values stay in the units of their keys."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from math import isfinite
from typing import Any, Literal

Point = tuple[float | int, ...]  # one entry per variable: a value in its range, or the number of an option
Goal = Literal["least", "most"]

ROUNDING = 1e-9  # part of a limit by which a result may miss it: 30 mm in metres and back is not quite 30 mm
DIGITS = 5  # significant ones of a value drawn from a range: what anybody would write into a file


@dataclass(frozen=True)
class Option:
    """One of several choices: the text that stands for it, and the keys of the design that it sets."""

    label: str
    settings: tuple[tuple[str, Any], ...]


@dataclass(frozen=True)
class Variable:
    """What a study varies: a range (``low`` to ``high``, no options) of one key, or a number of options.

    ordered: the options are numbers in rising order; also: further keys that take the value plus an offset.
    """

    name: str
    low: float = 0.0
    high: float = 0.0
    options: tuple[Option, ...] = ()
    ordered: bool = True
    also: tuple[tuple[str, float], ...] = ()

    def settings(self, place: float | int) -> dict[str, Any]:
        """Values by key of the design at one place of this variable."""
        if self.options:
            return dict(self.options[int(place)].settings)
        return {self.name: float(place)} | {key: _digits(place + offset) for key, offset in self.also}

    def shown(self, place: float | int) -> float | str:
        """The value as it stands in tables: a number, or the label of an option."""
        if not self.options:
            return float(place)
        option = self.options[int(place)]
        value = option.settings[0][1] if self.ordered else None
        return value if isinstance(value, int | float) and not isinstance(value, bool) else option.label

    def part(self, place: float | int) -> float:
        """How far along the range or the options a place lies, 0 to 1."""
        last = len(self.options) - 1
        if last < 0:
            return (place - self.low) / (self.high - self.low)
        return place / last if last else 0.5

    def at(self, part: float) -> float | int:
        """The place at a fraction, 0 to 1, of the range or the options."""
        if self.options:
            return min(int(part * len(self.options)), len(self.options) - 1)
        return _digits(self.low + min(max(part, 0.0), 1.0) * (self.high - self.low))


@dataclass(frozen=True)
class Constraint:
    """A result that must reach ("least") or keep ("most") a limit: a number or another result's key, times a factor."""

    key: str
    sense: Goal
    limit: float | str
    times: float = 1.0

    @property
    def label(self) -> str:
        """In words, as it stands in tables and messages."""
        limit = f"{self.limit:g}" if isinstance(self.limit, float) else self.limit
        factor = f"{self.times:g} x " if self.times != 1.0 else ""
        return f"{self.key} at {self.sense} {factor}{limit}"

    @property
    def keys(self) -> tuple[str, ...]:
        """The results that it needs."""
        return (self.key,) if isinstance(self.limit, float) else (self.key, self.limit)

    def bound(self, results: Mapping[str, float]) -> float | None:
        """The limit as a number; None where the other result does not apply."""
        limit = self.limit if isinstance(self.limit, float) else results.get(self.limit)
        return None if limit is None else self.times * limit

    def shortage(self, results: Mapping[str, float]) -> float:
        """0 where it is met, else how far it is missed as a part of the limit; 1 where a result does not apply."""
        value, bound = results.get(self.key), self.bound(results)
        if value is None or bound is None:
            return 1.0
        lack = (bound - value if self.sense == "least" else value - bound) / max(abs(bound), abs(value), 1e-12)
        return lack if lack > ROUNDING else 0.0


@dataclass(frozen=True)
class Objective:
    """A result of which there shall be the least or the most."""

    key: str
    goal: Goal

    def cost(self, value: float) -> float:
        """What is to become small."""
        return value if self.goal == "least" else -value


@dataclass(frozen=True)
class Study:
    """A study, complete in itself: also what the base design's file says.

    design_text: TOML; design_name: of the file; folder: where the base's recorded motion lies; workers: 0 for one per
    core; generation: designs that a search asks for at a time, 0 for what suits the budget; prices: name and number.
    """

    title: str
    design_text: str
    design_name: str
    folder: str
    variables: tuple[Variable, ...]
    constraints: tuple[Constraint, ...] = ()
    objectives: tuple[Objective, ...] = ()
    columns: tuple[str, ...] = ()
    budget: int = 1000
    seed: int = 1
    workers: int = 0
    generation: int = 0
    prices: tuple[tuple[str, Any], ...] = ()

    def __hash__(self) -> int:
        """Studies may hold tables of settings, which have no hash of their own."""
        return hash(self.digest)

    @cached_property
    def digest(self) -> str:
        """SHA-256 of what the study asks.

        The number of workers and the place have no say in the results, comments in the base design neither; a study
        with a larger budget is the same one, carried further.
        """
        told = asdict(replace(self, workers=0, folder="", budget=0, design_text=""))
        told["design"] = tomllib.loads(self.design_text)
        return hashlib.sha256(json.dumps(told, sort_keys=True, default=str).encode()).hexdigest()

    @cached_property
    def wanted(self) -> frozenset[str]:
        """Every result that the study speaks of."""
        named = [key for constraint in self.constraints for key in constraint.keys]
        return frozenset([*named, *(objective.key for objective in self.objectives), *self.columns])

    @property
    def combinations(self) -> float:
        """How many different designs there are; inf with a range among the variables."""
        count = 1.0
        for variable in self.variables:
            count *= len(variable.options) or float("inf")
        return count

    def shown(self, point: Point) -> dict[str, float | str]:
        """Values by name of the variable, as tables have them."""
        return {variable.name: variable.shown(place) for variable, place in zip(self.variables, point, strict=True)}

    def parts(self, point: Point) -> list[float]:
        """Each value as a fraction, 0 to 1, of the range of its variable."""
        return [variable.part(place) for variable, place in zip(self.variables, point, strict=True)]

    def settings(self, point: Point) -> dict[str, Any]:
        """Values by key of the design at a point."""
        found: dict[str, Any] = {}
        for variable, place in zip(self.variables, point, strict=True):
            found |= variable.settings(place)
        return found


def study_text(study: Study) -> str:
    """A study as text, to be kept."""
    return json.dumps(asdict(study))


def study_of(text: str) -> Study:
    """The study of that text; ValueError, TypeError, LookupError or AttributeError for what is none."""
    plain = json.loads(text)
    variables = tuple(
        Variable(**each | {
            "options": tuple(Option(choice["label"], _pairs(choice["settings"])) for choice in each["options"]),
            "also": _pairs(each["also"]),
        })
        for each in plain["variables"]
    )  # fmt: skip
    return Study(**plain | {
        "variables": variables,
        "constraints": tuple(Constraint(**each) for each in plain["constraints"]),
        "objectives": tuple(Objective(**each) for each in plain["objectives"]),
        "columns": tuple(plain["columns"]),
        "prices": _pairs(plain["prices"]),
    })  # fmt: skip


def _pairs(listed: Sequence[Sequence[Any]]) -> tuple[tuple[str, Any], ...]:
    return tuple((name, value) for name, value in listed)


@dataclass(frozen=True)
class Outcome:
    """What became of one design.

    ruled_out: "" where it meets all, else the constraint or the rule that it fails; detail: in words; shortage: by how
    much, with whole numbers for what was not even tried, 0 where it meets all; results: what was computed until then.
    """

    results: dict[str, float]
    ruled_out: str = ""
    detail: str = ""
    shortage: float = 0.0

    @property
    def feasible(self) -> bool:
        """Whether it meets everything."""
        return not self.ruled_out


def _digits(value: float) -> float:
    return float(f"{value:.{DIGITS}g}") if isfinite(value) else value
