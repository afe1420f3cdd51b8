"""Two designs side by side: which keys of their files differ, and what that does to results, verdicts and findings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from pcbstator.analysis.fields import rows
from pcbstator.analysis.prediction import Prediction
from pcbstator.check.run import checked_prediction
from pcbstator.findings import Finding, Verdict

if TYPE_CHECKING:
    from pcbstator.design import Design

SAME = 1e-9  # relative: results that differ by less differ by rounding alone


@dataclass(frozen=True)
class KeyDifference:
    """A key of the design files with both values; None where a file leaves it out."""

    key: str
    design: Any
    other: Any


@dataclass(frozen=True)
class ResultDifference:
    """A result, by its dotted key, with both values in the unit of the key; None where it does not apply.

    change: other less design, None of words; change_percent: of the value of ``design``, None where that says nothing:
    of what is not above zero, and of temperatures, whose zero is a convention.
    """

    key: str
    meaning: str
    design: float | str | None
    other: float | str | None
    change: float | None = None
    change_percent: float | None = None


@dataclass(frozen=True)
class VerdictPair:
    """The answers to one requirement; None where a design does not state it."""

    name: str
    design: Verdict | None
    other: Verdict | None


@dataclass(frozen=True)
class FindingPair:
    """What is found in one design and not alike in the other; None where it is not found."""

    code: str
    design: Finding | None
    other: Finding | None


@dataclass(frozen=True)
class SideBySide:
    """Two designs with their predictions; ``unchanged``: the keys of the results that are the same."""

    design: Prediction
    other: Prediction
    keys: tuple[KeyDifference, ...]
    results: tuple[ResultDifference, ...]
    unchanged: tuple[str, ...]
    requirement: tuple[VerdictPair, ...]
    findings: tuple[FindingPair, ...]

    def to_dict(self) -> dict[str, Any]:
        """The object of ``predict DESIGN OTHER --json``; what does not apply to one of the two is left out."""
        return {
            "designs": [
                {"title": one.title, "design_file": one.design_file, "version": one.version}
                for one in (self.design, self.other)
            ],
            "keys": [_stated(asdict(pair)) for pair in self.keys],
            "results": [_stated(asdict(pair)) for pair in self.results],
            "unchanged": list(self.unchanged),
            "requirement": [_pair("name", pair.name, pair.design, pair.other) for pair in self.requirement],
            "findings": [_pair("code", pair.code, pair.design, pair.other) for pair in self.findings],
        }


def _stated(table: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if value is not None}


def _pair(
    label: str, name: str, design: Verdict | Finding | None, other: Verdict | Finding | None
) -> dict[str, Any]:  # fmt: skip
    sides = {"design": design, "other": other}
    return {label: name} | {side: found.to_dict() for side, found in sides.items() if found is not None}


def side_by_side(
    design: Design, other: Design, known: Prediction | None = None, of_other: Prediction | None = None
) -> SideBySide:
    """Both designs predicted and compared; known, of_other: their predictions, where there are some already.

    Raises DesignError where the winding or copper of one cannot be laid.
    """
    one, two = known or checked_prediction(design), of_other or checked_prediction(other)
    results, unchanged = result_differences(one, two)
    verdicts = [{verdict.name: verdict for verdict in prediction.requirement} for prediction in (one, two)]
    return SideBySide(
        one,
        two,
        key_differences(design.document, other.document),
        results,
        unchanged,
        tuple(VerdictPair(name, verdicts[0].get(name), verdicts[1].get(name)) for name in verdicts[0] | verdicts[1]),
        _finding_differences(one, two),
    )


def key_differences(design: Mapping[str, Any], other: Mapping[str, Any]) -> tuple[KeyDifference, ...]:
    """Keys of two documents that do not say the same, dotted, each once; tables of lists are counted from 1.

    >>> key_differences({"board": {"layers": 4}, "title": "A"}, {"board": {"layers": 2}, "title": "A"})
    (KeyDifference(key='board.layers', design=4, other=2),)
    """
    left, right = dict(_flat(design)), dict(_flat(other))
    return tuple(
        KeyDifference(key, left.get(key), right.get(key)) for key in left | right if left.get(key) != right.get(key)
    )


def _flat(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Dotted keys with values that hold no further keys."""
    if isinstance(value, Mapping):
        for key, item in value.items():
            yield from _flat(item, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list) and value and all(isinstance(item, Mapping) for item in value):
        for number, item in enumerate(value, 1):
            yield from _flat(item, f"{path}[{number}]")
    else:
        yield path, value


def result_differences(design: Prediction, other: Prediction) -> tuple[tuple[ResultDifference, ...], tuple[str, ...]]:
    """Every number and word of the results that differs, and the keys of those that are the same."""
    left, right = _results(design), _results(other)
    differences, unchanged = [], []
    for key in left | right:
        before, after = left.get(key, ("", None))[1], right.get(key, ("", None))[1]
        if _alike(before, after):
            unchanged.append(key)
        else:
            meaning = (left.get(key) or right[key])[0]
            differences.append(_difference(key, meaning, before, after))
    return tuple(differences), tuple(unchanged)


def _results(prediction: Prediction) -> dict[str, tuple[str, float | str]]:
    """Meaning and value of every result that is a number or a word, by dotted key."""
    found: dict[str, tuple[str, float | str]] = {}
    for name, section in prediction.sections():
        for key, meaning, value in rows(section):
            parts = value.items() if isinstance(value, dict) else [("", value)]
            for part, item in parts:
                if isinstance(item, int | float | str) and not isinstance(item, bool):
                    found[f"{name}.{key}{'.' if part else ''}{part}"] = (meaning, item)
    return found


def _alike(design: float | str | None, other: float | str | None) -> bool:
    if isinstance(design, int | float) and isinstance(other, int | float):
        return abs(other - design) <= SAME * max(abs(design), abs(other))
    return design == other


def _difference(key: str, meaning: str, design: float | str | None, other: float | str | None) -> ResultDifference:
    if not isinstance(design, int | float) or not isinstance(other, int | float):
        return ResultDifference(key, meaning, design, other)
    change = other - design
    part = None if design <= 0 or key.endswith("_c") else 100 * change / design
    return ResultDifference(key, meaning, design, other, change, part)


def _finding_differences(design: Prediction, other: Prediction) -> tuple[FindingPair, ...]:
    """Findings, those on the requirement left to the verdict, that do not stand alike in both."""
    left, right = (
        {(found.code, found.where): found for found in one.findings if not found.code.startswith("requirement.")}
        for one in (design, other)
    )
    return tuple(
        FindingPair(key[0], left.get(key), right.get(key)) for key in left | right if left.get(key) != right.get(key)
    )
