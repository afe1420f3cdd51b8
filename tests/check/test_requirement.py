"""The verdict on a requirement: it flips where the value passes the limit, and its ways out do what they say."""

from __future__ import annotations

import json
from dataclasses import fields
from math import radians

import pytest

import pcbstator
from pcbstator.analysis.drive.records import MotionResult
from pcbstator.analysis.pipeline import worked
from pcbstator.check.requirement import LINES, Known, requirement_findings, verdicts
from pcbstator.check.ways_out.changes import CHANGES
from pcbstator.check.ways_out.move_profile import gentlest
from pcbstator.check.ways_out.retrial import judge_of
from pcbstator.check.ways_out.way_out import Step, way_out
from pcbstator.copper import size_design
from pcbstator.design import design_from_document
from pcbstator.design.sections.requirement import NEEDS, Requirement
from pcbstator.errors import DesignError
from pcbstator.findings import Verdict
from tests.command import DESIGNS, run, write_design

STAGE = next(path for path in DESIGNS if path.stem == "photogrammetry-stage")
PRICES = {"board_setup": 30.0}


def stage(**asked):
    design = pcbstator.load_design(STAGE)
    values = {"requirement": asked, "prices": PRICES, "accepted": None}
    return design.with_values(values)


def judged(design, motion):
    return {v.name: v for v in verdicts(size_design(design), Known(motion, None, 0.0))}


def test_every_key_of_the_requirement_is_answered_and_has_changes():
    keys = {str(field.alias) for field in Requirement.model_fields.values()}
    assert keys == {line.name for line in LINES} == set(CHANGES) == set(NEEDS)


@pytest.mark.parametrize(
    ("name", "limit", "field", "met", "missed"),
    [
        ("position_error_deg", 0.1, "rest_error", radians(0.1), radians(0.1001)),
        ("settling_time_s", 0.2, "settling_time", 0.2, 0.2001),
        ("move_time_s", 2.0, "move_time", 2.0, 2.001),
        ("supply_current_a", 0.5, "supply_peak", 0.5, 0.5001),
        ("torque_reserve_percent", 25.0, "peak_reserve", 0.25, 0.2499),
    ],
)
def test_a_verdict_flips_at_its_limit(name, limit, field, met, missed):
    design = stage(**{name: limit})
    for value, verdict in ((met, "met"), (missed, "not met"), (None, "cannot be said")):
        if value is None and name == "settling_time_s":
            verdict = "not met"  # it never settles
        found = judged(design, MotionResult(**{field: value}))[name]
        assert found.verdict == verdict
        if value is not None:
            assert (found.margin >= -1e-9) == (verdict == "met")


def test_the_lower_reserve_counts_and_a_move_without_the_torque_is_not_met():
    found = judged(stage(torque_reserve_percent=20.0), MotionResult(peak_reserve=0.5, continuous_reserve=0.1))[
        "torque_reserve_percent"
    ]
    assert found.value == pytest.approx(10.0) and found.decided_by == "continuous torque"
    short = MotionResult(move_time=1.0, peak_reserve=-0.2, required_peak=0.5, available_peak=0.4)
    found = judged(stage(move_time_s=2.0), short)["move_time_s"]
    assert found.verdict == "not met" and "500 mN·m are needed, 400 there" in found.decided_by
    assert [f.severity for f in requirement_findings((found,))] == ["warning"]


def test_slow_speed_by_hand():
    """One count of the sensor in a time constant of the observer: 2 pi / counts times its bandwidth."""
    design = stage(slow_speed_rpm=1.5)
    prediction = pcbstator.predict(design)
    fit, counts = prediction.drive, design.drive.counts
    by_hand = 2 * 3.141592653589793 / counts * fit.gains.observer * 30 / 3.141592653589793
    assert prediction.requirement[0].value == pytest.approx(by_hand, rel=1e-9)


def parabola(settings, only=""):
    """A value that falls with x and y, and a second requirement that large y breaks."""
    x, y = settings.get("x", 0.0), settings.get("y", 0.0)
    value, other = 10.0 - x - y, y
    return (
        Verdict("a", 5.0, value, "met" if value <= 5 else "not met"),
        Verdict("b", 3.0, other, "met" if other <= 3 else "not met"),
    )


def steps(key, *values):
    return [Step({key: value}, f"{key} of {value}") for value in values]


def test_the_mildest_step_of_the_cheapest_change_that_breaks_nothing_is_named():
    asked = parabola({})[0]
    assert way_out(asked, [steps("x", 1, 5, 6, 7), steps("y", 9)], parabola) == "x of 5 would do"
    assert way_out(asked, [steps("y", 4, 6), steps("x", 1, 6)], parabola) == "x of 6 would do"
    only = way_out(asked, [steps("y", 4, 6)], parabola)
    assert only == "y of 6 would do, but then b would not be met"
    assert way_out(asked, [steps("x", 1, 3), steps("y", 1, 2, 3)], parabola) == "x of 3 and y of 2 together would do"
    assert way_out(asked, [steps("x", 1, 2)], parabola) == "even with x of 2 it would be 8"
    assert way_out(asked, [[]], parabola) == "no change that was tried brings it nearer"


def move_of(settings, only=""):
    """By hand: a move of 90 deg takes 90 / v + v / a or 2 sqrt(90 / a) s; the torque is that for 200 deg/s2."""
    rate, speed = settings.get("a", 30.0), settings.get("v", 20.0)
    time = 90 / speed + speed / rate if 90 * rate > speed**2 else 2 * (90 / rate) ** 0.5
    short = max(1 - 200 / rate, 0.0)
    verdict = "met" if time <= 1.6 and not short else "not met"
    return (Verdict("a", 1.6, time, verdict, decided_by="torque" if short else "", short=short),)


def test_a_value_within_its_limit_is_not_offered_as_near():
    """A move that the torque cannot follow is further away the more torque it lacks, not the sooner it would end."""
    asked = move_of({})[0]
    fast = [steps("a", 60.0, 180.0, 400.0, 900.0), steps("v", 40.0, 200.0)]
    both = [Step({"a": 400.0, "v": 90.0}, "both")]
    assert move_of({"a": 900.0, "v": 200.0})[0].margin == pytest.approx(-(1 - 200 / 900))
    words = way_out(asked, [steps("a", 400.0, 900.0), both], move_of)
    assert words == "even with both it would not be met: torque"
    assert way_out(asked, [[Step({"a": 180.0, "v": 120.0}, "both")], *fast], move_of) == "both would do"


@pytest.mark.parametrize("bend", [0.0, 0.1, 1.0])
def test_the_gentlest_move_takes_its_time(bend):
    """By hand: move over speed, and a ramp, which a jerk lengthens: v / a + a / j."""
    for move, time in ((90.0, 3.0), (36.0, 1.2), (5.0, 0.4)):
        rpm, rate, jerk = gentlest(move, time, bend)
        needs = move / (6 * rpm) + 6 * rpm / rate + (rate / jerk if jerk else 0.0)
        assert 0.88 * time < needs <= time * (1 + 1e-9)  # two digits, rounded up


def test_a_cheaper_machine_within_its_bounds():
    """Thinner magnets are cheaper; what leaves the envelope or overlaps is offered to nobody."""
    design = stage(price=40.0, torque_reserve_percent=25.0).with_values({"prices.boards_ordered": 100})
    price = pcbstator.predict(design).requirement[-1]
    assert price.name == "price" and price.verdict == "not met" and price.way_out.endswith("would do")
    assert price.way_out == "magnets of 2 mm thickness would do"
    changed = pcbstator.predict(design.with_values({"rotor.magnet.thickness_mm": 2.0}))
    assert {v.verdict for v in changed.requirement} == {"met"}
    judge = judge_of(worked(design))
    thinner, height = {"rotor.magnet.thickness_mm": 2.0}, 1.6 + 0.8 + 2.0 + 2.5
    assert judge(thinner | {"envelope.height_mm": height + 0.01}) is not None
    assert judge(thinner | {"envelope.height_mm": height - 0.01}) is None
    assert judge({"rotor.back_iron_mm": 1.0}) is None  # it saturates
    every, alone = judge({"motion.speed_rpm": 8.0}), judge({"motion.speed_rpm": 8.0}, "price")
    assert [v for v in every if v.name == "price"] == list(alone)


def test_a_way_out_holds_when_it_is_taken():
    """What the program advises is put into the design, which is then predicted anew."""
    design = stage(move_time_s=1.2, torque_reserve_percent=25.0)
    time = next(v for v in pcbstator.predict(design).requirement if v.name == "move_time_s")
    assert time.verdict == "not met" and time.way_out.endswith("would do")
    words = time.way_out.split()
    changes = {}
    for number, word in enumerate(words):
        if word == "acceleration":
            changes["motion.acceleration_deg_s2"] = float(words[number + 2])
            changes["motion.jerk_deg_s3"] = 10 * float(words[number + 2])
        if word == "speed" and words[number + 3] == "rpm":
            changes["motion.speed_rpm"] = float(words[number + 2])
    after = {v.name: v.verdict for v in pcbstator.predict(design.with_values(changes)).requirement}
    assert changes and set(after.values()) == {"met"}


@pytest.mark.parametrize(
    ("asked", "drop", "words"),
    [
        ({"settling_time_s": 0.2}, ["motion"], "settling_time_s: needs motion.move_deg or motion.stops_deg"),
        ({"slow_speed_rpm": 0.0}, [], "slow_speed_rpm: must be a number from 1e-06"),
        ({"speed_ripple_percent": 5.0}, [], "speed_ripple_percent: needs requirement.slow_speed_rpm"),
        ({"position_error_deg": 0.0001}, [], "must be at least half a count of drive.sensor_counts = 16384"),
        ({"smallest_step_deg": 0.02}, [], "must be at least a count of drive.sensor_counts = 16384, 0.022 deg"),
        ({"position_error_deg": 0.1}, ["drive"], "position_error_deg: needs [drive]"),
        ({"price": 50.0}, [], "price: needs [prices]"),
        ({"posiion_error_deg": 0.1}, [], "did you mean requirement.position_error_deg?"),
    ],
)
def test_a_requirement_without_what_it_needs_is_refused(asked, drop, words):
    document = pcbstator.load_design(STAGE).document | {"requirement": asked}
    for section in [*drop, "accepted", "prices"]:
        document.pop(section, None)
    with pytest.raises(DesignError) as refused:
        design_from_document(document)
    assert words in str(refused.value)


@pytest.mark.usefixtures("predicted_once")
def test_check_requirement_leaves_with_1_unless_all_is_met(tmp_path):
    document = pcbstator.load_design(STAGE).document
    for limit, code in ((10.0, 0), (0.5, 1)):
        place = write_design(tmp_path / "mine.toml", document | {"requirement": {"move_time_s": limit}})
        told = run("check", place, "--requirement", "--json")
        assert told.code == code
        assert json.loads(told.out)["requirement"][0]["verdict"] == ("met" if code == 0 else "not met")
        assert ("met" in run("check", place, "--requirement").out) and run("check", place).code == 0
    document.pop("requirement", None)
    told = run("check", write_design(tmp_path / "none.toml", document), "--requirement")
    assert told.code == 2 and "states no [requirement]" in told.err


def test_records_follow_the_contract():
    found = pcbstator.predict(stage(move_time_s=1.0)).to_dict()["requirement"][0]
    assert {"name", "limit", "value", "verdict", "decided_by", "way_out"} <= found.keys()
    assert {field.name for field in fields(Verdict)} >= {"name", "limit", "value", "verdict", "decided_by", "way_out"}


def test_a_requirement_of_nothing_is_none():
    document = pcbstator.load_design(STAGE).document | {"requirement": {"position_error_deg": None}}
    assert design_from_document(document).requirement.position_error is None
