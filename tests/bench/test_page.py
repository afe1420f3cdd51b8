"""docs/bench.md lists every key of a bench file as the records have it, and its example is taken."""

import re
import tomllib
from pathlib import Path

import pytest

from pcbstator.bench.load import KINDS, bench_from_tables
from pcbstator.bench.recorded import COLUMNS
from pcbstator.design.keys import record_keys

PAGE = (Path(__file__).parents[2] / "docs" / "bench.md").read_text(encoding="utf-8")
SHARED = ("name", "board", "rotor", "uncertainty_percent")


def rows(kind):
    """The rows of the table of one kind of reading; what all kinds share stands in a table of its own."""
    found = []
    for key in record_keys(kind, KINDS[kind]):
        if (key.name in SHARED) == (kind == "all"):
            without = (
                "required" if key.required else key.otherwise or ("–" if key.default is None else f"`{key.default}`")
            )
            found.append(f"| `{key.name}` | {key.unit or '–'} | {without} | {key.meaning} |")
    return found


@pytest.mark.parametrize("kind", KINDS)
def test_page_has_every_key(kind):
    section = re.search(rf"^### `\[\[{kind}\]\]`.*?\n(.*?)(?=^##|\Z)", PAGE, re.M | re.S)[1]
    assert re.findall(r"^\| `.*$", section, re.M) == rows(kind)


def test_page_has_every_default_uncertainty():
    for kind, record in KINDS.items():
        if record.default != 0.05 and "value" in record.model_fields:
            assert re.search(rf"`{kind}`[^|\n]*\| {100 * record.default:g} %", PAGE), kind


def test_page_names_every_column():
    assert set(re.findall(r"`(\w+)`", re.search(r"^Columns: (.*?)\n\n", PAGE, re.M | re.S)[1])) == set(COLUMNS)


def test_example_of_the_page_is_taken():
    example = re.search(r"^```toml\n(.*?)^```", PAGE, re.M | re.S)[1]
    assert len(bench_from_tables(tomllib.loads(example)).readings) >= 5
