"""What the readings of a bench depend on, computed once from a design, so that a cause can replace parts of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator import materials
from pcbstator.analysis.magnetic.losses import braking
from pcbstator.analysis.mechanical.rotor import rotor_inertia
from pcbstator.analysis.pipeline import worked
from pcbstator.analysis.stages import Work
from pcbstator.copper import Copper
from pcbstator.errors import LawRangeError

if TYPE_CHECKING:
    from pcbstator.design import Design, SizedDesign

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


@dataclass(frozen=True, eq=False)
class ClosedLoops:
    """Copper that is closed in itself beside the phases, as a bridge between turns makes it.

    resistance: (loops, loops) [ohm] at 20 C. inductance: (loops, loops) and mutual: (phases, loops) [H].
    linkages: (loops, orders) [Wb].
    """

    resistance: FloatArray
    inductance: FloatArray
    mutual: FloatArray
    linkages: ComplexArray


@dataclass(frozen=True, eq=False)
class MachineState:
    """One motor as its readings see it.

    names: of the phases. connection: star, delta or open. resistance: (phases, phases) [ohm] at 20 C, with what
    phases share. star_lead: from the star point to terminal N [ohm] at 20 C. inductance: (phases, phases) [H].
    orders: (orders,) per turn of the rotor, pole pairs times the electrical ones; linkages: (phases, orders) [Wb].
    drag: braking torque over speed [N m s/rad]; hysteresis: braking torque at any speed [N m]; inertia: of the rotor
    [kg m2]. air_gap and thicknesses by part [m]; copper: thickness of every layer from 1 on [m]. work: the prediction
    that it came from. loops: of shorted copper, if there is any.
    """

    design: SizedDesign
    names: tuple[str, ...]
    connection: str
    pole_pairs: int
    resistance: FloatArray
    star_lead: float
    inductance: FloatArray
    orders: NDArray[np.integer]
    linkages: ComplexArray
    drag: float
    hysteresis: float
    inertia: float
    air_gap: float
    thickness: dict[str, float]
    copper: tuple[float, ...]
    work: Work = field(repr=False)
    loops: ClosedLoops | None = None


def machine_state(design: Design, copper: Copper | None = None) -> MachineState:
    """The state of a motor that is as its design says.

    Raises DesignError where winding or copper cannot be laid; LawRangeError where the field law does not hold.
    """
    return state_of(worked(design, copper))


def state_of(work: Work) -> MachineState:
    """The state of a design that went through all stages."""
    design, conductors, magnetic, found = work.design, work.conductors, work.magnetic, work.inductances
    if conductors is None or magnetic is None or work.field is None or found is None:
        raise LawRangeError(work.out_of_range or "the prediction lacks what readings are compared with")
    network = np.array(conductors.network.resistance, dtype=float)
    star = conductors.star_resistances if design.winding.connection == "star" else {}
    beyond = float(np.mean(list(star.values())) - np.diag(network).mean()) if star else 0.0
    brakes = braking(design, conductors, work.field, 20.0)
    magnet, rotor = design.rotor.magnet, design.rotor
    return MachineState(
        design=design,
        names=tuple(phase.name for phase in conductors.copper.phases),
        connection=design.winding.connection,
        pole_pairs=rotor.poles // 2,
        resistance=network,
        star_lead=beyond,
        inductance=np.array(found.inductance_matrix),
        orders=np.asarray(magnetic.orders) * (rotor.poles // 2),
        linkages=np.asarray(magnetic.linkages),
        drag=brakes.copper + brakes.steel,
        hysteresis=brakes.hysteresis,
        inertia=rotor_inertia(design),
        air_gap=rotor.air_gap,
        thickness={"board": design.board.thickness, "magnet": magnet.thickness, "back_iron": rotor.back_iron},
        copper=tuple(layer.thickness for layer in conductors.copper.layers),
        work=work,
    )


def strength_at(design: SizedDesign, temperature_c: float) -> float:
    """Remanence of the magnets at a temperature [C] over that which the design counts with [-]; above 1 where they are
    colder on the bench than in the design. A stated remanence counts at any temperature.

    Steel that saturates is left as it is.
    """
    magnet, coefficient = design.rotor.magnet, materials.neodymium().remanence_coefficient
    if magnet.stated_remanence is not None:
        return 1.0
    reference = materials.REFERENCE_TEMPERATURE_C
    return (1 + coefficient * (temperature_c - reference)) / (1 + coefficient * (magnet.temperature_c - reference))
