"""Motors that have a fault, by the whole prediction of such a motor: from keys of the design file wherever there is
one, else from copper that is laid and walked anew; never from what judges the readings."""

from dataclasses import replace
from math import log

import numpy as np

import pcbstator
from pcbstator.analysis.magnetic.as_built import one_magnet
from pcbstator.analysis.magnetic.rotor_field import rotor_iron
from pcbstator.analysis.mechanical.built_results import built_results
from pcbstator.bench.load import bench_from_tables
from pcbstator.bench.machine_state import MachineState, machine_state
from pcbstator.copper.current_paths import CoilVisit

PAIRS = (["A", "B"], ["B", "C"], ["C", "A"])


def readings_for(gap_mm: float, magnet_mm: float, speed_rpm: float = 120.0):
    """What an evening at the bench gives; the values are those of no motor."""
    return bench_from_tables({
        "resistance": [{"between": pair, "ohm": 1.0, "copper_c": 22.0} for pair in PAIRS],
        "inductance": [{"between": pair, "henry": 1e-4, "frequency_khz": 1.0} for pair in PAIRS],
        "emf": [{"between": pair, "peak_v": 1.0, "frequency_hz": 24.0} for pair in PAIRS]
        + [{"between": PAIRS[0], "rms_v": 1.0, "speed_rpm": speed_rpm}],
        "static_torque": [{"between": PAIRS[0], "current_a": 0.3, "lever_mm": 100.0, "newton": 1.0}],
        "gap": [{"mm": gap_mm}],
        "thickness": [{"of": "magnet", "mm": magnet_mm}],
    }).readings  # fmt: skip


def with_steps(copper, coil, change):
    """Copper whose paths go through a coil in another way: ``change`` of the visit, or None to leave it out."""

    def steps(path):
        found = [change(step) if isinstance(step, CoilVisit) and step.coil == coil else step for step in path.steps]
        return replace(path, steps=tuple(step for step in found if step is not None))

    phases = tuple(replace(phase, paths=tuple(map(steps, phase.paths))) for phase in copper.phases)
    return replace(copper, phases=phases)


def turned_round(visit):
    return CoilVisit(visit.coil, not visit.forward)


def machines(design, copper, draw):
    """Name of the fault and motor with it, each with its own values within the tolerances."""
    coils = {name: [k for k, phase in enumerate(copper.coil_phases) if phase == name] for name in "ABC"}
    yield "coil_reversed", of_tolerance(design, draw, with_steps(copper, coils["A"][-1], turned_round))
    yield "coil_shorted", of_tolerance(design, draw, with_steps(copper, coils["C"][-1], lambda visit: None))
    if len(copper.phases[1].paths) > 1:
        first, second, *rest = copper.phases
        opened = (first, replace(second, paths=second.paths[1:]), *rest)
        yield "path_open", of_tolerance(design, draw, replace(copper, phases=opened))
    if design.rotor.arrangement == "double":  # nothing is left but what inaccurate parts leave
        found = of_tolerance(design, draw)
        left = np.array([[0.004], [0.002], [0.007]])
        yield "like_poles", replace(found, linkages=found.linkages * left)
    yield "connection", of_tolerance(design.with_values({"winding.connection": "delta"}), draw)
    board, rotor = design.board, design.rotor
    for outer, inner in ((2.0, 2.0), (0.5, 0.5), (1.0, 0.5), (2.0, 1.0)):
        keys = {"board.outer_copper_um": 1e6 * outer * board.outer_copper}
        if board.layers > 2:
            keys["board.inner_copper_um"] = 1e6 * inner * board.inner_copper
        elif outer != inner:
            continue
        yield "copper_weight", of_tolerance(design.with_values(keys), draw)
    yield "magnet_reversed", with_one_magnet_reversed(design, draw)
    if rotor.back_iron > 0:
        yield "steel_missing", of_tolerance(design.with_values({"rotor.back_iron_mm": 0.0}), draw)
    gap, thick = 1e3 * rotor.air_gap, 1e3 * rotor.magnet.thickness
    yield "air_gap", of_tolerance(design.with_values({"rotor.air_gap_mm": 1.6 * gap}), draw)
    yield "magnet_thickness", of_tolerance(design.with_values({"rotor.magnet.thickness_mm": 0.7 * thick}), draw)
    yield "remanence", of_tolerance(design, draw, strength=0.8)
    yield "copper_temperature", of_tolerance(design, draw, copper_k=60.0)
    yield "outer_copper", of_tolerance(design, draw, outer=1.6)


def of_tolerance(design, draw, copper=None, strength=1.0, copper_k=0.0, outer=1.0) -> MachineState:
    """The motor with values within its tolerances: the defaults, as the designs state none; normal, 90 % inside."""
    normal = draw.standard_normal(6) / 1.645
    rotor, board = design.rotor, design.board
    keys = {
        "rotor.air_gap_mm": 1e3 * rotor.air_gap + 0.1 * normal[0],
        "board.outer_copper_um": 1e6 * board.outer_copper * outer * np.exp(0.082 * normal[1]),
        "rotor.magnet.thickness_mm": 1e3 * rotor.magnet.thickness + 0.05 * normal[2],
    }
    if board.layers > 2:
        keys["board.inner_copper_um"] = 1e6 * board.inner_copper * np.exp(0.082 * normal[3])
    other = design.with_values(keys)
    if copper is not None:
        laid = pcbstator.lay_copper(other)
        copper = replace(laid, phases=copper.phases)
    found = machine_state(other, copper)
    warm = (1 + 0.00393 * (copper_k + 2.0 * 1.645 * normal[4])) * found.resistance
    return replace(found, linkages=found.linkages * strength * (1 + 0.02 * normal[5]), resistance=warm, work=found.work)


def with_one_magnet_reversed(design, draw) -> MachineState:
    """By the keys of [build], which counts reversed magnets."""
    found = of_tolerance(design, draw)
    if design.rotor.arrangement == "double":  # the key counts for each rotor
        return with_one_of_two_reversed(found)
    wrong = design.with_values({
        "build.reversed_magnets": 1, "build.draws": 100, "build.remanence_spread_percent": 0.0,
        "build.magnet_angle_deg": 0.0, "build.board_bow_mm": 0.0, "build.rotor_run_out_mm": 0.0,
    })  # fmt: skip
    sized, work = machine_state(wrong).design, found.work
    built = built_results(sized, work.laid[1], work.magnetic, work.mechanical, 0.0)
    linkages = np.asarray(built.drawn(0)) * np.abs(found.linkages[0, 0]) / np.abs(work.magnetic.linkages[0, 0])
    return replace(found, orders=np.arange(1, linkages.shape[1] + 1), linkages=linkages)


def with_one_of_two_reversed(found) -> MachineState:
    """The fourth magnet of one of two rotors, by the linkages of one magnet in all orders up to seven pole pairs."""
    sized, conductors = found.design, found.work.laid[1]
    magnet = one_magnet(sized, conductors, rotor_iron(sized).layers)
    place = 2 * np.pi * 3 / sized.rotor.poles
    turned = 2.0 / 2 * np.exp(-1j * magnet.orders * place)  # it pointed up; each rotor gives half of the field
    linkages = magnet.phases["itself"] * turned
    for column, order in enumerate(found.orders):
        if order <= magnet.orders[-1]:
            linkages[:, order - 1] += found.linkages[:, column]
    return replace(found, orders=magnet.orders, linkages=linkages)


def slips(readings, speed_to_frequency):
    """Name of the slip and the logarithm of what is written over what was meant."""
    kinds = np.array([reading.kind for reading in readings])
    peaks = np.array([getattr(reading, "peak", None) is not None for reading in readings])
    by_speed = np.array([getattr(reading, "speed", None) is not None for reading in readings])
    yield "rms_for_peak", -log(2) / 2 * peaks
    yield "peak_to_peak_for_peak", log(2) * peaks
    yield "peak_for_rms", log(2) / 2 * (by_speed & (kinds == "emf"))
    yield "mechanical_frequency", log(speed_to_frequency) * peaks
    yield "electrical_speed", -log(speed_to_frequency) * by_speed
    yield "wrong_reading", -0.5 * (np.arange(len(readings)) == 1)
    yield "wrong_reading", 0.5 * (np.arange(len(readings)) == 7)
