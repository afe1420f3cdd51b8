"""The pages that list things list exactly what the program has."""

import re
import tomllib
from dataclasses import fields
from pathlib import Path

import pytest

from pcbstator.analysis.prediction import Prediction
from pcbstator.errors import install_words
from tests import wave_and_spiral
from tests.shipped import shipped

DOCS = Path(__file__).parents[1] / "docs"


def test_nomenclature_lists_every_result_in_its_group():
    page = (DOCS / "nomenclature.md").read_text(encoding="utf-8")
    groups = dict(re.findall(r"^## (\w+)\n(.*?)(?=^## |\Z)", page, re.MULTILINE | re.DOTALL))
    sections = dict(shipped("sky-tracker")[2].sections())  # it has every group
    assert set(sections) <= {item.name for item in fields(Prediction)}
    assert "slip_ring" in sections
    for name, section in sections.items():
        keys = {item.metadata["key"] for item in fields(section) if "key" in item.metadata}
        listed = {
            key
            for row in re.findall(r"^\| (`.*?) \|", groups[name], re.MULTILINE)
            for key in re.findall(r"`(\w+)`", row)
        }
        assert listed == keys, name


def test_wave_and_spiral_has_the_programs_figures():
    page = (DOCS / "wave-and-spiral.md").read_text(encoding="utf-8")
    assert re.findall(r"^\| (?:spiral|wave), .*$", page, re.MULTILINE) == wave_and_spiral.rows()


def test_widened_tracks_of_a_wave_against_the_published_relation():
    """About 17 % less copper loss (Tokgoz et al. 2020): same turns and least width, equal torque, within 5 points."""
    tapered = wave_and_spiral.figures("wave", "tapered")
    even = wave_and_spiral.figures("wave", "even", tapered["width"])
    assert 1 - (even["constant"] / tapered["constant"]) ** 2 == pytest.approx(0.17, abs=0.05)


def test_messages_tell_to_install_what_the_pages_tell():
    """And no message names an installation of its own: from a registry another program might come."""
    root = DOCS.parent
    extras = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    pages = {
        name: (root / name).read_text(encoding="utf-8") for name in ("README.md", "docs/studies.md", "docs/solids.md")
    }
    for extra, page in (
        ("explore", "README.md"),
        ("page", "README.md"),
        ("cluster", "docs/studies.md"),
        ("solids", "docs/solids.md"),
    ):
        assert extra in extras
        assert f"`{install_words(extra).rpartition(', ')[2]}`" in pages[page]
    code = "".join(path.read_text(encoding="utf-8") for path in (root / "pcbstator").rglob("*.py"))
    assert code.count("pip install") == 1
