"""A design of a study as a design file of its own: the base's file, comments and all, with the values put in."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from pcbstator.check import checked_prediction
from pcbstator.design import design_from_document
from pcbstator.design.file_text import changed_text
from pcbstator.errors import DesignError, OutputError
from pcbstator.study.confirm import differences
from pcbstator.study.keys import flat_results
from pcbstator.study.store import Store

SAME = 1e-3  # part by which a full prediction may differ from the quick numbers of a study
LONGEST_TITLE = 120
SHOWN = 12  # results in the words


@dataclass(frozen=True)
class Taken:
    """The file's text, words about its prediction, and whether that forbids to make it or differs; recording: a file
    that must lie beside it, if any.
    """

    text: str
    words: str
    errors: bool
    recording: str = ""


def taken_design(store: Store, number: int) -> Taken:
    """Design ``number`` of a store, predicted in full and held against what the study found.

    Raises OutputError where there is no such design or it is none that can be laid.
    """
    found = store.outcome(number) if 1 <= number <= store.last() else None
    if found is None:
        raise OutputError(f"{store.path}: holds no design {number}; numbers go from 1 to {store.last()}")
    point, outcome = found
    study = store.study
    title = f"{tomllib.loads(study.design_text).get('title', '')}, design {number}"
    settings = ({"title": title} if len(title) <= LONGEST_TITLE else {}) | study.settings(point)
    name = "".join(letter if letter.isprintable() else " " for letter in study.title)
    head = f'# Design {number} of the study "{name}"\n'
    text = head + changed_text(study.design_text, settings)
    try:
        folder = Path(study.folder) if study.folder else None
        design = design_from_document(tomllib.loads(text), f"design {number}", folder)
        prediction = checked_prediction(design)
    except (DesignError, tomllib.TOMLDecodeError) as error:
        raise OutputError(f"design {number} cannot be laid: {error}; take another one") from None
    full = flat_results(prediction)
    apart = differences(outcome.results, full)
    differs = any(part > SAME for part in apart.values())
    lines = []
    for key, part in list(apart.items())[:SHOWN]:
        note = f"   the study had {outcome.results[key]:.6g}" if part > SAME else ""
        lines.append(f"  {key:<46}{full[key]:>12.6g}{note}")
    errors = [finding.message for finding in prediction.findings if finding.severity == "error"]
    verdict = "predict gives other numbers than the study" if differs else "predict confirms the study's numbers"
    lines = [verdict, *lines, *(f"error: {message}" for message in errors)]
    if not outcome.feasible:
        lines.insert(0, f"note: this design was ruled out: {outcome.detail or outcome.ruled_out}")
    recording = design.motion.table if design.motion else None
    return Taken(text, "\n".join(lines) + "\n", differs or bool(errors), recording or "")
