"""Plate and bearing of a whole design: mass and inertia by hand, the gap against forces of other designs, heat."""

import re
from math import pi

import pytest

import pcbstator
from pcbstator.errors import DesignError

PLATE = {"material": "aluminium", "thickness_mm": 4.0, "outer_diameter_mm": 70.0, "inner_diameter_mm": 20.0,
         "held_diameter_mm": 24.0}  # fmt: skip
FACED = {"rotor.stator_iron_mm": 2.0, "rotor.stator_iron_gap_mm": 0.3}
G = 9.80665


def mechanical(design, changes):
    return pcbstator.predict(design.with_values(changes)).mechanical


# ----------------------------------------------------------------- mass and inertia
def body(outer, inner, thickness, density):
    """Mass and inertia about the axis of a ring, from a handbook."""
    mass = density * pi / 4 * (outer**2 - inner**2) * thickness
    return mass, mass * (outer**2 + inner**2) / 8


@pytest.mark.parametrize("bore", [0.0, 20.0])
def test_mass_and_inertia_of_disc_and_ring(small, bore):
    bare = mechanical(small, {})
    found = mechanical(small, {"rotor.plate": PLATE | {"inner_diameter_mm": bore}})
    mass, inertia = body(0.07, 1e-3 * bore, 0.004, 2700.0)
    assert found.plate_mass == pytest.approx(mass, rel=1e-9)
    assert found.rotor_mass - bare.rotor_mass == pytest.approx(mass, rel=1e-9)
    assert found.rotor_inertia - bare.rotor_inertia == pytest.approx(inertia, rel=1e-9)


def test_holes_and_pockets_take_away(small):
    """Steiner's theorem for six holes; pockets take the magnets' volume in aluminium, at their radius of gyration."""
    plain = mechanical(small, {"rotor.plate": PLATE})
    holes = [{"diameter_mm": 3.2, "circle_diameter_mm": 26.0, "count": 6}]
    bored = mechanical(small, {"rotor.plate": PLATE | {"holes": holes}})
    mass = 2700.0 * 6 * pi * 1.6e-3**2 * 4e-3
    assert plain.plate_mass - bored.plate_mass == pytest.approx(mass, rel=1e-9)
    assert plain.rotor_inertia - bored.rotor_inertia == pytest.approx(mass * (0.013**2 + 1.6e-3**2 / 2), rel=1e-6)
    milled = mechanical(small, {"rotor.plate": PLATE | {"pocket_depth_mm": 1.0}})
    bare = mechanical(small, {})
    part = 2700.0 / 7500.0 * 1.0 / 3.0
    assert plain.plate_mass - milled.plate_mass == pytest.approx(part * bare.magnet_mass, rel=1e-9)
    assert plain.rotor_inertia - milled.rotor_inertia == pytest.approx(part * bare.rotor_inertia, rel=1e-6)


def test_a_steel_plate_is_the_steel_behind_the_magnets(small):
    """Its mass counts once, and it must be as thick as the steel that the field knows of."""
    steel = {"rotor.plate": PLATE | {"material": "steel"}, "rotor.back_iron_mm": 4.0}
    found, bare = mechanical(small, steel), mechanical(small, {})
    assert found.rotor_mass - bare.rotor_mass == pytest.approx(body(0.07, 0.02, 0.004, 7860.0)[0], rel=1e-9)
    with pytest.raises(DesignError, match=r"rotor\.back_iron_mm: must be 4: a plate of steel is itself the steel"):
        small.with_values(steel | {"rotor.back_iron_mm": 2.0})


def test_two_rotors_have_two_plates(small):
    one, two = (
        mechanical(small, {"rotor.plate": PLATE, "rotor.arrangement": arrangement})
        for arrangement in ("single", "double")
    )
    assert two.plate_mass == pytest.approx(2 * one.plate_mass, rel=1e-12)


# ----------------------------------------------------------------- gap
@pytest.mark.parametrize("stiffness", [500.0, 2000.0])
def test_gap_at_rest_balances_the_force_of_a_design_drawn_with_that_gap(small, stiffness):
    """k·(free − gap) = force, the force by a second prediction whose gap is drawn as wide; free: play and weight."""
    bearing = {"axial_stiffness_n_per_mm": stiffness, "axial_play_mm": 0.06}
    found = mechanical(small, FACED | {"bearing": bearing})
    force = mechanical(small, FACED | {"rotor.air_gap_mm": 1e3 * found.gap_at_rest}).axial_force
    weight = found.rotor_mass * G
    free = 1.0e-3 - 0.03e-3 - weight / (1e3 * stiffness)
    assert 1e3 * stiffness * (free - found.gap_at_rest) == pytest.approx(force, rel=1e-3)
    assert found.bearing_load == pytest.approx(force + weight, rel=1e-3)


def test_force_grows_around_the_gap_at_rest_by_the_stiffness_ratio(small):
    found = mechanical(small, FACED | {"bearing": {"axial_stiffness_n_per_mm": 600.0}})
    near, far = (
        mechanical(small, FACED | {"rotor.air_gap_mm": 1e3 * found.gap_at_rest + step}).axial_force
        for step in (-0.01, 0.01)
    )
    assert found.stiffness_ratio == pytest.approx(600e3 / ((near - far) / 0.02e-3), rel=1e-2)


def test_two_rotors_bend_towards_each_other(small):
    """Each plate gives way under the force between them, at the gap of both; the bearing bears the weight alone."""
    plate = PLATE | {"material": "acrylic", "thickness_mm": 8.0}
    upright = {"cooling": {"orientation": "upright"}, "rotor.arrangement": "double"}
    found = mechanical(small, upright | {"rotor.plate": plate, "bearing": {"axial_stiffness_n_per_mm": 10.0}})
    gap = {"rotor.air_gap_mm": 1e3 * found.gap_at_rest}
    force, first = (mechanical(small, upright | changes).axial_force for changes in (gap, {}))
    closed = 1e-3 - found.gap_at_rest
    other = mechanical(small, upright | {"rotor.plate": plate | {"modulus_gpa": 6.0}})
    forced = mechanical(small, upright | {"rotor.air_gap_mm": 1e3 * other.gap_at_rest}).axial_force
    assert force > forced > first
    assert closed / (1e-3 - other.gap_at_rest) == pytest.approx(2 * force / forced, rel=1e-3)  # twice as stiff
    assert found.bearing_load == pytest.approx(0.0, abs=1e-9)


def test_weight_opens_or_closes_the_gap(small):
    """Without iron only the weight acts: m·g/k, with the load's bodies; below the board it opens the gap."""
    load = {"load": {"bodies": [{"shape": "disc", "mass_g": 800.0, "diameter_mm": 100.0}]}}
    bearing = {"bearing": {"axial_stiffness_n_per_mm": 100.0, "axial_play_mm": 0.1}}
    for orientation, sign in (("rotor-up", 1), ("rotor-down", -1)):
        found = mechanical(small, load | bearing | {"cooling": {"orientation": orientation}})
        weight = (found.rotor_mass + 0.8) * G
        assert found.gap_at_rest == pytest.approx(1e-3 - sign * (0.05e-3 + weight / 100e3), rel=1e-9)
        assert found.bearing_load == pytest.approx(weight, rel=1e-9)


def test_least_gap_by_hand(small):
    """1 mm less half of the run-out, the bow at the magnets (a bowl), 35 um of copper and 25 um of mask."""
    build = {"build": {"rotor_run_out_mm": 0.2, "board_bow_mm": 0.3}}
    left = 1e-3 - 0.1e-3 - 0.3e-3 * (56.0 / 67.0) ** 2 - 60e-6
    assert mechanical(small, build | {"bearing": {}}).least_gap == pytest.approx(left, rel=1e-9)
    assert mechanical(small, {"bearing": {}}).least_gap is None and mechanical(small, build).least_gap is None


def test_a_bearing_that_leans_lets_the_run_out_grow(small):
    """Magnetic tilt stiffness k·r²/2 against that of the bearing: 1/(1 − their ratio)."""
    changes = FACED | {"build": {"rotor_run_out_mm": 0.2, "board_bow_mm": 0.0}}
    stiff = mechanical(small, changes | {"bearing": {}})
    design = small.with_values(FACED)
    inner, outer = design.rotor.magnet.inner_diameter / 2, design.rotor.magnet.outer_diameter / 2
    magnetic = stiff.axial_stiffness * (inner**2 + outer**2) / 4
    bearing = {"tilt_stiffness_n_m_per_deg": 2 * magnetic * pi / 180}
    leaning = mechanical(small, changes | {"bearing": bearing})
    assert stiff.least_gap - leaning.least_gap == pytest.approx(0.1e-3, rel=1e-6)
    bearing = {"tilt_stiffness_n_m_per_deg": 0.99 * magnetic * pi / 180}
    assert mechanical(small, changes | {"bearing": bearing}).gap_failure == "tilt"


def test_the_gap_that_would_do_does(small):
    """Where the drawn gap shuts, the named one is free of errors, and the spring twice as stiff as the force."""
    changes = FACED | {"build": {}, "bearing": {"axial_stiffness_n_per_mm": 60.0}}
    shut = mechanical(small, changes)
    assert shut.gap_failure == "pull" and shut.gap_at_rest is None
    wide = mechanical(small, changes | {"rotor.air_gap_mm": 1e3 * shut.safe_gap})
    assert wide.least_gap > 0 and wide.stiffness_ratio == pytest.approx(2.0, rel=0.02)


def test_sag_is_the_force_through_the_plate(small):
    """Twice the modulus, half the sag by pull and weight, force for force."""
    plate = PLATE | {"material": "printed", "thickness_mm": 6.0}
    soft, stiff = (
        mechanical(small, FACED | {"rotor.plate": plate | {"modulus_gpa": modulus}, "bearing": {}})
        for modulus in (2.0, 4.0)
    )
    weight = soft.rotor_mass * G
    ratio = (soft.bearing_load - weight) / (stiff.bearing_load - weight)
    assert soft.plate_sag / stiff.plate_sag == pytest.approx(2 * ratio, rel=1e-3)
    assert soft.plate_sag > 0


# ----------------------------------------------------------------- heat
SHUT = {"cooling": {"far_face": "covered", "airflow_w_per_m2k": 1000.0, "board_max_c": 100.0, "magnet_max_c": 200.0},
        "rotor.glue_max_c": 200.0}  # fmt: skip


@pytest.mark.parametrize(("thickness", "pocket"), [(3.0, 0.0), (9.0, 0.0), (9.0, 6.0)])
def test_heat_through_a_plate(small, thickness, pocket):
    """All heat goes through the plate: P·(t/(k·A) + 1/(h·A')), A: of the magnets, A': the ring over them, since such
    a plate carries hardly any heat aside and ends with the magnets."""
    magnet = small.rotor.magnet
    plate = {"material": "acrylic", "max_c": 200.0, "thickness_mm": thickness, "pocket_depth_mm": pocket,
             "outer_diameter_mm": 1e3 * magnet.outer_diameter,
             "inner_diameter_mm": 1e3 * magnet.inner_diameter}  # fmt: skip
    thermal = pcbstator.predict(small.with_values(SHUT | {"rotor.plate": plate})).thermal
    ring = pi / 4 * (magnet.outer_diameter**2 - magnet.inner_diameter**2)
    resistance = 1e-3 * (thickness - pocket) / (0.19 * ring * magnet.arc_ratio) + 1 / (1005.0 * ring)
    power = thermal.copper_loss + thermal.eddy_loss
    assert thermal.rotor_temperature_c - 25.0 == pytest.approx(power * resistance, rel=5e-3)


def test_the_weakest_part_of_the_rotor_limits_the_current(small):
    warm = {"far_face": "covered", "magnet_max_c": 50.0, "board_max_c": 200.0}
    base = {"board.laminate_tg_c": 250.0, "cooling": warm, "rotor.plate": PLATE}
    found = {}
    for name, plate, glue in (("magnets", 200.0, 200.0), ("plate", 40.0, 200.0), ("glue", 200.0, 45.0)):
        changes = {"rotor.plate": PLATE | {"max_c": plate}, "rotor.glue_max_c": glue}
        found[name] = pcbstator.predict(small.with_values(base | changes)).thermal
    assert [each.rotor_temperature_c for each in found.values()] == pytest.approx([50.0, 40.0, 45.0], abs=1e-3)
    words = [each.limited_by for each in found.values()]
    assert words == ["magnets (50 C)", "rotor plate (40 C)", "glue of the magnets (45 C)"]
    assert (found["glue"].plate_limit_c, found["glue"].glue_limit_c) == (200.0, 45.0)


def test_absence_leaves_them_out(small):
    result = pcbstator.predict(small).to_dict()
    keys = {"gap_at_rest_mm", "least_gap_mm", "bearing_axial_load_n", "plate_sag_um", "plate_mass_g", "safe_air_gap_mm"}
    assert not keys & set(result["mechanical"]) and not {"glue_limit_c", "plate_limit_c"} & set(result["thermal"])


# ----------------------------------------------------------------- refused
@pytest.mark.parametrize(
    ("plate", "words"),
    [
        ({"material": "other", "max_c": 60.0}, "rotor.plate.conductivity_w_per_mk: is required with material"),
        ({"inner_diameter_mm": 0.0, "held_diameter_mm": None}, "rotor.plate.held_diameter_mm: is required for a disc"),
        ({"held_diameter_mm": 80.0}, "rotor.plate.held_diameter_mm: must be from the plate's bore to its outline"),
        ({"pocket_depth_mm": 4.0}, "rotor.plate.thickness_mm: must be larger than rotor.plate.pocket_depth_mm"),
        ({"material": "cheese"}, 'rotor.plate.material: must be "steel", "aluminium"'),
        ({"holes": [{"diameter_mm": 3.0, "circle_diameter_mm": 0.0, "count": 2}]}, "the plate's middle"),
    ],
)
def test_refused_in_words(small, plate, words):
    stated = {name: value for name, value in (PLATE | plate).items() if value is not None}
    with pytest.raises(DesignError, match=words):
        small.with_values({"rotor.plate": stated})


@pytest.mark.parametrize(
    "axial", [pytest.param({}, marks=pytest.mark.slow), {"axial_stiffness_n_per_mm": 2000.0}], ids=["rigid", "soft"]
)
def test_ways_out_of_a_tilting_rotor_are_ones(small, axial):
    """The gap and the stiffness that are named hold the tilt, each with the reserve; without them it is an error."""
    bearing = {"bearing": {"tilt_stiffness_n_m_per_deg": 0.08} | axial}
    failed = pcbstator.predict(small.with_values(FACED | bearing))
    assert failed.mechanical.gap_failure == "tilt"
    (words,) = [finding.message for finding in failed.findings if finding.code == "mechanical.tilt_unstable"]
    gap, stiffness = (float(re.search(rf"{key} = ([0-9.]+)", words)[1])
                      for key in ("air_gap_mm", "tilt_stiffness_n_m_per_deg"))  # fmt: skip
    wide = mechanical(small, FACED | bearing | {"rotor.air_gap_mm": gap})
    stiff = mechanical(small, FACED | {"bearing": bearing["bearing"] | {"tilt_stiffness_n_m_per_deg": stiffness}})
    assert wide.gap_failure is None and stiff.gap_failure is None
    # twice as stiff as unequal attraction, k r²/2 of a ring by hand, at the wider gap
    magnet = failed.design.rotor.magnet
    square = (magnet.inner_diameter**2 + magnet.outer_diameter**2) / 8  # mean of the radius squared
    assert 0.08 * 180 / pi > 1.9 * wide.axial_stiffness * square / 2
