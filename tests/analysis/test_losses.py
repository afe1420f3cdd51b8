"""Losses: the strip law derived again, and what must hold for a machine."""

from math import pi

import numpy as np
import pytest

from pcbstator import predict
from pcbstator.analysis.magnetic.losses import loss_factors, operating_losses, working_point
from pcbstator.analysis.magnetic.rotor_field import rotor_field
from pcbstator.copper import lay_copper
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.eddy import strip_eddy_loss_density


def test_strip_law_is_the_mean_of_current_density_squared():
    """In a strip across B·sin(wt) the field strength at x from the middle is x·dB/dt; loss is the mean of E²/rho."""
    f, B, w, rho = 700.0, 0.4, 0.6e-3, 1.9e-8
    x = (np.arange(2000) + 0.5) / 2000 * w - w / 2
    t = np.arange(64) / 64 / f
    field = np.multiply.outer(x, 2 * pi * f * B * np.cos(2 * pi * f * t))
    assert strip_eddy_loss_density(f, B, w, rho) == pytest.approx((field**2).mean() / rho, rel=1e-5)


def test_strip_law_refuses_what_shields_itself():
    with pytest.raises(LawRangeError, match="skin depth"):
        strip_eddy_loss_density(1e5, 0.4, 5e-3, 1.7e-8)


def test_eddy_loss_by_hand_for_one_layer(small):
    """A wide search: sum of length × section × law over the drawn pieces, with the fundamental only."""
    copper, field = lay_copper(small), rotor_field(small)
    factors = loss_factors(small, copper, field, 20.0)
    track = copper.coil.tracks[0]
    a, b = track.points[:-1], track.points[1:]
    radii = np.hypot(*((a + b) / 2).T)
    volume = np.hypot(*(b - a).T) * track.width * copper.layers[0].thickness
    peak = field.at(radii, 0)[0]
    coil = (volume * (0.5 * field.pole_pairs * peak * track.width) ** 2 / (6 * 1.7241e-8)).sum()
    interconnects = factors.eddy[0, 0] - len(copper.coil_angles) * coil
    assert 0 <= interconnects < 0.1 * factors.eddy[0, 0]


def test_wider_tracks_lose_more(small):
    """The loss of a strip grows with the cube of its width at equal field (volume times width squared)."""
    field = rotor_field(small.with_values({"board.interconnect_width_mm": 1.0}))
    copper = lay_copper(small)
    losses = []
    from dataclasses import replace

    for factor in (1.0, 2.0):
        tracks = tuple(replace(track, width=factor * track.width) for track in copper.coil.tracks)
        wider = replace(copper, coil=replace(copper.coil, tracks=tracks), interconnects=())
        losses.append(loss_factors(small, replace(wider, phases=copper.phases), field, 20.0).eddy.sum())
    assert losses[1] == pytest.approx(8 * losses[0], rel=1e-9)


def test_balanced_paths_carry_no_circulating_current(small):
    """12 coils and 10 poles in two paths: only the inter-coil connections differ, so the loss is far below that of the
    eddies.
    """
    design = small.with_values(
        {"winding.coils": 12, "rotor.poles": 10, "winding.turns": 3, "winding.parallel_paths": 2}
    )
    copper, field = lay_copper(design), rotor_field(design)
    factors = loss_factors(design, copper, field, 20.0)
    assert 0 < factors.circulating < 0.2 * factors.eddy.sum()


def test_every_speed_and_current_is_listed(small):
    design = small.with_values({"operation": {"speeds_rpm": [0.0, 600.0], "phase_currents_peak_a": [0.0, 0.5]}})
    copper, field = lay_copper(design), rotor_field(design)
    points = operating_losses(design, copper, field, 0.01)
    assert [(point["speed_rpm"], point["phase_current_peak_a"]) for point in points] == [
        (0, 0),
        (0, 0.5),
        (600, 0),
        (600, 0.5),
    ]
    assert points[0]["total_w"] == 0 and "efficiency" not in points[0]
    assert points[2]["torque_n_m"] < 0  # unloaded, the eddies brake
    hot = loss_factors(design, copper, field, 80.0)
    assert points[3]["copper_w"] == pytest.approx(1.5 * hot.resistance * 0.25, rel=1e-12)
    assert working_point(hot, 3, 0.01, 2 * pi * 10, 0.5)["total_w"] == pytest.approx(points[3]["total_w"], rel=1e-9)


def test_steel_beyond_the_board_brakes_and_heats(small):
    """Power in = power out + all losses, the steel's among them; its heat is in the balance of continuous work."""
    keys = {
        "rotor.stator_iron_mm": 2.0,
        "operation.speeds_rpm": [0.0, 600.0, 1200.0],
        "operation.phase_currents_peak_a": [0.5],
    }
    plain, plate = (predict(small.with_values(each)) for each in ({**keys, "rotor.stator_iron_mm": 0.0}, keys))
    for bare, point in zip(plain.losses, plate.losses, strict=True):
        steel = point["stator_iron_eddy_w"] + point["stator_iron_hysteresis_w"]
        assert bare["stator_iron_eddy_w"] == bare["stator_iron_hysteresis_w"] == 0.0
        assert (steel > 0.0) == (point["speed_rpm"] > 0.0)
        tracks = point["copper_w"] + point["eddy_w"] + point["circulating_w"]
        assert point["total_w"] == pytest.approx(tracks + steel, rel=1e-12)
        assert point["electrical_w"] == pytest.approx(point["shaft_w"] + point["total_w"], rel=1e-9)
    slow, fast = (p["stator_iron_eddy_w"] for p in plate.losses[1:])
    assert 2.0**1.4 < fast / slow <= 4.0
    # all of it is in the heat balance, at the temperatures of continuous work
    tracks = plate.losses[2]["eddy_w"] + plate.losses[2]["circulating_w"]
    counted = plate.thermal.eddy_loss - tracks
    steel = plate.losses[2]["stator_iron_eddy_w"] + plate.losses[2]["stator_iron_hysteresis_w"]
    assert 0.5 * steel < counted < 1.1 * steel
