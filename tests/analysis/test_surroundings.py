"""What stands in the rotor's field, in whole designs: where screws and chip are, what they do to the error budget, and
what the finding's distance does. The laws themselves are tested in ``tests/physics`` and ``tests/agreement``.
"""

from __future__ import annotations

from dataclasses import replace
from math import asin, degrees, lcm, pi, radians

import magpylib
import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, rotor_iron, rotor_source
from pcbstator.analysis.magnetic.screws import clear_circle, coggings, quiet_count, screw_groups
from pcbstator.analysis.magnetic.stray import field_of, over_a_pole
from pcbstator.analysis.magnetic.surroundings import surroundings_of
from pcbstator.copper import lay_copper, size_design
from pcbstator.design.sections.fasteners import usual_screw
from pcbstator.physics.conductors.sheet_drag import disc_eddy_loss
from pcbstator.physics.magnetics.magnet_ring import ring_harmonics

BOARD = {"board.outer_diameter_mm": 80.0}
HOLES = {"diameter_mm": 3.2, "circle_diameter_mm": 72.0, "count": 4, "material": "steel"}
DRIVE = {"supply_v": 24.0, "current_limit_peak_a": 1.0, "pwm_khz": 50.0, "sensor_counts": 16384}
JOB = {"load": {"inertia_kg_m2": 1e-4}, "motion": {"move_deg": 30.0, "speed_rpm": 20.0, "acceleration_deg_s2": 360.0}}


IDEAL = {"rotor.magnet.recoil_permeability": 1.0}  # as the library has it


def sized(design, changes):
    return size_design(design.with_values(IDEAL | changes))


def surroundings(design, changes, speed=0.0):
    made = sized(design, changes)
    return surroundings_of(made, lay_copper(made), speed)


def ring(poles=8, z=1e-3):
    """The rotor of the small machine in the library, as the board sees it, with a recoil permeability of 1."""
    half, found = 0.4 * 360 / poles, magpylib.Collection()
    for j in range(poles):
        size = (0.015, 0.028, 0.003, 360 * j / poles - half, 360 * j / poles + half)
        magnet = magpylib.magnet.CylinderSegment(polarization=(0, 0, -1.3 * (-1) ** j), dimension=size)
        magnet.position = (0, 0, z + 0.0015)
        found.add(magnet)
    return found


def turning(magnets, place, turns):
    """Field (T, 3) at a place while the magnets turn [deg]: as if the place turned back."""
    back = np.exp(-1j * np.radians(turns)) * (place[0] + 1j * place[1])
    B = magnets.getB(np.stack([back.real, back.imag, np.full(len(turns), place[2])], axis=1))
    flat = (B[:, 0] + 1j * B[:, 1]) * np.exp(1j * np.radians(turns))
    return np.stack([flat.real, flat.imag, B[:, 2]], axis=1)


def test_nothing_said_nothing_given(small):
    assert surroundings(small, BOARD | {"board.holes": [HOLES | {"material": "none"}]}) is None
    assert pcbstator.predict(small).surroundings is None


@pytest.mark.parametrize("thickness", [0.0, 1.2, 4.0])
def test_beyond_the_edges_the_law_of_rings_with_saturated_steel_says_the_same(small, thickness):
    """Charges with the recoil's part and one permeability against radial modes that follow the saturation from place to
    place: thin steel lets so much through that the field beyond the edge turns round. To 0.8 % of the field over the
    magnets; over these themselves to 3 % (2.6 % with the thin steel): one permeability for all of a plate differs.
    """
    design = sized(small, {"rotor.back_iron_mm": thickness, "rotor.magnet.recoil_permeability": 1.08})
    footprint, distance = magnet_footprint(design), 1.5e-3
    radii = np.array([0.012, 0.013, 0.0215, 0.030, 0.032, 0.035])
    iron = rotor_iron(design, rotor_source(design, span=(0.011, 0.036), nearest=distance))
    law = ring_harmonics(footprint, 4, iron.layers, radii, np.array([distance]), np.array([1]), source=iron.source)[
        0, 0
    ]
    got = []
    for radius in radii:
        half = over_a_pole(design, radius, np.array([design.rotor.air_gap - distance]))[:, 0, 2]
        got.append(2 / 48 * np.fft.fft(np.concatenate([half, -half]))[1].real)
    beyond = [0, 1, 3, 4, 5]
    np.testing.assert_allclose(np.array(got)[beyond], law[beyond], rtol=0, atol=0.008 * np.abs(law).max())
    assert got[2] == pytest.approx(law[2], rel=0.03)


@pytest.mark.parametrize("arrangement", ["single", "double"])
def test_field_at_a_place_of_the_board_while_the_rotor_turns(small, arrangement):
    """Both halves of the pole pitch, and both rotors: the second one mirrored, its magnets pointing the same way."""
    design = sized(small, {"rotor.arrangement": arrangement})
    heights = np.array([0.5e-3, -2.5e-3])
    got = over_a_pole(design, 0.033, heights)
    magnets = ring()
    if arrangement == "double":
        magnets = magpylib.Collection(magnets, ring(z=-design.stator_thickness - 1e-3 - 3e-3))
    for step in (0, 3, 12, 17, 23):
        turned = magnets.copy().rotate_from_angax(45.0 * step / len(got), "z", anchor=0)
        wanted = turned.getB([(0.033, 0.0, z) for z in heights])
        np.testing.assert_allclose(got[step], wanted, rtol=2e-3, atol=2e-3 * np.abs(wanted).max())


def test_error_of_a_ring_of_poles_and_its_parts_of_the_budget(small):
    """arcsin of stray over own field, over the ring's pole pairs, by the library's field at the head."""
    sensor = DRIVE | {
        "sensor_principle": "magnetic", "sensor_radius_mm": 10.0, "sensor_height_mm": -1.0, "sensor_field_mt": 80.0,
        "sensor_pole_pairs": 16,
    }  # fmt: skip
    head = (0.010, 0.0, -1e-3)
    turns = np.linspace(0.0, 45.0, 24, endpoint=False)
    stray = np.linalg.norm(turning(ring(), head, turns), axis=1).max()
    prediction = pcbstator.predict(small.with_values(IDEAL | JOB | {"drive": sensor}))
    found = prediction.surroundings
    assert found.sensor_field == pytest.approx(stray, rel=2e-3)
    assert found.sensor_error == pytest.approx(asin(stray / 0.08) / 16, rel=2e-3)
    assert [order for order, _ in found.sensor_orders] == [12, 20]
    parts = {row["when"]: row for row in prediction.motion.error_budget if row["part"] == "stray field at the sensor"}
    assert parts["at rest"]["error_deg"] == pytest.approx(degrees(found.sensor_error), rel=1e-9)
    assert parts["moving"]["speed_ripple_percent"] > 0
    without = pcbstator.predict(small.with_values(IDEAL | JOB | {"drive": DRIVE}))
    assert prediction.motion.rest_error - without.motion.rest_error > 0.8 * found.sensor_error
    geared = pcbstator.predict(small.with_values(IDEAL | JOB | {"drive": sensor | {"gear_ratio": 4.0}}))
    row = next(r for r in geared.motion.error_budget if r["part"] == "stray field at the sensor")
    assert row["error_deg"] == pytest.approx(parts["at rest"]["error_deg"] / 4, rel=1e-9)


def test_on_the_axis_what_turns_with_the_rotor_is_no_error(small):
    """A chip off the axis of 8 poles is in a field that goes as the cube of its offset; that of two poles is even near
    the axis, and its mean over the turn no error.
    """

    def found(offset, poles=8):
        sensor = DRIVE | {"sensor_principle": "magnetic", "sensor_offset_mm": offset, "sensor_height_mm": 8.0}
        changes = {"drive": sensor | {"sensor_distance_mm": 8.0}} | ({"rotor.poles": poles} if poles != 8 else {})
        return surroundings(small, changes)

    assert found(0.0).sensor_error < radians(1e-4)
    assert found(1.0).sensor_field == pytest.approx(8 * found(0.5).sensor_field, rel=0.01)
    two = found(0.1, 2)
    assert two.sensor_field > 1e-3
    assert two.sensor_error < 0.05 * two.sensor_field / 0.05


def test_a_stronger_stray_field_loses_the_angle(small):
    sensor = DRIVE | {"sensor_principle": "magnetic", "sensor_radius_mm": 12.0, "sensor_field_mt": 1.0,
                      "sensor_pole_pairs": 10}  # fmt: skip
    prediction = pcbstator.predict(small.with_values(IDEAL | JOB | {"drive": sensor}))
    assert prediction.surroundings.sensor_error == pytest.approx(pi / 10)
    finding = next(f for f in prediction.findings if f.code == "surroundings.sensor")
    assert "loses its angle" in finding.message and finding.limit == 1.0
    rows = [row for row in prediction.motion.error_budget if row["part"] == "stray field at the sensor"]
    assert len(rows) == 2 and not any(row["repeatable"] for row in rows)  # no table helps


def test_a_small_step_is_the_difference_of_two_readings(small):
    """Two sines of half the error each, 12 and 20 times per turn: 2·size·sin(order·step/2) of each at worst."""
    sensor = DRIVE | {"sensor_principle": "magnetic", "sensor_radius_mm": 10.0, "sensor_height_mm": -1.0,
                      "sensor_field_mt": 80.0, "sensor_pole_pairs": 16}  # fmt: skip
    found = pcbstator.predict(small.with_values(IDEAL | JOB | {"drive": sensor}))
    without = pcbstator.predict(small.with_values(IDEAL | JOB | {"drive": DRIVE}))
    step, size = radians(0.5), found.surroundings.sensor_error / 2
    wanted = sum(2 * size * np.sin(order * step / 2) for order in (12, 20)) / step
    assert found.motion.step_error - without.motion.step_error == pytest.approx(wanted, rel=1e-6)


def test_midway_between_two_rotors_the_field_is_along_the_axis(small):
    """Opposite poles face each other over two gaps and the board: their middle is a plane of one potential."""
    design = size_design(small.with_values({"rotor.arrangement": "double", "rotor.back_iron_mm": 3.0}))
    middle = -(design.rotor.air_gap + design.board.thickness / 2)
    turn = np.linspace(0.1, 0.9, 5)
    places = np.column_stack([0.022 * np.cos(turn), 0.022 * np.sin(turn), np.full(5, middle)])
    found = field_of(design).at(places)
    assert np.abs(found[:, :2]).max() < 1e-9 and np.abs(found[:, 2]).max() > 0.05


def test_bearing(small):
    at = {"friction_n_m": 0.001, "circle_diameter_mm": 20.0, "height_mm": 2.0}
    found = surroundings(small, {"bearing": at}).bearing_field
    wanted = np.linalg.norm(
        turning(ring(), (0.010, 0.0, 2e-3), np.linspace(0.0, 45.0, 24, endpoint=False)), axis=1
    ).max()
    assert found == pytest.approx(float(wanted), rel=2e-3)


def test_a_place_within_the_magnets_is_told_by_its_key(small):
    at = {"friction_n_m": 0.001, "circle_diameter_mm": 40.0, "height_mm": 2.5}
    prediction = pcbstator.predict(small.with_values({"bearing": at}))
    assert prediction.surroundings is None and prediction.magnetic is not None
    finding = next(f for f in prediction.findings if f.code == "law.range" and "bearing" in f.message)
    assert "bearing.height_mm = 2.5 at a radius of 20 mm" in finding.message


# ----------------------------------------------------------------- screws
@pytest.mark.parametrize(("hole", "thread"), [(2.2, 2.0), (3.2, 3.0), (3.4, 3.0), (6.5, 6.0)])
def test_usual_screws(hole, thread):
    assert usual_screw(1e-3 * hole).thread == pytest.approx(1e-3 * thread)


def test_where_a_screw_is(small):
    changes = BOARD | {"board.holes": [HOLES | {"head_side": "away", "nut": True, "screw_length_mm": 5.0}]}
    (group,) = screw_groups(sized(small, changes))
    thread, head, nut = group.parts
    assert thread == pytest.approx((3e-3, -1.6e-3, 3.4e-3))
    assert head == pytest.approx((5.5e-3, -4.6e-3, -1.6e-3))
    assert nut == pytest.approx((1.9 * 3e-3, 0.0, 2.4e-3))
    assert group.radius == pytest.approx(0.036) and len(group.angles) == 4


@pytest.mark.parametrize("count", [3, 4, 6, 8])
def test_orders_of_even_screws(small, count):
    """The least common multiple of screws and poles; one screw alone has that of the poles."""
    found = surroundings(small, BOARD | {"board.holes": [HOLES | {"count": count, "head_side": "away"}]})
    assert found.cogging_order == lcm(count, 8)
    assert (found.cogging_torque > 2 * found.single_cogging) == (lcm(count, 8) == 8)
    assert lcm(count, 8) == 8 or found.cogging_torque < 0.3 * found.single_cogging


def test_other_materials_do_not_cog(small):
    for material in ("brass", "stainless", "nylon"):
        found = surroundings(small, BOARD | {"board.holes": [HOLES | {"material": material}]})
        assert found.cogging_torque is None and found.screws


def test_cogging_in_the_budget_and_the_distance_that_would_do(small):
    holes = BOARD | JOB | {"drive": DRIVE, "board.holes": [HOLES | {"head_height_mm": 0.0, "circle_diameter_mm": 70.0}]}
    prediction = pcbstator.predict(small.with_values(holes))
    rows = {row["when"]: row for row in prediction.motion.error_budget if row["part"] == "cogging of steel screws"}
    assert rows["at rest"]["error_deg"] > 0 and rows["moving"]["speed_ripple_percent"] > 0
    design = sized(small, holes)
    (group,) = screw_groups(design)
    limit = prediction.surroundings.cogging_torque / 20
    circle = clear_circle(design, group, limit)
    assert circle > 0.070
    far, near = (
        coggings(design, (replace(group, radius=circle / 2 - less),))[0].together.peak_to_peak for less in (0.0, 5e-4)
    )
    assert far <= limit < near


def test_the_number_of_screws_that_would_do(small):
    """Of the numbers near 4, five has 40 for its common multiple with 8 poles."""
    holes = BOARD | JOB | {"drive": DRIVE, "board.holes": [HOLES | {"head_height_mm": 0.0, "circle_diameter_mm": 70.0}]}
    prediction = pcbstator.predict(small.with_values(holes))
    finding = next(f for f in prediction.findings if f.code == "surroundings.cogging")
    assert "board.holes[1].count = 5 would do" in finding.message
    (group,) = screw_groups(sized(small, holes))
    assert quiet_count(sized(small, holes), group, prediction.surroundings.cogging_torque / 20) == 5
    five = BOARD | JOB | {"drive": DRIVE, "board.holes": [holes["board.holes"][0] | {"count": 5}]}
    assert "surroundings.cogging" not in {f.code for f in pcbstator.predict(small.with_values(five)).findings}


def test_a_screw_in_the_way_is_told_with_its_table(small):
    wide = HOLES | {"head_diameter_mm": 20.0}
    found = {f.code: f for f in pcbstator.predict(small.with_values(BOARD | {"board.holes": [wide]})).findings}
    assert found["surroundings.screw_in_the_way"].where == "board.holes[1]"
    sunk = small.with_values(BOARD | {"board.holes": [wide | {"head_height_mm": 0.5}]})
    assert "surroundings.screw_in_the_way" not in {f.code for f in pcbstator.predict(sunk).findings}


# ----------------------------------------------------------------- pads
def test_eddies_in_pads(small):
    """Sum over orders of the loss of the discs, the field at both faces by the library; as the square of the speed."""
    pads = BOARD | {
        "board.holes": [{"diameter_mm": 2.0, "pad_mm": 4.0, "plated": True, "circle_diameter_mm": 72.0, "count": 3}]
    }
    speed = 200.0
    turns, magnets = np.arange(48) * 90.0 / 48, ring()
    wanted = 0.0
    for z in (0.0, -1.6e-3):
        B = turning(magnets, (0.036, 0.0, z), turns)[:, 2]
        for order in (1, 3, 5):
            peak, frequency = 2 / 48 * abs(np.fft.fft(B)[order]), order * 4 * speed / (2 * pi)
            wanted += 3 * float(disc_eddy_loss(np.array(frequency), np.array(peak), 1e-3, 2e-3, 35e-6, 1.7241e-8))
    found = surroundings(small, pads, speed)
    assert found.copper_loss == pytest.approx(wanted, rel=5e-3)
    assert found.copper_drag == pytest.approx(wanted / speed, rel=5e-3)
    assert surroundings(small, pads, 2 * speed).copper_drag == pytest.approx(2 * found.copper_drag, rel=1e-3)
    assert surroundings(small, pads) is None  # no speed is stated
