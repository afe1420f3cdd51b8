"""A plain document to change, and a way to see the complaints about a changed one."""

import copy

import pytest

from pcbstator.design import design_from_document
from pcbstator.errors import DesignError

DOCUMENT = {
    "title": "Bench motor",
    "winding": {"coils": 12, "turns": 8},
    "board": {
        "layers": 4,
        "thickness_mm": 1.5,
        "track_width_mm": 0.3,
        "track_gap_mm": 0.2,
        "copper_inner_diameter_mm": 40,
        "copper_outer_diameter_mm": 80.0,
    },
    "rotor": {
        "poles": 16,
        "air_gap_mm": 0.8,
        "magnet": {
            "shape": "disc",
            "diameter_mm": 10.0,
            "circle_diameter_mm": 58.0,
            "thickness_mm": 3.0,
            "remanence_t": 1.3,
        },
    },
}
ABSENT = object()


def changed_document(changes):
    """The document with dotted keys changed, or taken away by ABSENT."""
    document = copy.deepcopy(DOCUMENT)
    for path, value in changes.items():
        *tables, name = path.split(".")
        table = document
        for step in tables:
            table = table.setdefault(step, {})
        if value is ABSENT:
            table.pop(name, None)
        else:
            table[name] = value
    return document


@pytest.fixture
def document():
    return copy.deepcopy(DOCUMENT)


@pytest.fixture
def absent():
    return ABSENT


@pytest.fixture
def design_of():
    return lambda changes: design_from_document(changed_document(changes), "bench.toml")


@pytest.fixture
def complaints_of():
    def complaints(changes):
        with pytest.raises(DesignError) as caught:
            design_from_document(changed_document(changes), "bench.toml")
        return {complaint.key: complaint for complaint in caught.value.complaints}

    return complaints
