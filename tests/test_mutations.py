"""Whatever stands in a design file, every command ends in order: exit 0, 1 or 2, words, whole files or none.

The mutations are drawn from the bounds that the records themselves state, so that many mutants pass the door and reach
the geometry, the laws and the writers.
"""

from __future__ import annotations

import copy
import json
import math
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pcbstator.design import BlockMagnet, Board, DiscMagnet, Envelope, Rotor, SectorMagnet, Winding, load_design
from pcbstator.design.keys import keys, sections
from pcbstator.design.quantities import Count, Quantity, QuantityList
from pcbstator.design.sections.bearing import Bearing
from pcbstator.design.sections.job import Drive, Load, Motion
from pcbstator.design.sections.slip_ring import SlipRing
from pcbstator.design.sections.work import Cooling, Operation, Tolerance
from tests.command import DESIGNS, run, write_design

STARTS = [load_design(path).document for path in DESIGNS]
TABLES = (
    ("envelope", Envelope), ("winding", Winding), ("board", Board), ("rotor", Rotor),
    ("rotor.magnet", SectorMagnet), ("rotor.magnet", DiscMagnet), ("rotor.magnet", BlockMagnet),
    ("operation", Operation), ("cooling", Cooling), ("tolerance", Tolerance), ("slip_ring", SlipRing),
    ("load", Load), ("bearing", Bearing), ("motion", Motion), ("drive", Drive),
)  # fmt: skip
WAYS = ("scale",) * 4 + ("within",) * 6 + ("shape", "size", "size", "many", "work", "delete", "nonsense")


def kinds() -> dict[str, Any]:
    """The kind of value of every key with bounds, and the words of every key with a choice."""
    found: dict[str, Any] = {}
    for table, record in TABLES:
        for field in record.model_fields.values():
            parts = [
                *field.metadata,
                *(m for part in get_args(field.annotation) for m in getattr(part, "__metadata__", ())),
            ]
            kind = next((part for part in parts if isinstance(part, Quantity | QuantityList | Count)), None)
            words = [word for word in get_args(field.annotation) if isinstance(word, str)]
            if kind is not None or words:
                found[f"{table}.{field.alias}"] = kind or words
    return found


KINDS = kinds()
ANYTHING = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=12), st.just([]), st.just({}),
    st.sampled_from(["fill", "1e3", "0,3", "N99", 10**400, -1, 0, 0.0, 1e-300, 1e300]),
)  # fmt: skip


def within(kind: Any) -> st.SearchStrategy[Any]:
    """A value that the door takes by itself: over the whole range, and evenly over its magnitudes."""
    if isinstance(kind, list):
        return st.sampled_from(kind)
    if isinstance(kind, Count):
        numbers = st.sampled_from(kind.allowed) | st.sampled_from(kind.allowed[:24])  # a long range is never listed
        return numbers | st.just(kind.word) if kind.word else numbers
    if isinstance(kind, QuantityList):
        return st.lists(within(kind.each), min_size=1, max_size=3)
    low, high = kind.low, kind.high
    if low < 0:
        return st.floats(low, high)
    least = max(low, high / 1e4)
    magnitudes = st.floats(math.log(least), math.log(high)).map(lambda x: min(max(math.exp(x), low), high))
    return magnitudes | st.sampled_from([low, high])


@st.composite
def mutants(draw: st.DrawFn) -> dict[str, Any]:
    """One of the designs with one to five things changed."""
    document = copy.deepcopy(draw(st.sampled_from(STARTS)))
    if draw(st.integers(0, 4)):
        document.pop("requirement", None)  # what would meet it is sought for seconds: now and then is enough
    for _ in range(draw(st.sampled_from([1, 1, 1, 2, 2, 3, 5]))):
        mutate(document, draw)
    return document


def mutate(document: dict[str, Any], draw: st.DrawFn) -> None:
    """One change: a number scaled, a value within bounds, another shape or size, many turns, a key gone, nonsense."""
    what = draw(st.sampled_from(WAYS))
    path = draw(st.sampled_from(sorted(KINDS)))
    if what == "scale":
        numbers = [known for known in sorted(KINDS) if isinstance(at(document, known), int | float)]
        if not numbers:
            return
        path = draw(st.sampled_from(numbers))
        value = at(document, path) * draw(st.floats(0.3, 3))
        put(document, path, round(value) if isinstance(KINDS[path], Count) else value)
    elif what == "within" and not (path.startswith("rotor.magnet.") and at(document, path) is None):
        put(document, path, draw(within(KINDS[path])))
    elif what == "many":
        put(document, "winding.turns", draw(st.sampled_from(["fill", 40, 100, 250, 500])))
        put(document, "board.track_width_mm", draw(st.floats(0.05, 0.3)))
        put(document, "board.track_gap_mm", draw(st.floats(0.05, 0.3)))
        put(document, "board.layers", draw(st.sampled_from(range(2, 17, 2))))
        trios = draw(st.integers(1, 100))
        put(document, "winding.coils", 3 * trios)
        put(document, "rotor.poles", 4 * trios)
    elif what == "work":
        put(document, "tolerance.air_gap_mm", draw(within(KINDS["tolerance.air_gap_mm"])))
        put(document, "operation.speeds_rpm", draw(within(KINDS["operation.speeds_rpm"])))
        put(document, "operation.phase_currents_peak_a", draw(within(KINDS["operation.phase_currents_peak_a"])))
    elif what == "shape":
        put(document, "rotor.magnet", copy.deepcopy(draw(st.sampled_from(STARTS))["rotor"]["magnet"]))
    elif what == "size":
        factor = draw(st.floats(0.05, 12))
        for known in KINDS:
            if known.endswith("diameter_mm") and isinstance(at(document, known), float):
                put(document, known, at(document, known) * factor)
    elif what == "delete":
        put(document, draw(st.sampled_from([*sorted(sections()), *sorted(keys())])), None)
    else:
        put(document, path + draw(st.sampled_from(["", "", "x"])), draw(ANYTHING))


def at(document: Any, path: str) -> Any:
    """What stands at a dotted path, or None."""
    for step in path.split("."):
        document = document.get(step) if isinstance(document, dict) else None
    return document


def put(document: Any, path: str, value: Any) -> None:
    """Sets a dotted key where that can be done; None takes it away."""
    *tables, name = path.split(".")
    for step in tables:
        document = document.setdefault(step, {}) if isinstance(document, dict) else None
    if isinstance(document, dict) and name:
        document[name] = value


def no_null(value: Any) -> bool:
    """Whether no null stands anywhere in read JSON."""
    if isinstance(value, dict):
        return all(map(no_null, value.values()))
    return all(map(no_null, value)) if isinstance(value, list) else value is not None


def refuse_constant(name: str) -> None:
    raise AssertionError(f"{name} in the JSON")


def judge(document: dict[str, Any], folder: Path, make: bool) -> None:
    """Runs the commands on a document and asks everything that must hold whatever it says."""
    file = write_design(folder / "mutant.toml", document)
    code, findings = judge_prediction(file)
    assert run("predict", file).code == code
    checked = run("check", file, "--json")
    assert checked.code == code
    if checked.code != 2:
        assert json.loads(checked.out)["findings"] == findings
    if make:
        judge_make(file, folder / "made", code)


def judge_prediction(file: Path) -> tuple[int, Any]:
    """Exit code and findings of ``predict --json``, which must be in order."""
    predicted = run("predict", file, "--json")
    assert predicted.code in (0, 1, 2)
    if predicted.code == 2:
        assert predicted.out == ""
        told = predicted.err.splitlines()
        assert told and len(set(told)) == len(told)
        for line in told:  # file: key: rule ...
            assert line.startswith("mutant.toml: "), line
            assert len(line.split(": ", 2)) == 3 and line.isprintable(), line
        return 2, None
    assert predicted.err == ""
    result = json.loads(predicted.out, parse_constant=refuse_constant)
    assert no_null(result)
    assert (predicted.code == 1) == any(finding["severity"] == "error" for finding in result["findings"])
    return predicted.code, result["findings"]


def judge_make(file: Path, folder: Path, code: int) -> None:
    """All files or none, and nothing beside them."""
    made = run("make", "--no-verify", file, "-o", folder)
    assert made.code == code
    assert sorted(entry.name for entry in folder.parent.iterdir()) == (
        ["made", "mutant.toml"] if code == 0 else ["mutant.toml"]
    )
    if code == 0:
        manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"), parse_constant=refuse_constant)
        names = [entry["name"] for entry in manifest["files"]]
        folders = manifest.get("folders", [])
        assert sorted([*names, *folders, "manifest.json"]) == sorted(entry.name for entry in folder.iterdir())


CALM = {"deadline": None, "suppress_health_check": list(HealthCheck)}


@pytest.mark.usefixtures("unrendered", "predicted_once")
@settings(max_examples=10, **CALM)
@given(mutants(), st.integers(0, 9))
def test_mutants(tmp_path_factory: pytest.TempPathFactory, document: dict[str, Any], dice: int) -> None:
    judge(document, tmp_path_factory.mktemp("mutant"), dice == 0)


@pytest.mark.slow
@settings(max_examples=60, **CALM)
@given(mutants())
def test_many_mutants(tmp_path_factory: pytest.TempPathFactory, document: dict[str, Any]) -> None:
    judge_prediction(write_design(tmp_path_factory.mktemp("mutant") / "mutant.toml", document))
