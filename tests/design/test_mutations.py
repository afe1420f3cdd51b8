"""Whatever is done to a document, the answer is a design or a DesignError, never another exception."""

import copy
import json
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pcbstator.design import design_from_document, load_design
from pcbstator.design.keys import keys, sections
from pcbstator.errors import DesignError

STARTS = [load_design(path).document for path in sorted((Path(__file__).parents[2] / "designs").glob("*.toml"))]
WORDS = ["fill", "star", "disc", "block", "N42SH", "2oz-standard", 0, 2, 3, 0.3, 1.6, 30.0]
VAST = st.integers(0, 3).map(lambda n: 10 ** (5000 + n))  # more digits than Python shows
PLAIN = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12) | st.dates() | VAST
VALUES = st.recursive(
    PLAIN | st.sampled_from(WORDS),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=6,
)
PATHS = st.sampled_from([path for path in [*sections(), *keys()] if path]) | st.text(max_size=20)
CHANGES = st.dictionaries(PATHS, VALUES, max_size=5)


def put(document, path, value):
    """Sets a dotted key where that can be done."""
    *tables, name = path.split(".")
    for step in tables:
        document = document.setdefault(step, {}) if isinstance(document, dict) else None
    if isinstance(document, dict):
        document[name] = value


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(STARTS), CHANGES)
def test_mutated_document(start, changes):
    document = copy.deepcopy(start)
    for path, value in changes.items():
        put(document, path, value)
    try:
        design = design_from_document(document, "mutant.toml")
    except DesignError as error:
        assert error.complaints
        assert all(complaint.rule for complaint in error.complaints)
        assert len(set(error.complaints)) == len(error.complaints)
        return
    assert json.loads(json.dumps(design.document))
    assert len(design.digest) == 64
    assert 0.05 <= design.rotor.magnet.remanence <= 1.6
    assert len(design.board.layer_z) == design.board.layers
    assert design.board.inner_diameter < design.board.copper_inner_diameter < design.board.copper_outer_diameter
    assert design_from_document(design.document, "mutant.toml") == design


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(STARTS), CHANGES)
def test_changed_design(start, changes):
    design = design_from_document(start)
    try:
        changed = design.with_values(changes)
    except DesignError as error:
        assert error.complaints
        return
    assert changed.document is not design.document


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=80), st.integers(0, 5000), st.booleans())
def test_garbled_file(tmp_path_factory, noise, place, cut):
    content = (Path(__file__).parents[2] / "designs" / "small-fan.toml").read_bytes()
    file = tmp_path_factory.getbasetemp() / "garbled.toml"
    file.write_bytes(content[:place] + noise + (b"" if cut else content[place:]))
    try:
        load_design(file)
    except DesignError as error:
        assert error.complaints
