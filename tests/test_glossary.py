"""The glossary speaks of the program as it is."""

import re
from pathlib import Path

from pcbstator.design.keys import keys
from pcbstator.study.keys import result_keys

DOCS = Path(__file__).parents[1] / "docs"


def rows() -> list[list[str]]:
    page = (DOCS / "glossary.md").read_text(encoding="utf-8")
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in page.splitlines() if line[:2] == "| "][1:]


def test_every_key_that_the_glossary_names_exists():
    """Keys of the design file, of results, and codes of findings."""
    codes = set(re.findall(r"`([a-z_0-9]+\.[a-z_0-9]+)`", (DOCS / "findings.md").read_text(encoding="utf-8")))
    known = set(keys()) | set(result_keys()) | codes | {"board.rules"}
    named = {key for row in rows() for key in re.findall(r"`([a-z_0-9]+\.[a-z_0-9.]+)`", row[-1])}
    assert len(named) > 60 and not named - known


def test_terms_are_in_order_and_complete():
    """Alphabetical, each once, each with a meaning and a place."""
    found = rows()
    assert all(len(row) == 5 and row[1] and row[4] for row in found)
    terms = [row[0].lower().replace("-", "") for row in found]
    assert terms == sorted(set(terms)) and len(terms) >= 60
