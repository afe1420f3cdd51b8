"""The table of the verdict on a page: every cell there, margins in words, nothing of a design's words taken as HTML."""

import re
from html import unescape

import pytest

from pcbstator.design.sections.requirement import Requirement
from pcbstator.findings import Verdict
from pcbstator.output.report.verdict import COLUMNS, NAMES, verdict_lines, verdict_rows, verdict_table

MET = Verdict("position_error_deg", 0.1, 0.08, "met", decided_by="sensor eccentricity")
NOT_MET = Verdict("torque_reserve_percent", 25.0, 20.0, "not met", most=False, way_out="a wire <b>wider</b> & 0.3 mm")
UNKNOWN = Verdict("settling_time_s", 0.5, None, "cannot be said", decided_by="no motion")


def test_every_requirement_has_a_name():
    assert {item.alias for item in Requirement.model_fields.values()} == set(NAMES)


def test_limits_and_margins_in_words():
    met, not_met, unknown = verdict_rows([MET, NOT_MET, UNKNOWN])
    assert (met.limit, met.predicted, met.margin) == ("≤ 0.1°", "0.08°", "0.02° to spare")
    assert (not_met.limit, not_met.predicted, not_met.margin) == ("≥ 25 %", "20 %", "5 points too little")
    (forbidden,) = verdict_rows([Verdict("move_time_s", 1.0, 0.5, "not met", decided_by="torque", short=0.3)])
    assert (forbidden.predicted, forbidden.margin) == ("0.5 s", "")  # nothing is to spare
    assert (unknown.limit, unknown.predicted, unknown.margin) == ("≤ 0.5 s", "", "")


@pytest.mark.parametrize(("value", "word"), [(0.0999, "to spare"), (0.1, "to spare"), (0.1001, "too much")])
def test_the_margin_turns_at_the_limit(value, word):
    (row,) = verdict_rows([Verdict("position_error_deg", 0.1, value, "met")])
    assert row.margin.endswith(word)


def test_the_table_says_all_of_a_row_and_takes_no_words_as_html():
    table = verdict_table([MET, NOT_MET, UNKNOWN])
    assert re.findall(r'<th scope="col">(.*?)</th>', table) == list(COLUMNS)
    lines = re.findall(r'<tr class="([\w-]+)">(.*?)</tr>', table)
    assert [kind for kind, _ in lines] == ["met", "not-met", "cannot-be-said"]
    for (_, html), row in zip(lines, verdict_rows([MET, NOT_MET, UNKNOWN]), strict=True):
        words = unescape(re.sub(r"<[^>]*>", " ", html)).replace("\u00a0", " ")
        said = (row.requirement, row.limit, row.predicted, row.margin, row.verdict, row.decided_by, row.way_out)
        assert all(part in words for part in said)
    assert "<b>" not in table and "&lt;b&gt;" in table


def test_lines_for_a_terminal_say_the_same():
    lines = verdict_lines([MET, NOT_MET, UNKNOWN])
    said = "MET Error at rest, anywhere, from either side ≤ 0.1°, predicted 0.08°, 0.02° to spare"
    assert " ".join(lines[0].split()) == said
    assert lines[1].strip() == "decided by: sensor eccentricity"
    assert lines[3].strip() == "way out: a wire <b>wider</b> & 0.3 mm"
    assert lines[4].split()[:3] == ["CANNOT", "BE", "SAID"] and "predicted" not in lines[4]
    assert lines[5].strip() == "because: no motion"
