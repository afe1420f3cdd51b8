"""How the motor is put together: spreads of magnets, plate and board about what is drawn."""

from __future__ import annotations

from typing import Annotated

from pcbstator.design.quantities import Count, Record, degrees, key, millimetres, percent


class Build(Record):
    """Spreads of the built motor. Those of magnets are one standard deviation, normal, magnet by magnet.

    All defaults are common practice, no source.
    """

    remanence_spread: Annotated[float, percent(0, 20)] = key(
        "remanence_spread_percent", "of the remanence from magnet to magnet, one standard deviation", 1.5
    )
    magnet_angle: Annotated[float, degrees(0, 10)] = key(
        "magnet_angle_deg", "of a magnet's place along the turn, one standard deviation", 0.15
    )
    magnet_radius: Annotated[float, millimetres(0, 5)] = key(
        "magnet_radius_mm", "of a magnet's place along the radius, one standard deviation", 0.1
    )
    magnetisation_tilt: Annotated[float, degrees(0, 20)] = key(
        "magnetisation_tilt_deg", "of the magnetisation, in each of two directions, one standard deviation", 1.0
    )
    reversed_magnets: Annotated[int, Count(range(11))] = key(
        "reversed_magnets", "magnets glued in the wrong way round, at places that are drawn", 0
    )
    rotor_eccentric: Annotated[float, millimetres(0, 5)] = key(
        "rotor_eccentric_mm", "largest, of the ring of magnets from the axis; evenly drawn", 0.05
    )
    rotor_run_out: Annotated[float, millimetres(0, 5)] = key(
        "rotor_run_out_mm", "largest, axial, peak to peak at the outer edge of the magnets; evenly drawn", 0.1
    )
    board_eccentric: Annotated[float, millimetres(0, 5)] = key(
        "board_eccentric_mm", "largest, of the board from the axis; evenly drawn", 0.1
    )
    board_bow: Annotated[float, millimetres(0, 10)] = key(
        "board_bow_mm", "largest, of the board as it is mounted; evenly drawn either way", 0.1
    )
    stack_angle: Annotated[float, degrees(0, 10)] = key(
        "stack_angle_deg", "of each board of a stack about the axis, one standard deviation; pins have play", 0.1
    )
    draws: Annotated[int, Count(range(100, 100_001))] = key("draws", "rotors that are drawn", 1000)
    seed: Annotated[int, Count(range(1 << 31))] = key("seed", "of the draws: the same seed gives the same rotors", 1)
