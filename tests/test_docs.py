"""The pages that list things list exactly what the program has."""

import re
from dataclasses import fields
from pathlib import Path

import pcbstator
from pcbstator.predict.records import Prediction

DOCS = Path(__file__).parents[1] / "docs"


def test_nomenclature_lists_every_result_in_its_group():
    page = (DOCS / "nomenclature.md").read_text(encoding="utf-8")
    groups = dict(re.findall(r"^## (\w+)\n(.*?)(?=^## |\Z)", page, re.MULTILINE | re.DOTALL))
    design = pcbstator.load_design(DOCS.parent / "designs" / "sky-tracker.toml")  # it has every group
    sections = dict(pcbstator.predict(design).sections())
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
