"""Wires, sensor and screws to buy."""

from __future__ import annotations

from math import acos, ceil, log, pi, sqrt
from typing import TYPE_CHECKING

from pcbstator.analysis.drive.driver_fit import MOST_COUNTS, counts_for_speed, sensor_error
from pcbstator.analysis.drive.gains import Shaft, chosen_gains
from pcbstator.analysis.fields import Bounds
from pcbstator.analysis.magnetic.rotor_field import magnet_footprint
from pcbstator.analysis.order.driver import SHARE, Job
from pcbstator.design.sections.job import Drive
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.wires import gauge_number, wire_resistance
from pcbstator.physics.drive.positioning import magnet_eccentricity_peak, ring_eccentricity_peak

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

DENSITY = 5e6  # A/m2 of a wire in the air (common practice, no source)
STRONG = 0.08e-6  # m2, AWG 28: thinner wires break at their joints (common practice, no source)
DROP_PART = 0.02  # of the voltage, in the wires (common practice, no source)
USUAL_LENGTH = 0.5  # m, where the file says nothing
BUNDLE = 0.75  # copper of strands over their circle (common practice, no source)
PLAY = 0.9  # diameter of the strands over that of the hole (common practice, no source)
COARSEST = 5.0  # electrical degrees of a count, as the finding has it (common practice, no source)
MOST_LOST = 0.05  # of the torque at the sensor's worst error, as the finding has it (common practice, no source)
FINEST = 0.01  # of an allowed position error, finer than which a count need not be (common practice, no source)
# Thread and least clearance hole, both in mm: ISO 273, fine series (from memory).
CLEARANCE = ((1.6, 1.7), (2.0, 2.2), (2.5, 2.7), (3.0, 3.2), (4.0, 4.3), (5.0, 5.3), (6.0, 6.4), (8.0, 8.4))
LENGTHS = (3, 4, 5, 6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 50, 60)  # mm, ISO 4762 (from memory)
STEEL_FIELD = 0.01  # of the field at the magnets, where steel does no harm (common practice, no source)


def wire_bounds(job: Job) -> tuple[Bounds, Bounds]:
    """Copper of a wire [mm2] and its gauge."""
    drive, machine, board = job.drive, job.machine, job.design.board
    length = drive.cable_length or USUAL_LENGTH
    lasting = drive.current_limit / sqrt(2)
    each = 2 if machine.h_bridges or machine.phases == 2 else 1
    allowed = DROP_PART * machine.voltage_limit(drive.supply) / (each * drive.current_limit)
    needs = [
        (lasting / DENSITY, f"5 A/mm² at the {lasting:.3g} A rms of the current limit"),
        (
            wire_resistance(length, 1.0) / allowed,
            f"a drop of 2 % of the voltage at the current limit over {length:g} m",
        ),
        (STRONG, "thinner wires break at their joints"),
    ]
    least, why = max(needs)
    most = pi / 4 * (PLAY * board.terminal_drill) ** 2 * BUNDLE
    fits = f"strands that go into a terminal hole of {1e3 * board.terminal_drill:g} mm"
    stated = None if drive.cable_section is None else 1e6 * drive.cable_section
    gauge = Bounds(
        float(ceil(gauge_number(most) - 1e-9)), float(int(gauge_number(least) + 1e-9)), fits, why,
        None if drive.cable_section is None else gauge_number(drive.cable_section),
    )  # fmt: skip
    return Bounds(1e6 * least, 1e6 * most, why, fits, stated), gauge


def count_bounds(job: Job, shaft: Shaft) -> Bounds:
    """Counts of the sensor."""
    drive, machine, asked = job.drive, job.machine, job.design.requirement
    needs = [(ceil(360 * machine.pole_pairs / COARSEST), "5 electrical degrees a count")]
    if job.fit.slow_speed:
        coarse = drive.model_copy(update={"counts": 16})
        needs.append((counts_for_speed(machine, coarse, shaft, job.fit.slow_speed) or 16, "the slow speed"))
    if asked is not None and asked.position_error:
        error = asked.position_error * drive.gear_ratio
        needs.append((ceil(pi / (SHARE * error)), "half a count is a tenth of the position error"))
    if asked is not None and asked.repeatability:
        width = asked.repeatability * drive.gear_ratio
        needs.append((ceil(2 * pi / width), "a count is no wider than the repeatability"))
    least, why = max(needs)
    most, beyond = _useful_counts(job, shaft)
    return Bounds(least, max(least, most), why, beyond, drive.counts)


def _useful_counts(job: Job, shaft: Shaft) -> tuple[int, str]:
    """Least power of two of the counts beyond which more of them bring nothing, and why."""
    drive, counts, asked = job.drive, 16, job.design.requirement
    finest = FINEST * asked.position_error * drive.gear_ratio if asked and asked.position_error else 0.0
    while counts < MOST_COUNTS:
        if 2 * pi / counts < finest:
            return counts, "a count is less than a hundredth of the position error"
        if drive.noise > 0 and 2 * pi / counts < drive.noise:
            return counts, "a count is finer than the sensor's noise"
        finer: Drive = drive.model_copy(update={"counts": counts, "stated_speed_bandwidth": None})
        if chosen_gains(job.machine, finer, shaft.whole, shaft.anti_resonance).limited_by != "sensor":
            return counts, "more of them make the loops no faster"
        counts *= 2
    return counts, "no more can be stated"


def sensor_place(job: Job) -> tuple[str, Bounds | None]:
    """Where the sensor sits, in words, and by how much it may be off [mm]."""
    design, drive = job.design, job.drive
    bore = design.envelope.bore_diameter if design.envelope else None
    near, far = (float(radius) for radius in magnet_footprint(design).breakpoints[[0, -1]])
    if drive.sensor_radius is not None:
        words = f"one head at a ring of {1e3 * drive.sensor_radius:g} mm radius"
        if near < drive.sensor_radius < far:
            words += f", among the magnets ({1e3 * near:.3g} to {1e3 * far:.3g} mm), whose field it must not feel"
    else:
        words = f"a chip on the axis, {1e3 * drive.sensor_distance:g} mm from the middle of its magnet"
        if bore:
            words += (
                f"; the bore of {1e3 * bore:g} mm must leave the axis free for it, else a ring around the bore, from "
                f"{1e3 * bore / 2:.3g} mm of radius"
            )
    needs = [(acos(1 - MOST_LOST) / job.machine.pole_pairs, "a twentieth of the torque is lost at the worst place")]
    asked = design.requirement
    if asked is not None and asked.position_error and job.motion.rest_error is not None:
        left = max(asked.position_error - job.motion.rest_error, 0.0) * drive.gear_ratio
        needs.append((sensor_error(drive) + left, "the position error, as the other errors stand"))
    error, why = min(needs)
    return words, Bounds(None, 1e3 * _offset(drive, error), "", why, 1e3 * drive.sensor_offset)


def _offset(drive: Drive, error: float) -> float:
    """Offset [m] at which the sensor's place makes this error [rad]."""
    reach = drive.sensor_radius or 0.6 * drive.sensor_distance  # as far as drive.sensor_offset_mm may go
    low, high = 0.0, reach * (1 - 1e-9)
    for _ in range(60):
        middle = (low + high) / 2
        try:
            found = (
                ring_eccentricity_peak(middle, drive.sensor_radius)
                if drive.sensor_radius is not None
                else magnet_eccentricity_peak(middle, drive.sensor_distance)
            )
        except LawRangeError:
            found = pi
        low, high = (middle, high) if found < error else (low, middle)
    return low


def screw_bounds(design: SizedDesign) -> tuple[Bounds, Bounds, str] | None:
    """Thread and length [mm] of the screws through the board, and their material; None without holes for any."""
    holes = [(hole.diameter, hole.circle_diameter / 2) for hole in design.board.holes or () if not hole.plated]
    edge = design.board.outer_diameter / 2
    holes += [(tab.hole, edge + tab.reach - tab.width / 2) for tab in design.board.tabs or () if tab.hole > 0]
    threads = [
        (max((thread for thread, hole in CLEARANCE if hole <= 1e3 * width + 1e-6), default=0.0), width, radius)
        for width, radius in holes
    ]
    threads = [each for each in threads if each[0] > 0]
    if not threads:
        return None
    least, largest = min(threads), max(threads)
    stack = 1e3 * design.stator_thickness
    short, long = (_length(stack + turns * largest[0]) for turns in (1, 2))
    through = f"{stack:.3g} mm of board and"
    size = Bounds(
        least[0], largest[0], f"goes through a hole of {1e3 * least[1]:g} mm (ISO 273, fine)",
        f"goes through a hole of {1e3 * largest[1]:g} mm (ISO 273, fine)",
    )  # fmt: skip
    length = Bounds(short, long, f"{through} one diameter of thread, in metal",
                    f"{through} two diameters, in plastic; what lies under the board comes on top")  # fmt: skip
    return size, length, _screw_material(design, [radius for _, _, radius in threads])


def _length(least: float) -> int:
    """The next length of a screw [mm]."""
    return next((length for length in LENGTHS if length >= least - 1e-9), LENGTHS[-1])


def _screw_material(design: SizedDesign, radii: list[float]) -> str:
    """Steel where the field of the magnets has faded, else what it does not pull."""
    near, far = (float(radius) for radius in magnet_footprint(design).breakpoints[[0, -1]])
    away = min(max(near - radius, radius - far, 0.0) for radius in radii)
    pitch = pi * (near + far) / design.rotor.poles
    enough = pitch / pi * log(1 / STEEL_FIELD)
    distances = f"the magnets are {1e3 * away:.3g} mm away, and 1 % of their field is left at {1e3 * enough:.3g} mm"
    if away >= enough:
        return f"any: {distances}"
    return f"brass, plastic or a stainless steel that no magnet pulls: {distances}; steel would make the motor cog"
