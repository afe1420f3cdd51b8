"""Motor and load on a spring, without or with play: what two bodies lose until they run alike is known beforehand."""

import pytest

from pcbstator.physics.drive.plant import Plant, PlantValues

MOTOR, LOAD, SPEED = 5e-4, 1.5e-3, 4.0  # kg m2, rad/s


def coupled(play: float) -> Plant:
    """No field, no friction: the motor runs, the load stands."""
    values = PlantValues(
        3, 4.0, 1.0, 1e-3, (0j,) * 16, MOTOR, load_inertia=LOAD, stiffness=3.0, play=play
    )  # fmt: skip
    plant = Plant(values, 2e-5)
    plant.state.speed = SPEED
    return plant


@pytest.mark.parametrize("play", [0.0, 0.02])
def test_energy_is_stored_or_wasted(play: float) -> None:
    plant = coupled(play)
    begin = plant.stored()
    assert begin == pytest.approx(MOTOR * SPEED**2 / 2, rel=1e-12)
    largest = 0.0
    for _ in range(4000):
        plant.advance(0j, 0.0)
        kinetic = (MOTOR * plant.state.speed**2 + LOAD * plant.state.load_speed**2) / 2
        largest = max(largest, plant.stored() - kinetic)
        assert plant.stored() >= kinetic - 1e-15
        assert plant.stored() + plant.state.wasted == pytest.approx(begin, rel=1e-3)
    # The spring takes all but the energy of the common motion at first, less what the contact damps.
    relative = MOTOR * LOAD / (MOTOR + LOAD) * SPEED**2 / 2
    assert 0.8 * relative < largest <= relative * (1 + 1e-3)


def test_both_run_alike_in_the_end() -> None:
    """Momentum stays; what the relative motion held is wasted."""
    plant = coupled(0.0)
    plant.advance(0j, 0.0, 100_000)
    common = MOTOR * SPEED / (MOTOR + LOAD)
    assert (plant.state.speed, plant.state.load_speed) == pytest.approx((common, common), rel=1e-3)
    assert plant.state.wasted == pytest.approx(MOTOR * LOAD / (MOTOR + LOAD) * SPEED**2 / 2, rel=1e-3)
