"""Balls between two slip-ring boards: what each carries, what the copper under it stands, current, heat and friction.

Both boards are taken as flat and parallel but for their flatness, which with the spread of the balls says how high each
ball stands; heights are spread evenly over that range. The patch is that on thick copper: on a foil over laminate it is
larger, so that pressure and resistance are not higher.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, hypot, pi, sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator import materials
from pcbstator.analysis.electrical.slip_ring import lead_resistance, slip_ring_sizes
from pcbstator.analysis.fields import inside, result
from pcbstator.analysis.magnetic.rotor_field import magnet_footprint
from pcbstator.analysis.mechanical.gap import weight_sign
from pcbstator.analysis.mechanical.records import MechanicalResult
from pcbstator.analysis.mechanical.rotor import load_mass
from pcbstator.constants import STANDARD_GRAVITY
from pcbstator.copper.connections.slip_ring import raceway, ring_radius
from pcbstator.design.sections.bearing import Bearing
from pcbstator.design.sections.job import Load
from pcbstator.design.sections.slip_ring import MOST_BALLS, SlipRing
from pcbstator.physics.conductors.balls_on_rings import balls_on_rings
from pcbstator.physics.conductors.holm import foil_resistance, patch_resistance, patch_temperature
from pcbstator.physics.conductors.resistance import track_resistance
from pcbstator.physics.conductors.trace_current import ipc2221_spacing
from pcbstator.physics.mechanics.hertz import (
    contact_modulus,
    patch_radius,
    peak_pressure,
    rolling_moment,
    spin_moment,
    stress_below,
)
from pcbstator.physics.mechanics.uneven_balls import ball_loads

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

LOT = {  # m by which the mean diameters of balls of a lot differ at most (ISO 3290-1, from memory)
    "G3": 0.13e-6, "G5": 0.25e-6, "G10": 0.5e-6, "G16": 0.8e-6, "G20": 1e-6, "G28": 1.4e-6, "G40": 2e-6,
    "G60": 3e-6, "G100": 5e-6, "G200": 10e-6,
}  # fmt: skip
CAGE_PITCH = 1.6  # ball diameters from ball to ball in a cage (common practice, no source)
YIELDS = 1.6  # peak pressure over yield stress at which a flat first yields (Johnson, Contact Mechanics, from memory)
LOST = 0.1  # of the strain energy of copper over laminate, rolled over (common practice, no source)
SLIDING = 0.3  # friction of metal on dry gold or copper (common practice, no source)
STANDS_ON = 3  # balls that carry at least, however stiff the boards are
ROOM = 293.15  # K
MASK = 25e-6  # m by which the mask stands over the copper (common practice, no source)
STEP, WIDEST = 0.5e-3, 30e-3  # m: sizes of balls that are looked through
WANDER = 0.2e-3  # m by which balls in a cage may stray sideways, in all (common practice, no source)


@dataclass(frozen=True, kw_only=True)
class BallResult:
    """What balls between two slip-ring boards do as contacts and as a bearing; wear and dust are not in it."""

    ball_diameter: float = result(
        "ball_diameter_mm", "diameter of the balls: gap between the laminates less the copper of both boards", 1e3
    )
    balls: int = result("balls_per_ring", "number of balls on each slip ring")
    raceway: float = result(
        "raceway_diameter_mm", "diameter of the circle on which the balls of the innermost ring roll", 1e3
    )
    groove: float = result("groove_width_mm", "width of bare copper between the mask, in which the balls roll", 1e3)
    least_groove: float = result(
        "groove_needed_mm", "width of the groove at which a ball touches no edge of the solder mask", 1e3
    )
    balls_apart: float | None = result(
        "balls_apart_mm", "distance between balls of neighbouring rings that lie side by side", 1e3
    )
    balls_apart_needed: float | None = result(
        "balls_apart_needed_mm", "spacing needed between balls of neighbouring rings, IPC-2221 Table 6-1, B2", 1e3
    )
    load: float = result(
        "axial_load_n", "force that presses both boards together: magnetic force, weight of rotor and load, spring"
    )
    mean_load: float | None = result("mean_ball_load_n", "load over the number of all balls")
    most_load: float | None = result(
        "most_ball_load_n", "load of the most loaded ball, balls and boards as uneven as stated"
    )
    carrying: int | None = result("balls_carrying", "number of balls that touch both boards, of those of all rings")
    open_chance: float | None = result(
        "open_ring_chance_ratio", "chance that at a moment at least one ring has no ball that touches both boards"
    )
    patch: float | None = result(
        "patch_radius_um", "radius of the patch under the most loaded ball, on thick copper", 1e6
    )
    pressure: float | None = result("pressure_mpa", "pressure in the middle of that patch, by Hertz", 1e-6)
    allowed_pressure: float | None = result(
        "allowed_pressure_mpa", "pressure in the middle of a patch at which copper foil begins to yield", 1e-6
    )
    laminate_stress: float | None = result(
        "laminate_stress_mpa", "compressive stress in the laminate below that patch, under the copper", 1e-6
    )
    laminate_pressure: float | None = result(
        "bare_laminate_pressure_mpa",
        "pressure under the most loaded ball if all were laminate, the least it can be",
        1e-6,
    )
    balls_wanted: int | None = result(
        "balls_per_ring_wanted",
        "least number of balls of each ring, of this size, with which the copper does not yield",
    )
    diameter_wanted: float | None = result(
        "ball_diameter_wanted_mm", "least diameter of balls, as many as a cage then holds, with which the copper does "
        "not yield", 1e3,
    )  # fmt: skip
    ball_resistance: float | None = result(
        "ball_resistance_ohm", "resistance of one ball under the mean load of those that touch: two clean patches and "
        "the foil around them, 20 C",
    )  # fmt: skip
    path: float | None = result(
        "terminal_to_terminal_ohm", "resistance from terminal to terminal through balls, rings and leads of the worst "
        "ring at 20 C, leads opposite each other",
    )  # fmt: skip
    current: float | None = result(
        "most_ball_current_rms_a", "rms current of the ball that takes most of its ring's current, beside both leads"
    )
    voltage: float | None = result("patch_voltage_v", "rms voltage across the patch of that ball")
    rise: float | None = result("patch_rise_k", "temperature of that patch over the board's, by Kohlrausch's relation")
    friction: float | None = result(
        "friction_n_m", "friction torque of all balls: rolling and turning on the spot; it adds to that of the bearing"
    )
    unevenness: float | None = result(
        "friction_unevenness_n_m", "amplitude of the torque by which the load climbs the boards' run-out in a turn"
    )
    run_out: float = result(
        "axial_run_out_um", "axial run-out by flatness of both boards and spread of the balls, all at their worst", 1e6
    )
    edge_run_out: float = result(
        "edge_run_out_mm",
        "that run-out at the outer edge of the magnets, if the boards lean on the outermost raceway",
        1e3,
    )
    section: SlipRing | None = inside()


def ball_results(design: SizedDesign, mechanical: MechanicalResult | None, ways_out: bool = True) -> BallResult | None:
    """Balls as contacts and bearing; None where brushes are, or where the forces of the rotor are not known.

    ways_out: also how many or how large balls would last, which costs more than all else.
    """
    section = design.slip_ring
    if section is None or section.contact != "balls" or mechanical is None or section.ball_diameter <= 0:
        return None
    radii = [ring_radius(section, index) + raceway(section)[0] for index in range(section.rings)]
    balls = balls_per_ring(section)
    load = _load(design, mechanical) + section.preload
    pitch, run_out = section.width + section.spacing, 2 * section.flatness + LOT[section.ball_grade]
    found: dict[str, Any] = {
        "ball_diameter": section.ball_diameter,
        "balls": balls,
        "raceway": 2 * radii[0],
        "groove": raceway(section)[1],
        "least_groove": 2 * sqrt(section.ball_diameter * MASK) + WANDER,
        "balls_apart": pitch - section.ball_diameter if section.rings > 1 else None,
        "balls_apart_needed": ipc2221_spacing(section.voltage, "B2") if section.rings > 1 else None,
        "load": load,
        "run_out": run_out,
        "edge_run_out": run_out * float(magnet_footprint(design).breakpoints[-1]) / radii[-1],
        "section": section,
    }
    return BallResult(**found | (_carried(design, section, radii, balls, load, ways_out) if load > 0 else {}))


def balls_per_ring(section: SlipRing) -> int:
    """Balls of each ring: as stated, or as a cage holds on the innermost raceway."""
    return section.stated_balls or _count(section, ring_radius(section, 0) + raceway(section)[0], section.ball_diameter)


def _count(section: SlipRing, innermost: float, diameter: float) -> int:
    """Balls of a diameter [m] that a cage holds on the innermost raceway, of this radius [m]."""
    return max(STANDS_ON, min(MOST_BALLS, floor(2 * pi * innermost / (CAGE_PITCH * diameter))))


def _load(design: SizedDesign, mechanical: MechanicalResult) -> float:
    """What the bearing carries along the axis [N]."""
    if mechanical.bearing_load is not None:
        return mechanical.bearing_load
    pull = 0.0 if design.rotor.arrangement == "double" else mechanical.axial_force or 0.0
    turning = mechanical.rotor_mass + load_mass(design)
    return abs(pull + weight_sign(design) * turning * STANDARD_GRAVITY)


def _carried(
    design: SizedDesign, section: SlipRing, radii: list[float], balls: int, load: float, ways_out: bool
) -> dict[str, Any]:
    """All that depends on the load [N]."""
    ball, radius, many = materials.ball(section.ball_material), section.ball_diameter / 2, balls * section.rings
    modulus = float(
        contact_modulus(ball.modulus, ball.poisson, materials.raceway("modulus"), materials.raceway("poisson_ratio"))
    )
    loads = uneven_loads(section, many, load, radius, modulus)
    most, touching = float(loads[0]), int(np.count_nonzero(loads))
    patch = float(patch_radius(most, radius, modulus))
    pressure = float(peak_pressure(most, patch))
    soft = contact_modulus(
        ball.modulus, ball.poisson, materials.raceway("laminate_modulus"), materials.raceway("laminate_poisson_ratio")
    )
    allowed = YIELDS * materials.raceway("yield")
    found: dict[str, Any] = {
        "mean_load": load / many,
        "most_load": most,
        "carrying": touching,
        "open_chance": 1 - (1 - (1 - touching / many) ** balls) ** section.rings,
        "patch": patch,
        "pressure": pressure,
        "allowed_pressure": allowed,
        "laminate_stress": float(stress_below(pressure, patch, section.copper)),
        "laminate_pressure": float(peak_pressure(most, patch_radius(most, radius, soft))),
    }
    if ways_out and pressure > allowed:
        found |= _would_do(section, radii[0], balls, load, modulus, allowed)
    each = loads[loads > 0]
    patches = patch_radius(each, radius, modulus)
    mean_radius = float(np.mean(radii))
    rolling = 2 * rolling_moment(each, patches, LOST) * mean_radius / (2 * radius)
    found["friction"] = float(np.sum(rolling + spin_moment(each, patches, SLIDING)))
    found["unevenness"] = load * hypot(section.flatness, section.flatness) / 2
    return found | _electrical(design, section, loads, balls, modulus)


def uneven_loads(section: SlipRing, many: int, load: float, radius: float, modulus: float) -> FloatArray:
    """Loads of all balls, most loaded first (many,) [N]; radius: of the balls [m]; modulus: of the contact [Pa]."""
    stiffness = 4 / 3 * modulus * sqrt(radius)
    spread = hypot(LOT[section.ball_grade], section.flatness, section.flatness)
    lower = spread * np.arange(many) / max(many - 1, 1)
    give = 0.0 if section.board_stiffness is None else 1 / section.board_stiffness
    loads = ball_loads(lower, load, stiffness, give)
    if np.count_nonzero(loads) < STANDS_ON:
        loads = np.where(np.arange(many) < STANDS_ON, load / STANDS_ON, 0.0)
    return loads


def _would_do(
    section: SlipRing, innermost: float, balls: int, load: float, modulus: float, allowed: float
) -> dict[str, Any]:
    """How many balls of this size, and balls of which size, keep the pressure within what is allowed [Pa]; nothing
    where none that fit do.
    """

    def holds(count: int, diameter: float) -> bool:
        most = float(uneven_loads(section, count * section.rings, load, diameter / 2, modulus)[0])
        return float(peak_pressure(most, patch_radius(most, diameter / 2, modulus))) <= allowed

    found: dict[str, Any] = {}
    most = _count(section, innermost, section.ball_diameter)
    found["balls_wanted"] = next((n for n in range(balls + 1, most + 1) if holds(n, section.ball_diameter)), None)
    widest = section.width + section.spacing - ipc2221_spacing(section.voltage, "B2") if section.rings > 1 else WIDEST
    sizes = (STEP * n for n in range(floor(section.ball_diameter / STEP) + 1, floor(min(widest, WIDEST) / STEP) + 1))
    found["diameter_wanted"] = next((size for size in sizes if holds(_count(section, innermost, size), size)), None)
    return found


def _electrical(
    design: SizedDesign, section: SlipRing, loads: FloatArray, balls: int, modulus: float
) -> dict[str, Any]:
    """Resistance, sharing and heat of the ring whose touching balls carry least."""
    rings = [loads[index :: section.rings] for index in range(section.rings)]
    number = max(index for index, each in enumerate(rings) if each[0] > 0)
    each = rings[number][rings[number] > 0]
    radius = section.ball_diameter / 2
    constriction, spreading = _contact(section, each, radius, modulus)
    mean = sum(float(np.squeeze(part)) for part in _contact(section, np.mean(each), radius, modulus))
    angles = _places(len(each), balls)
    outermost = 2 * pi * ring_radius(section, section.rings - 1)
    around = float(track_resistance(outermost, section.width, section.copper))
    resistances = 2 * (constriction + spreading)
    _, near = balls_on_rings(angles, resistances, around, around, 0.0, 0.0)
    opposite, _ = balls_on_rings(angles, resistances, around, around, 0.0, pi)
    leads = sum(
        max(lead_resistance(board, slip_ring_sizes(design, board), index) for index in range(board.rings))
        for board in section.boards.values()
    )
    worst = int(np.argmax(near))
    current = section.current * float(near[worst])
    voltage = current * float(constriction[worst])
    return {
        "ball_resistance": 2 * mean,
        "path": opposite + leads,
        "current": current,
        "voltage": voltage,
        "rise": float(patch_temperature(voltage, ROOM)) - ROOM,
    }


def _contact(
    section: SlipRing, loads: FloatArray | np.floating[Any], radius: float, modulus: float
) -> tuple[FloatArray, FloatArray]:
    """Constriction of one patch of each ball and spreading in the foil around it [ohm]."""
    patches = patch_radius(loads, radius, modulus)
    copper = materials.copper().resistivity
    return (
        np.atleast_1d(patch_resistance(patches, materials.ball(section.ball_material).resistivity, copper)),
        np.atleast_1d(foil_resistance(patches, section.width / 2, copper, section.copper)),
    )


def _places(touching: int, balls: int) -> FloatArray:
    """Angles [rad] of the balls that touch, the most loaded beside the leads, then on both sides away from them."""
    steps = np.array([(k + 1) // 2 * (-1 if k % 2 else 1) for k in range(touching)])
    return 2 * pi / max(balls, touching) * steps


def with_ball_friction(design: SizedDesign, found: BallResult | None) -> SizedDesign:
    """The design whose bearing has the friction of the balls on top of what is stated, and whose load has their
    unevenness, once a turn as that of a weight.
    """
    if found is None or not found.friction:
        return design
    bearing, load = design.bearing or Bearing(), design.load or Load()
    more = {
        "friction": bearing.friction + found.friction,
        "stated_standstill_friction": bearing.standstill_friction + found.friction,
    }
    uneven = {"unbalance": load.unbalance + (found.unevenness or 0.0)}
    return design.model_copy(
        update={"bearing": bearing.model_copy(update=more), "load": load.model_copy(update=uneven)}
    )
