"""Suggestions do what is asked, are made of parts that can be bought, and differ in kind; where nothing does it, what
is said to do does it.
"""

from __future__ import annotations

import itertools
import re
import tomllib
from math import degrees, hypot, pi, sin

import pytest

import pcbstator
from pcbstator.check.ways_out.move_profile import profile, rounded
from pcbstator.design import load_design
from pcbstator.errors import DesignError
from pcbstator.project import suggestion_files
from pcbstator.study.evaluate import bench, evaluate
from pcbstator.study.keys import flat_results
from pcbstator.study.suggestion import look
from pcbstator.study.suggestion.fill import asked_of, filled, load_asked
from pcbstator.study.suggestion.kinds import APART, Build, apart, most_poles
from pcbstator.study.suggestion.parts import StockMagnet, load_parts
from pcbstator.study.suggestion.relax import relaxed
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
        bow = [finding for finding in found.findings if finding.code == "board.bow"]
        assert bow and {(finding.severity, bool(finding.accepted)) for finding in bow} == {("note", True)}
        assert found.mechanical.back_iron_flux is None or found.mechanical.back_iron_flux <= 1.5
        magnet, rotor, board = (design.document["rotor"]["magnet"], design.document["rotor"], design.document["board"])
        size = magnet.get("diameter_mm") or (magnet["length_mm"], magnet["width_mm"])
        assert (size, magnet["thickness_mm"], magnet["grade"]) in ((15.0, 3.0, "N42"), ((20.0, 10.0), 3.0, "N42"))
        assert rotor["back_iron_mm"] in (0.0, 2.0, 3.0, 4.0) and board["track_width_mm"] in (0.2, 0.4, 0.8)
        magnets.add(magnet["shape"])
        poles.add(design.rotor.poles)
        assert file.stem in (folder / "suggestions.html").read_text(encoding="utf-8")
    assert len(magnets) == 2 and len(poles) > 1
    page = (folder / "suggestions.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert page.count("data:image/svg+xml;base64,") == len(files)
    assert not re.search(r"(?:src|href)=\"(?:https?:)?//", page)
    for words in ("Time of a move", "≤ 5 s", " to spare", "Gives up:", "Taken for granted"):
        assert words in page, words


@pytest.mark.slow
def test_no_two_are_near_in_kind(room, monkeypatch):
    monkeypatch.setattr(look, "FINE_BUILDS", 5)
    found = suggestions(*room, workers=1).found
    assert all(apart(a.build, b.build) >= APART for a, b in itertools.combinations(found, 2))
    prices = [each.results["cost.total"] for each in found]
    assert [len(each.warnings) for each in found] == sorted(len(each.warnings) for each in found)
    again = flat_results(pcbstator.predict(found[0].design))
    told = {key: value for key, value in found[0].results.items() if key.startswith(("motion.", "drive.", "thermal."))}
    assert len(told) > 50 and {key: again[key] for key in told} == pytest.approx(told, rel=1e-9)
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
    files = suggestion_files(told.value.found)
    assert "no design meets all that is asked" in files["suggestions.html"]
    assert f"acceleration_deg_s2 = {rate:g} instead of 20000" in files["suggestions.html"]
    asked = [tomllib.loads(content) for name, content in files.items() if name.endswith(".toml")]
    assert rate in [each["motion"]["acceleration_deg_s2"] for each in asked]
    gentle = text.replace("20000.0", f"{rate:g}")
    place.write_text(gentle, encoding="utf-8")
    found = suggestions(place, parts, workers=1)
    assert found.found and all(v.verdict == "met" for one in found.found for v in one.verdicts)


def ways(text):
    """What would do for one design of this room, and the design."""
    parts = load_parts()
    asked = asked_of(tables(text), text, "room.toml", None, parts)
    study = look.study_of_kinds(asked, parts)
    point = (next(n for n, kind in enumerate(asked.kinds) if kind.winding == "spiral"), 4, 1, 0, 3)
    build = Build(asked.kinds[point[0]], parts.layers[1], steel=True)
    one = look.Look(point, build, evaluate(study, [point])[0])
    return relaxed(study, [one], asked.eased), bench(study).base.with_values(dict(study.settings(point)))


def verdicts_of(design, way):
    return {verdict.verdict for verdict in pcbstator.predict(design.with_values(way.settings)).requirement}


MOVE = "[motion]\nmove_deg = 90.0\nspeed_rpm = {}\nacceleration_deg_s2 = {}\n[requirement]\nmove_time_s = {}\n"


def test_the_gentlest_acceleration_would_be_too_slow():
    """0.01 kg m2 at 2000 deg/s2 take 0.35 N m; a hundredth of that takes 2 sqrt(90 / 20) = 4.2 s."""
    found, design = ways(ROOM + MOVE.format(30.0, 2000.0, 2.5))
    rates = [way.settings["motion.acceleration_deg_s2"] for way in found]
    assert len(rates) == 2 and "motion.speed_rpm" in found[1].settings  # the acceleration alone, and speed with it
    for way in found:
        assert "requirement.move_time_s" not in way.settings and verdicts_of(design, way) == {"met"}


def test_several_limits_that_are_missed():
    """Each is eased; one that has no value at first, since it never settles, is judged again then."""
    text = ROOM + MOVE.format(10.0, 60.0, 0.6) + "position_error_deg = 0.05\nsettling_time_s = 0.001\n"
    text += "[drive]\nsensor_offset_mm = 0.1\n"
    found, design = ways(text)
    eased = next(way for way in found if "requirement.move_time_s" in way.settings)
    assert eased.settings["requirement.position_error_deg"] > 0.05
    first = {verdict.name: verdict for verdict in pcbstator.predict(design).requirement}
    assert first["settling_time_s"].value is None and first["position_error_deg"].verdict == "not met"
    assert eased.settings["requirement.move_time_s"] == rounded(90 / 60 + 60 / 60)
    assert "instead of 0.6 (speed_rpm and acceleration_deg_s2 of the file take that long)" in eased.words
    assert all(verdicts_of(design, way) == {"met"} for way in found)


def test_a_sensor_as_it_is_usually_mounted(room):
    """A bore that is kept free leaves a ring to read; eccentricity errs by its part of the radius (a chord's angle)."""
    settings, words = filled(tables(ROOM + WISH))
    assert settings["drive.sensor_radius_mm"] == 50.0 and settings["drive.sensor_offset_mm"] == 0.1
    assert any("sensor_radius_mm = 50, sensor_offset_mm = 0.1" in said for said in words)
    # A tenth of a millimetre on a radius of 50 is 0.115 deg: too much where the load shall stop within 0.1.
    fine, words = filled(tables(ROOM + WISH + "position_error_deg = 0.1\n"))
    assert (
        degrees(fine["drive.sensor_offset_mm"] / 50.0) <= 0.06 < degrees((fine["drive.sensor_offset_mm"] + 0.02) / 50)
    )
    assert any("centred to 0.05 mm by a dial gauge" in said for said in words)
    narrow, _ = filled(tables((ROOM + WISH).replace("100.0", "8.0")))
    assert narrow["drive.sensor_offset_mm"] == 0.2 and "drive.sensor_radius_mm" not in narrow
    own, _ = filled(tables(ROOM + WISH + "[drive]\nsensor_counts = 16384\n"))
    assert not any("sensor" in path for path in own)  # a sensor that the file describes is taken as it says
    _, design = ways(ROOM + WISH + "position_error_deg = 0.2\n")
    budget = pcbstator.predict(design).motion.error_budget
    (row,) = (r for r in budget if r["part"] == "sensor eccentricity" and r["when"] == "at rest")
    assert row["error_deg"] == pytest.approx(degrees(0.1 / 50.0), rel=0.02)


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


def test_predict_of_a_room_without_a_machine_names_what_takes_it(tmp_path):
    place = tmp_path / "room.toml"
    place.write_text(ROOM + WISH + "position_error_deg = 0.1\nsettling_time_s = -1.0\n", encoding="utf-8")
    told = run("predict", place)
    assert told.code == 2 and "let designs be found for it: pcbstator suggest room.toml" in told.err
    assert "requirement.settling_time_s: must be a number from" in told.err  # a mistake of its own is told as well
    assert "needs [drive]" not in told.err and "this section is required" not in told.err
    place.write_text('title = "x"\n' + WISH, encoding="utf-8")
    assert "winding: this section is required" in run("predict", place).err


def test_values_on_the_safe_side():
    assert rounded(0.1001) == 0.11 and rounded(0.1099, up=False) == 0.1 and rounded(72.0) == 72.0


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
