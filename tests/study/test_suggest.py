"""Suggestions do what is asked, are made of parts that can be bought, and differ in kind; where nothing does it, what
is said to do does it.
"""

from __future__ import annotations

import itertools
import re
import tomllib
from math import hypot, pi, sin

import pytest

import pcbstator
from pcbstator.design import load_design
from pcbstator.errors import DesignError
from pcbstator.study.suggestion import look
from pcbstator.study.suggestion.fill import asked_of, load_asked, profile
from pcbstator.study.suggestion.kinds import APART, Build, apart, most_poles
from pcbstator.study.suggestion.parts import StockMagnet, load_parts
from pcbstator.study.suggestion.relax import two_digits
from pcbstator.study.suggestion.room import Ring, rings_of
from pcbstator.study.suggestion.suggest import NothingMeetsError, suggestions
from tests.command import run
from tests.study.studies import WHEEL

ROOM = """
title = "Plate around a bearing"

[envelope]
bore_diameter_mm = 100.0
outer_diameter_mm = 160.0
height_mm = 15.0

[load]
inertia_kg_m2 = 0.01

[bearing]
friction_n_m = 0.02
"""
WISH = """
[motion]
move_deg = 90.0
dwell_s = 2.0

[requirement]
move_time_s = 5.0
"""
FEW = """
discs = [{ diameter_mm = 15.0, thickness_mm = [3.0] }]
blocks = [{ length_mm = 20.0, width_mm = 10.0, thickness_mm = [3.0] }]
steel_mm = [2.0, 3.0, 4.0]
track_mm = [0.2, 0.4, 0.8]
copper_um = [35.0]
layers = [2, 4]
"""


def tables(text: str) -> dict:
    return tomllib.loads(text)


@pytest.fixture
def room(tmp_path):
    """A file of envelope, load and wish, and a list of few parts."""
    place, parts = tmp_path / "room.toml", tmp_path / "parts.toml"
    place.write_text(ROOM + WISH, encoding="utf-8")
    parts.write_text(FEW, encoding="utf-8")
    return place, parts


def test_designs_that_meet_it_of_parts_from_the_list(room, tmp_path, monkeypatch):
    monkeypatch.setattr(look, "FINE_BUILDS", 6)
    place, parts = room
    folder = tmp_path / "options"
    told = run("suggest", place, "--parts", parts, "--workers", "1", "-o", folder)
    assert told.code == 0, told.err
    files = sorted(folder.glob("*.toml"))
    assert 3 <= len(files) <= 6
    magnets, poles = set(), set()
    for file in files:
        design = load_design(file)
        assert design.document["load"] == {"inertia_kg_m2": 0.01}
        assert design.document["bearing"] == {"friction_n_m": 0.02}
        found = pcbstator.predict(design)
        assert found.requirement and {verdict.verdict for verdict in found.requirement} == {"met"}, file.name
        assert not [finding for finding in found.findings if finding.severity == "error"], file.name
        assert found.mechanical.back_iron_flux is None or found.mechanical.back_iron_flux <= 1.5
        magnet, rotor, board = (design.document["rotor"]["magnet"], design.document["rotor"], design.document["board"])
        size = magnet.get("diameter_mm") or (magnet["length_mm"], magnet["width_mm"])
        assert (size, magnet["thickness_mm"], magnet["grade"]) in ((15.0, 3.0, "N42"), ((20.0, 10.0), 3.0, "N42"))
        assert rotor["back_iron_mm"] in (0.0, 2.0, 3.0, 4.0) and board["track_width_mm"] in (0.2, 0.4, 0.8)
        magnets.add(magnet["shape"])
        poles.add(design.rotor.poles)
        assert file.stem in (folder / "suggestions.html").read_text(encoding="utf-8")
    assert len(magnets) == 2 and len(poles) > 1
    page = (folder / "suggestions.html").read_text(encoding="utf-8")
    assert page.count("data:image/svg+xml;base64,") == len(files)
    assert not re.search(r"(?:src|href)=\"(?:https?:)?//", page)
    for words in ("move_time_s, at most 5", "Gives up:", "Taken for granted"):
        assert words in page, words


@pytest.mark.slow
def test_no_two_are_near_in_kind(room, monkeypatch):
    monkeypatch.setattr(look, "FINE_BUILDS", 5)
    found = suggestions(*room, workers=1).found
    assert all(apart(a.build, b.build) >= APART for a, b in itertools.combinations(found, 2))
    prices = [each.results["cost.total"] for each in found]
    assert [len(each.warnings) for each in found] == sorted(len(each.warnings) for each in found)
    cheapest = prices.index(min(prices))
    assert "price" in [measure.name for measure in found[cheapest].standing.best]
    for number, each in enumerate(found):
        for less in each.standing.less:
            assert less.whose - 1 != number and less.best != less.value


def test_what_kind_means():
    parts = load_parts()
    kinds = asked_of(tables(ROOM + WISH), ROOM + WISH, "room.toml", None, parts).kinds
    one = Build(kinds[0], 4, steel=True)
    assert apart(one, one) == 0 and apart(one, Build(kinds[0], 2, steel=True)) == 1
    spiral = next(kind for kind in kinds if kind.winding == "spiral")
    wave = next(k for k in kinds if k.winding == "wave" and k.magnet.shape == spiral.magnet.shape
                and k.poles < 1.4 * spiral.poles)  # fmt: skip
    assert apart(Build(spiral, 2, steel=False), Build(wave, 2, steel=False)) == 2
    thicker = next(k for k in kinds if k.magnet.length == spiral.magnet.length and k.winding == "spiral"
                   and k.magnet.thickness != spiral.magnet.thickness)  # fmt: skip
    assert apart(Build(spiral, 2, steel=False), Build(thicker, 2, steel=False)) == 0  # a number, no kind


@pytest.mark.slow
def test_a_job_beyond_what_the_supply_can_give(tmp_path):
    """By hand: 12 V and 1 A peak give three phases at most 3/2 · 12/√3 · 1 = 10.4 W; 0.8 N·m at 180 rpm take 15 W."""
    text = (
        ROOM.replace("friction_n_m = 0.02", "friction_n_m = 0.8")
        + """
[motion]
move_deg = 3600.0
speed_rpm = 180.0
acceleration_deg_s2 = 3600.0

[drive]
supply_v = 12.0
current_limit_peak_a = 1.0
pwm_khz = 40.0
sensor_counts = 16384
"""
    )
    assert 0.8 * 180 * pi / 30 > 1.5 * 12 / 3**0.5
    place, parts = tmp_path / "fast.toml", tmp_path / "parts.toml"
    place.write_text(text, encoding="utf-8")
    parts.write_text(FEW, encoding="utf-8")
    with pytest.raises(NothingMeetsError, match=r"torque_reserve_percent at least 25 rules out (\d+) of the \1"):
        suggestions(place, parts, workers=1)


@pytest.mark.slow
def test_what_is_said_to_do_does(tmp_path):
    """An acceleration that is far too much: a gentler one is offered, and the design that is named meets it then."""
    text = ROOM + "[motion]\nmove_deg = 90.0\nspeed_rpm = 20.0\nacceleration_deg_s2 = 20000.0\n"
    text += "[drive]\nsupply_v = 12.0\ncurrent_limit_peak_a = 1.0\npwm_khz = 40.0\nsensor_counts = 16384\n"
    place, parts = tmp_path / "steep.toml", tmp_path / "parts.toml"
    place.write_text(text, encoding="utf-8")
    parts.write_text(FEW, encoding="utf-8")
    assert 0.01 * 20000 * pi / 180 > 3  # N m, by hand: inertia times acceleration
    with pytest.raises(NothingMeetsError, match=r"what would do: acceleration_deg_s2 = .* a move then takes") as told:
        suggestions(place, parts, workers=1)
    offered = next(way for way in told.value.relaxed if "motion.acceleration_deg_s2" in way.settings)
    rate = offered.settings["motion.acceleration_deg_s2"]
    times = [float(seconds) for seconds in re.findall(r"([\d.]+) s", offered.words)]
    assert times == pytest.approx([90 / 120 + 120 / a if 90 * a >= 120**2 else 2 * (90 / a) ** 0.5
                                   for a in (rate, 20000.0)], rel=5e-3)  # fmt: skip
    gentle = text.replace("20000.0", f"{rate:g}")
    place.write_text(gentle, encoding="utf-8")
    found = suggestions(place, parts, workers=1)
    assert found.found and all(v.verdict == "met" for one in found.found for v in one.verdicts)


@pytest.mark.parametrize(("move", "seconds", "speed", "rate"),
                         [(90.0, 10.0, None, None), (90.0, 10.0, 2.0, None), (90.0, 2.0, None, 300.0)])  # fmt: skip
def test_motion_that_just_takes_its_time(move, seconds, speed, rate):
    """A trapezoid of speed takes move over speed plus speed over acceleration."""
    rpm, acceleration, _ = profile(move, seconds, speed, rate, None)
    turning = 6 * rpm
    needs = move / turning + turning / acceleration
    assert needs == pytest.approx(seconds, rel=0.01) and needs <= seconds * (1 + 1e-9)
    assert speed is None or rpm == speed
    assert rate is None or acceleration == rate


def test_poles_that_fit_a_circle():
    ring = Ring("", 100.0, 160.0)
    middle = (50.5 + 77.0) / 2
    for magnet in (StockMagnet(15.0, 3.0), StockMagnet(10.0, 2.0)):
        poles = most_poles(ring, magnet)
        assert 2 * middle * sin(pi / poles) >= magnet.length + 0.5 > 2 * middle * sin(pi / (poles + 2))
    block = StockMagnet(20.0, 3.0, 10.0)
    poles = most_poles(ring, block)
    x, y = middle - 10.0, 5.0  # a corner nearest to the axis; its neighbour's mirrored at half a pitch
    apart_mm = 2 * (x * sin(pi / poles) - y * (1 - sin(pi / poles) ** 2) ** 0.5)
    assert 0.3 < apart_mm < 0.5 + 2 * hypot(x, y) * (pi / poles - pi / (poles + 2))


def test_within_a_bearing_and_around_it():
    envelope = {"bore_diameter_mm": 30.0, "outer_diameter_mm": 200.0, "bearing_inner_diameter_mm": 90.0,
                "bearing_outer_diameter_mm": 140.0}  # fmt: skip
    found = rings_of({"envelope": envelope})
    assert [(ring.place, ring.inner, ring.outer) for ring in found] == [
        ("around the bearing", 141.0, 199.0), ("inside the bearing", 31.0, 89.0),
    ]  # fmt: skip
    assert [ring.place for ring in rings_of({"envelope": {"outer_diameter_mm": 200.0}})] == [
        "at the rim", "near the middle",
    ]  # fmt: skip
    design = load_design(WHEEL)
    inner, outer = 1e3 * design.board.inner_diameter, 1e3 * design.board.outer_diameter
    crossed = {"bore_diameter_mm": 1.0, "outer_diameter_mm": 300.0, "bearing_inner_diameter_mm": inner + 5.0,
               "bearing_outer_diameter_mm": outer + 5.0}  # fmt: skip
    codes = [f.code for f in pcbstator.predict(design.with_values({"envelope": crossed})).findings]
    assert codes.count("envelope.bearing") == 2  # board and magnets
    around = crossed | {"bearing_inner_diameter_mm": 2.0, "bearing_outer_diameter_mm": inner - 5.0}
    codes = [f.code for f in pcbstator.predict(design.with_values({"envelope": around})).findings]
    assert "envelope.bearing" not in codes


@pytest.mark.parametrize(("text", "words"), [
    ("discs = 3", "discs: must be a list"), ("blocks = [{ length_mm = 3.0 }]", "blocks[1].width_mm: is required"),
    ("blocks = [{ length_mm = 3.0 }]", "is required; got nothing; add thickness_mm = [2.0, 3.0]"),
    ("discs = [{ diameter_mm = 5.0, thickness_mm = 3.0 }]", "discs[1].thickness_mm: must be a list"),
    ("discs = [{ diameter_mm = 0.2, thickness_mm = [3.0] }]", "discs[1].diameter_mm: must be a number from 0.5"),
    ("discs = [{ diameter_mm = 5.0, thickness_mm = [3.0], hole_mm = 1.0 }]", "discs[1].hole_mm: is not a known key"),
    ('grade = "N99"', "grade: must be a grade"), ("layers = [2, 3]", "layers[2]: must be an even whole number"),
    ("layers = []", "layers: at least one is needed"), ("disks = []", "did you mean discs?"),
    ("track_mm = [-1.0]", "track_mm: must be a list of at most 200 numbers from 0.05 to 500 mm; got [-1.0]; mend"),
    ("steel_mm = []", "steel_mm: must be a list"),
])  # fmt: skip
def test_lists_of_parts_that_are_none(text, words, tmp_path):
    place = tmp_path / "parts.toml"
    place.write_text(text, encoding="utf-8")
    with pytest.raises(DesignError, match=re.escape(words)):
        load_parts(place)


def test_a_list_of_parts_of_your_own(tmp_path):
    """Each list is in rising order, what is left out stays as usual, and every mistake is told at once."""
    place = tmp_path / "parts.toml"
    place.write_text("layers = [4, 2, 4]\nsteel_mm = [3, 1.5]\nblocks = []\n", encoding="utf-8")
    parts, usual = load_parts(place), load_parts()
    assert parts.layers == (2, 4) and parts.steel == (1.5, 3.0) and parts.tracks == usual.tracks
    assert parts.magnets == tuple(magnet for magnet in usual.magnets if magnet.shape == "disc")
    place.write_text("layers = [3]\ncopper_um = 35\nblock = []\n", encoding="utf-8")
    with pytest.raises(DesignError) as told:
        load_parts(place)
    assert {complaint.key for complaint in told.value.complaints} == {"layers[1]", "copper_um", "block"}


@pytest.mark.parametrize(("text", "words"), [
    ('title = "x"', "envelope.outer_diameter_mm"),
    ('title = "x"\n[envelope]\nouter_diameter_mm = 10.0', "must leave a ring"),
    ('title = "x"\n[envelope]\nouter_diameter_mm = 100.0\nheight_mm = 3.0', "must hold board, gap and a magnet"),
    ('title = "x"\n[envelope]\nouter_diameter_mm = 100.0\n[motion]\nmove_deg = "far"', "motion.move_deg"),
    ("[envelope]\nouter_diameter_mm = 100.0", "title"),
])  # fmt: skip
def test_files_that_do_not_say_enough(text, words, tmp_path):
    place = tmp_path / "room.toml"
    place.write_text(text, encoding="utf-8")
    told = run("suggest", place)
    assert told.code == 2 and words in told.err and "Traceback" not in told.err


def test_values_on_the_safe_side():
    assert two_digits(0.1001) == 0.11 and two_digits(0.1099, up=False) == 0.1 and two_digits(72.0) == 72.0


def test_a_whole_design_keeps_what_is_not_open():
    asked = load_asked(WHEEL, load_parts())
    own = load_design(WHEEL)
    for kept in ("load", "motion", "drive", "envelope"):
        assert getattr(asked.design, kept) == getattr(own, kept)
    assert {(kind.ring.inner, kind.ring.outer) for kind in asked.kinds} == {
        (1e3 * own.board.copper_inner_diameter, 1e3 * own.board.copper_outer_diameter)
    }


@pytest.mark.slow
def test_six_designs_of_usual_parts(tmp_path):
    place = tmp_path / "room.toml"
    place.write_text(ROOM + WISH, encoding="utf-8")
    found = suggestions(place, workers=1)
    assert len(found.found) == 6
    assert len({one.build.kind.winding for one in found.found}) == 2
    assert len({one.build.kind.magnet.shape for one in found.found}) == 2
