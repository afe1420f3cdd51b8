"""Findings that the user has accepted: listed with the reason, back when they have grown."""

from __future__ import annotations

import pytest

from pcbstator.check.accepted import with_acceptances
from pcbstator.design import load_design
from pcbstator.design.file_text import changed_text
from pcbstator.design.sections.requirement import Acceptance
from pcbstator.errors import DesignError
from pcbstator.findings import Finding
from tests.command import DESIGNS, run

BOW = Finding("board.bow", "warning", "it bows", 0.8, 0.4)
MARGIN = Finding("drive.margin", "warning", "little margin", 20.0, 30.0)


def settled(finding, value):
    return with_acceptances([finding], {finding.code: Acceptance(reason="six tabs", value=value)})[0]


def test_an_accepted_finding_is_a_note_with_the_reason():
    found = settled(BOW, 0.8)
    assert (found.severity, found.accepted, found.message, found.label) == ("note", "six tabs", "it bows", "accepted")
    assert found.to_dict()["accepted"] == "six tabs"


@pytest.mark.parametrize(
    ("finding", "value", "comes_back"),
    [
        (BOW, 0.8 / 1.099, False),
        (BOW, 0.8 / 1.101, True),
        (BOW, 5.0, False),  # it shrank since
        (MARGIN, 20.0 / 0.901, False),
        (MARGIN, 20.0 / 0.899, True),  # a margin grows worse by falling
        (MARGIN, 2.0, False),
    ],
)
def test_what_has_grown_by_a_tenth_comes_back(finding, value, comes_back):
    found = settled(finding, value)
    assert (found.severity == "warning") == comes_back
    assert ("it was accepted at" in found.message) == comes_back == (found.accepted is None)


def test_a_reason_alone_holds_and_says_how_to_hear_of_growth():
    found = settled(BOW, None)
    assert found.severity == "note" and "value = 0.8" in found.message


def test_errors_cannot_be_accepted_and_idle_acceptances_are_told():
    error = Finding("board.edge", "error", "too near")
    found = with_acceptances([error], {"board.edge": Acceptance(reason="no"), "board.bowl": Acceptance(reason="x")})
    assert found[0].severity == "error" and "cannot be accepted" in found[0].message
    assert (found[1].code, found[1].severity, found[1].where) == ("accepted.idle", "note", "accepted.board.bowl")


@pytest.mark.parametrize(("stated", "key", "words"), [
    (3, "accepted", "must be a table of findings' codes"),
    ({f"board.{n}": "why" for n in range(201)}, "accepted", "at most 200 of them"),
    ({"board.bow": 3}, "accepted.board.bow.reason", "must be one line of text in quotes, 1 to 200 characters; got 3"),
    ({"board": {"bow": {"value": 0.6}}}, "accepted.board.bow.reason", "is required; got nothing; add reason = "),
    ({"board.bow": {"reason": "why", "valu": 1.0}}, "accepted.board.bow.valu", "got 1.0; did you mean value?"),
    ({"board.bow": {"reason": "why", "value": "1"}}, "accepted.board.bow.value", "write the number without quotes"),
    ({"board.bow": {"reason": "why", "value": float("nan")}}, "accepted.board.bow.value", "must be a number from"),
])  # fmt: skip
def test_acceptances_that_are_none(stated, key, words):
    with pytest.raises(DesignError) as told:
        load_design(DESIGNS[1]).with_values({"accepted": stated})
    (complaint,) = told.value.complaints
    assert complaint.key == key and words in str(complaint)


def test_accepted_by_the_file(tmp_path):
    """A warning of a design, accepted in its file, goes through the whole program."""
    text = changed_text((DESIGNS[1]).read_text(encoding="utf-8"), {"load.play_deg": 0.5, "accepted": None})
    told = []
    for accepted in ("", '\n[accepted]\n"drive.play" = { reason = "preloaded by a spring", value = 0.5 }\n'):
        mine = tmp_path / "mine.toml"
        mine.write_text(text + accepted, encoding="utf-8")
        told.append(run("check", mine))
    assert "warning [drive.play]" in told[0].out
    assert "accepted [drive.play]" in told[1].out and ": preloaded by a spring" in told[1].out
