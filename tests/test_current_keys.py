"""Every key that holds a current says whether it is rms or peak, and of what; docs/conventions.md names the others."""

import re
from pathlib import Path

import pytest

import pcbstator
from pcbstator.currents import peak_current, rms_current
from pcbstator.design.keys import keys
from pcbstator.study.keys import flat_results
from tests.shipped import shipped

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "conventions.md").read_text(encoding="utf-8").split("## Currents")[1].split("\n## ")[0]
ALLOWED = set(re.findall(r"`(?:[a-z_]+\.)?(\w+_a)`", PAGE.split("These need neither word")[1]))


def keys_within(value, name=""):
    """Every key of nested results, with the groups it stands in."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield from keys_within(item, f"{name}.{key}" if name else key)
    elif isinstance(value, list):
        for item in value:
            yield from keys_within(item, name)
    else:
        yield name


@pytest.fixture(scope="module")
def results():
    """All keys of results: every group is in one of these designs."""
    found = set()
    for path in sorted((ROOT / "designs").glob("*.toml")):
        design, _, prediction = shipped(path.stem)
        delta = pcbstator.predict(design.with_values({"winding.connection": "delta"}))
        for each in (prediction, delta):
            found |= set(keys_within(each.to_dict()))
    return found


def ampere_keys(names):
    return {name for name in names if re.search(r"_a$", name) and not re.search(r"_(per|v_per|n_m_per)_a$", name)}


def test_every_current_says_its_kind(results):
    currents = ampere_keys(results | set(keys()))
    assert {"thermal.continuous_phase_current_rms_a", "motion.terminal_current_peak_a"} <= currents
    wrong = {name for name in currents if not re.search(r"_(rms|peak)_a$", name)}
    assert {name.rpartition(".")[2] for name in wrong} <= ALLOWED


def test_phase_or_terminal_is_said_of_every_motor_current(results):
    for name in ampere_keys(results | set(keys())):
        group, last = name.split(".")[0], name.rpartition(".")[2]
        if group in ("thermal", "losses", "operation"):
            assert "phase" in last, name
        elif group in ("motion", "drive") and last not in ALLOWED and "supply" not in last:
            assert re.search("phase|terminal|limit|base", last), name


def test_no_key_says_a_kind_and_holds_another():
    """Delta, one current in every kind: the terminal's peak is sqrt(3) sqrt(2) times the phase's rms."""
    design = pcbstator.load_design(ROOT / "designs" / "filter-wheel.toml").with_values({"winding.connection": "delta"})
    prediction = pcbstator.predict(design)
    machine = prediction.drive.machine
    assert machine.peak_current(1.0) == pytest.approx(6**0.5, rel=1e-12)
    assert peak_current(rms_current(2.0)) == pytest.approx(2.0, rel=1e-15)
    flat = flat_results(prediction)
    assert flat["thermal.continuous_phase_current_rms_a"] == prediction.thermal.continuous_current
