"""What logs know better goes into load, bearing and drive: the changed design then assumes what was measured."""

from math import degrees

import pytest

import pcbstator
from pcbstator.analysis.drive.driver_fit import sensor_error
from pcbstator.bench.built.logged import log_settings
from pcbstator.bench.load import bench_from_tables
from pcbstator.bench.logs.known import known_drive
from pcbstator.bench.logs.result import LogRow
from pcbstator.bench.machine_state import machine_state
from pcbstator.design.file_text import changed_text, design_file
from pcbstator.design.load import design_from_document
from tests.command import DESIGNS

STAGE = next(path for path in DESIGNS if path.stem == "photogrammetry-stage")
ANY = bench_from_tables({"resistance": [{"between": ["A", "B"], "ohm": 1.0, "copper_c": 20.0}]}).readings[0]
SLOW = 0.5  # rad/s


@pytest.fixture(scope="module")
def design():
    return pcbstator.load_design(STAGE).with_values({"build": None})


@pytest.fixture(scope="module")
def known(design):
    return known_drive(machine_state(design), (), ANY, 0.02)


def drive_with(design, settings):
    """The drive of the design with these keys, through its file and back."""
    import tomllib

    text = changed_text(design_file(design).decode(), {each.key: each.value for each in settings}, {})
    return text, known_drive(machine_state(design_from_document(tomllib.loads(text), "x")), (), ANY, 0.02)


def row(key, value, assumed, unit="N·m", part=0.01, about="", place=None):
    return LogRow(key, "log", about, value, part * value, unit, assumed, 0.1 * assumed, place=place)


@pytest.mark.parametrize("part", [0.8, 1.3])
def test_inertia(design, known, part):
    """More is laid beside the bodies, less is taken off all of them; their comments stay."""
    text, now = drive_with(design, log_settings([row("inertia", part * known.inertia, known.inertia, "kg·m²")], known))
    assert now.inertia == pytest.approx(part * known.inertia, rel=1e-3)
    assert "# object, not quite in the middle" in text


def test_friction(design, known):
    assumed = known.friction(SLOW)
    settings = list(log_settings([row("running_friction", 1.7 * assumed, assumed)], known))
    now = drive_with(design, settings)[1]
    assert now.friction(SLOW) == pytest.approx(1.7 * assumed, rel=0.05)  # that which fades with speed grew as well
    assert now.design.bearing.standstill_friction > now.design.bearing.friction


def test_viscous_friction(design, known):
    assumed = known.values.viscous + known.drag
    measured = assumed + 3e-3
    settings = log_settings([row("viscous_friction", measured, assumed, "N·m·s/rad")], known)
    now = drive_with(design, settings)[1]
    assert now.values.viscous + now.drag == pytest.approx(measured, rel=1e-3)


def test_play(design, known):
    settings = log_settings([row("play", 2 * degrees(known.play), degrees(known.play), "deg")], known)
    assert drive_with(design, settings)[1].play == pytest.approx(2 * known.play, rel=1e-3)


def test_offset_of_the_sensor(design, known):
    assumed = degrees(sensor_error(design.drive))
    found = row("sensor_once_per_turn", 3 * assumed, assumed, "deg", about="sensor's error 1 per turn: ring")
    now = drive_with(design, log_settings([found], known))[1]
    assert degrees(sensor_error(now.design.drive)) == pytest.approx(3 * assumed, rel=1e-3)


def test_spots(design, known):
    """A spot of the logs replaces the one that was assumed there; one elsewhere comes on top."""
    found = [row("friction_spot", 9e-3, 4e-3, place=(133.0, 12.0)), row("friction_spot", 5e-3, 0.0, place=(20.0, 8.0))]
    text, now = drive_with(design, log_settings(found, known))
    spots = [(degrees(middle), extra) for middle, _, extra in now.values.spots]
    assert spots == [pytest.approx((20.0, 5e-3)), pytest.approx((133.0, 9e-3))]
    assert "[[bearing.friction_spots]]" not in text


def test_what_is_as_assumed_changes_nothing(known):
    rows = [row("inertia", 1.01 * known.inertia, known.inertia, "kg·m²"), row("play", 0.4, 0.41, "deg", 0.05)]
    assert list(log_settings(rows, known)) == []
