"""Losses of a turning machine: copper under current, eddies, currents between parallel paths and around a delta."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from math import pi
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.electrical.conductors import Conductors, conductors_of
from pcbstator.analysis.electrical.delta_loop import loop_current_rms, warm_loop
from pcbstator.analysis.magnetic.rotor_field import path_linkages, phase_linkages
from pcbstator.copper import Copper
from pcbstator.materials import mild_steel, steel_loss_values
from pcbstator.physics.conductors.delta_loop import DeltaLoop, loop_loss
from pcbstator.physics.conductors.eddy import strip_eddy_loss_density
from pcbstator.physics.conductors.resistance import conductor_resistivity
from pcbstator.physics.magnetics.magnet_ring import RingField
from pcbstator.physics.magnetics.plate_loss import LossySteel, PlateLoss, turning_field_loss

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

USUAL_SPEED = 100.0  # rad/s, where a design names none


@dataclass(frozen=True, eq=False)
class LossFactors:
    """What the losses of one machine grow from, at one copper temperature.

    resistance: of a phase [ohm]. eddy: (orders, layers) loss at 1 rad/s [W]; circulating: loss at 1 rad/s by currents
    between parallel paths, all layers together [W]; both grow with the square of the speed. steel: of a plate beyond
    the board at a speed [rad/s]. loop: of a delta; its loss does not grow with the square of the speed either.
    """

    resistance: float
    eddy: FloatArray
    circulating: float
    steel: Callable[[float], PlateLoss]
    loop: DeltaLoop | None = None


def loss_factors(
    design: SizedDesign, copper: Copper, field: RingField, temperature_c: float, loop: DeltaLoop | None = None
) -> LossFactors:
    """Loss factors with the copper at ``temperature_c`` [C]; loop: of a delta, at 20 C."""
    conductors = conductors_of(design, copper, temperature_c)
    return LossFactors(
        resistance=conductors.phase_resistance,
        eddy=_eddy_loss(copper, field, temperature_c),
        circulating=circulating_loss(field, conductors),
        steel=partial(steel_plate_loss, design, field),
        loop=None if loop is None else warm_loop(loop, temperature_c),
    )


class Braking(NamedTuple):
    """What brakes, but a delta's loop: torque over speed by losses in the copper, and by eddies in steel beyond the
    board [N m s/rad], which are losses over the square of the speed; torque by hysteresis in that steel [N m].
    """

    copper: float = 0.0
    steel: float = 0.0
    hysteresis: float = 0.0


def job_speed(design: SizedDesign) -> float:
    """Speed [rad/s] of the rotor for which the loss in steel is found: that of the job, else the highest of
    [operation].
    """
    motion, ratio = design.motion, design.drive.gear_ratio if design.drive else 1.0
    if motion is not None and motion.speed is not None:
        return motion.speed * ratio
    return (max(design.operation.speeds) if design.operation else 0.0) or USUAL_SPEED


def braking(
    design: SizedDesign, conductors: Conductors, field: RingField, temperature_c: float, each_order: bool = True
) -> Braking:
    """What brakes with the copper at ``temperature_c`` [C]. conductors: at 20 C. each_order: the field's orders one by
    one; else all of them as one field, which is quicker and the same but for the interpolation in its table.
    """
    copper = conductors.copper
    eddy = _eddy_loss(copper, field if each_order else all_orders_at_once(field), temperature_c).sum()
    paths = len(copper.current_paths.phase) != len(copper.phases)
    circulating = circulating_loss(field, conductors_of(design, copper, temperature_c)) if paths else 0.0
    # Eddies of steel grow less than with the square of the speed: too small at lower speeds, too large at higher ones.
    speed = job_speed(design)
    steel = steel_plate_loss(design, field, speed)
    return Braking(float(eddy) + circulating, steel.eddy / speed**2, steel.hysteresis / speed)


def steel_plate_loss(design: SizedDesign, field: RingField, speed: float) -> PlateLoss:
    """Loss [W] of a steel plate beyond the board at ``speed`` [rad/s]."""
    if field.plate is None:
        return PlateLoss(0.0, 0.0)
    steel, plate = LossySteel(mild_steel(), *steel_loss_values()), field.plate
    return turning_field_loss(
        speed, field.pole_pairs, field.orders, plate.radii, plate.values, design.rotor.stator_iron, steel
    )


def all_orders_at_once(field: RingField) -> RingField:
    """One field at the fundamental that heats as all orders do: eddies go with the square of frequency times field."""
    together = np.sqrt(np.einsum("n,nzr->zr", np.square(field.orders, dtype=float), field.values**2))
    return replace(field, orders=np.array([1]), values=together[None])


def _eddy_loss(copper: Copper, field: RingField, temperature_c: float) -> FloatArray:
    """Eddy loss (orders, layers) [W] at 1 rad/s: every piece of track as a strip across the moving field."""
    frequencies = field.orders * field.pole_pairs / (2 * pi)
    resistivity = float(conductor_resistivity(temperature_c))
    counted = [(track, len(coils)) for track, coils in copper.template_tracks]
    counted += [(track, 1) for track in copper.interconnects]
    pieces = np.array([len(track.points) - 1 for track, _ in counted])
    layer = np.repeat([track.layer - 1 for track, _ in counted], pieces)
    middles = np.concatenate([track.points[1:] + track.points[:-1] for track, _ in counted]) / 2
    lengths = np.concatenate([track.lengths for track, _ in counted])
    widths = np.concatenate([track.piece_widths for track, _ in counted])
    thickness = np.array([each.thickness for each in copper.layers])[layer]
    volume = np.repeat([count for _, count in counted], pieces) * lengths * widths * thickness
    density = strip_eddy_loss_density(frequencies[:, None], field.at(np.hypot(*middles.T), layer), widths, resistivity)
    loss = density * volume
    return np.stack([loss[:, layer == number].sum(axis=1) for number in range(len(copper.layers))], axis=1)


def circulating_loss(field: RingField, conductors: Conductors) -> float:
    """Loss [W] at 1 rad/s of the currents that unequal parallel paths drive through each other.

    Their resistance alone limits them, which is on the safe side: inductance would lower them at speed.
    """
    if len(conductors.copper.current_paths.phase) == len(conductors.copper.phases):
        return 0.0
    paths = path_linkages(conductors.copper, field)
    phases = phase_linkages(conductors, paths)[conductors.copper.current_paths.phase]
    unequal = (paths - phases) * field.orders * field.pole_pairs
    currents = np.linalg.solve(conductors.shared, unequal)
    return float((currents.conj() * unequal).real.sum() / 2)


def operating_losses(
    design: SizedDesign, copper: Copper, field: RingField, torque_constant: float, loop: DeltaLoop | None = None
) -> list[dict[str, Any]]:
    """Losses at every speed and current of the design's [operation], in the units of their keys; loop: of a delta, at
    20 C.
    """
    operation = design.operation
    if operation is None:
        return []
    # Where a strip begins to shield itself the law fails; higher harmonics come out too high there, never too low.
    fundamental = field.pole_pairs * max(operation.speeds) / (2 * pi)
    resistivity = conductor_resistivity(operation.copper_c)
    strip_eddy_loss_density(fundamental, 1.0, [track.width for track, _ in copper.template_tracks], resistivity)
    factors = loss_factors(design, copper, field, operation.copper_c, loop)
    return [
        working_point(factors, len(copper.phases), torque_constant, speed, current)
        for speed in operation.speeds
        for current in operation.currents
    ]


def working_point(
    factors: LossFactors, phases: int, torque_constant: float, speed: float, current: float
) -> dict[str, Any]:
    """Losses, torque and powers at a speed [rad/s] and a peak phase current [A], sine on the q axis.

    The electrical power in is the sum of what leaves the shaft and all losses; eddies, circulating currents, those
    around a delta and the steel beyond the board brake.
    """
    copper_loss = phases / 2 * factors.resistance * current**2
    eddy = float(factors.eddy.sum()) * speed**2
    circulating = factors.circulating * speed**2
    steel = factors.steel(speed)
    loop = 0.0 if factors.loop is None else float(loop_loss(factors.loop, speed))
    drag = (eddy + circulating + sum(steel) + loop) / speed if speed > 0 else 0.0
    torque = torque_constant * current - drag
    shaft = torque * speed
    power = copper_loss + torque_constant * current * speed
    point: dict[str, Any] = {
        "speed_rpm": round(speed * 30 / pi, 9),
        "phase_current_peak_a": current,
        "copper_w": copper_loss,
        "eddy_w": eddy,
        "circulating_w": circulating,
        "stator_iron_eddy_w": steel.eddy,
        "stator_iron_hysteresis_w": steel.hysteresis,
        "total_w": copper_loss + eddy + circulating + sum(steel) + loop,
        "torque_n_m": torque,
        "shaft_w": shaft,
        "electrical_w": power,
        "eddy_by_layer_w": (factors.eddy.sum(axis=0) * speed**2).tolist(),
        "eddy_by_order_w": (factors.eddy.sum(axis=1) * speed**2).tolist(),
    }
    if factors.loop is not None:
        point |= {"delta_loop_w": loop, "loop_phase_current_rms_a": loop_current_rms(factors.loop, speed)}
    if power > 0 and shaft > 0:
        point["efficiency"] = shaft / power
    return point
