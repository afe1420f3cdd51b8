"""Benchmarks, never part of a test run: python -m pytest tests/benchmarks --benchmark-only -o addopts="""

import json
import os
import resource
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.electrical.inductance import inductance_matrix
from pcbstator.analysis.magnetic.rotor_field import path_linkages, rotor_field
from pcbstator.analysis.pipeline import predict_design
from pcbstator.check.mechanical_features import feature_findings
from pcbstator.output.fabrication.package import package_files

STAGE = Path(__file__).parents[2] / "designs" / "photogrammetry-stage.toml"


@pytest.fixture(scope="module")
def stage():
    return pcbstator.load_design(STAGE)


def test_predict_as_a_process(benchmark):
    def run():
        done = subprocess.run([sys.executable, "-m", "pcbstator", "predict", str(STAGE), "--json"], capture_output=True)
        return json.loads(done.stdout)

    assert benchmark(run)["title"]
    benchmark.extra_info["peak_mb"] = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def test_predict_warm(benchmark, stage):
    benchmark(predict_design, stage)


def test_copper(benchmark, stage):
    benchmark(pcbstator.lay_copper, stage)


def test_rotor_field(benchmark, stage):
    benchmark(rotor_field, stage)


def test_rotor_in_all(benchmark, stage):
    """Steel, field and forces of a rotor that no other design has."""
    from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, rotor_iron
    from pcbstator.analysis.mechanical.rotor import mechanical_results

    def rotor():
        iron = rotor_iron(stage)
        return rotor_field(stage, iron), mechanical_results(stage, magnet_footprint(stage), iron)

    benchmark(rotor)


def test_linkage_of_a_further_winding(benchmark, stage):
    copper, field = pcbstator.lay_copper(stage), rotor_field(stage)
    benchmark(path_linkages, copper, field)


def test_steady_heat(benchmark, stage):
    """What a search over designs pays for the continuous current."""
    from pcbstator.analysis.electrical.trace_ratings import trace_currents
    from pcbstator.analysis.thermal.board_network import board_heat
    from pcbstator.analysis.thermal.heat_state import heat_state

    conductors = conductors_of(stage, pcbstator.lay_copper(stage))
    benchmark(lambda: heat_state(board_heat(stage, conductors), trace_currents(stage, conductors, 20.0)))


def test_steady_heat_of_sixteen_designs(benchmark, stage):
    """The same at once."""
    from pcbstator.analysis.electrical.trace_ratings import trace_currents
    from pcbstator.analysis.thermal.board_network import board_heat
    from pcbstator.analysis.thermal.current_limits import SteadyWork, steady_results

    designs = [stage.with_values({"rotor.air_gap_mm": 0.8 + 0.02 * i}) for i in range(16)]
    copper = pcbstator.lay_copper(stage)
    traces = trace_currents(stage, conductors_of(stage, copper), 20.0)

    def heat():
        return steady_results(
            [SteadyWork(each, board_heat(each, conductors_of(each, copper)), traces, 3, 0.1) for each in designs]
        )

    benchmark(heat)


def test_all_of_heat(benchmark, stage):
    from pcbstator.analysis.electrical.conductors import conductors_of
    from pcbstator.analysis.electrical.trace_ratings import trace_currents
    from pcbstator.analysis.thermal.board_network import board_heat
    from pcbstator.analysis.thermal.current_limits import SteadyWork, steady_results, with_pulses

    conductors = conductors_of(stage, pcbstator.lay_copper(stage))

    def heat():
        work = SteadyWork(stage, board_heat(stage, conductors), trace_currents(stage, conductors, 20.0), 3)
        return with_pulses(stage, steady_results([work], onsets=True)[0])

    benchmark(heat)


def test_make(benchmark, stage):
    copper = pcbstator.lay_copper(stage)
    prediction = pcbstator.predict(stage, copper)
    benchmark(package_files, stage, copper, prediction)


BIG = {
    "winding.coils": 60,
    "winding.turns": 12,
    "rotor.poles": 80,
    "board.copper_inner_diameter_mm": 240.0,
    "board.copper_outer_diameter_mm": 320.0,
    "rotor.magnet.inner_diameter_mm": 250.0,
    "rotor.magnet.outer_diameter_mm": 310.0,
    "envelope.bore_diameter_mm": 100.0,
    "envelope.outer_diameter_mm": 400.0,
}


@pytest.mark.parametrize("layers", [4, 8, 16])
def test_predict_sixty_coils(benchmark, stage, layers):
    design = stage.with_values(BIG | {"board.layers": layers})
    benchmark.pedantic(pcbstator.predict, (design,), rounds=2)
    benchmark.extra_info["peak_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def test_inductance(benchmark, stage):
    copper = pcbstator.lay_copper(stage)
    benchmark(inductance_matrix, stage, copper)


@pytest.mark.parametrize("changes", [{"board.layers": 2}, {}, {"board.layers": 8}, {"winding.turns": 5}], ids=str)
def test_inductance_growth(benchmark, stage, changes):
    design = stage.with_values({"winding.turns": 10} | changes)
    copper = pcbstator.lay_copper(design)
    benchmark(inductance_matrix, design, copper)


def test_linkage_side_by_side(stage):
    """A cold linkage of a whole phase against the library's field summed along the same centre-lines, 48 angles.

    The library is timed at one rotor angle on a part of the points; its cost is the same for all.
    """
    import time

    import magpylib

    design = stage.with_values({"rotor.back_iron_mm": 0.0, "rotor.magnet.recoil_permeability": 1.0})
    copper = pcbstator.lay_copper(design)
    begin = time.perf_counter()
    field = rotor_field(design)
    path_linkages(copper, field)
    ours = time.perf_counter() - begin

    magnet, poles = design.rotor.magnet, design.rotor.poles
    half = np.degrees(magnet.arc_ratio * np.pi / poles)
    ring = magpylib.Collection(*(
        magpylib.magnet.CylinderSegment(
            polarization=(0, 0, magnet.remanence * (-1) ** (pole + 1)),
            dimension=(
                magnet.inner_diameter / 2, magnet.outer_diameter / 2, magnet.thickness,
                360 * pole / poles - half, 360 * pole / poles + half,
            ),
            position=(0, 0, design.rotor.air_gap + magnet.thickness / 2),
        )
        for pole in range(poles)
    ))  # fmt: skip
    coils = sum(1 for name in copper.coil_phases if name == "A")
    vertices = coils * sum(len(track.points) for track in copper.coil.tracks)
    sample = np.column_stack([copper.coil.tracks[0].points[:200], np.zeros(200)])
    begin = time.perf_counter()
    ring.getB(sample)
    library = (time.perf_counter() - begin) / 200 * vertices * 48
    print(f"\ncold linkage {1e3 * ours:.1f} ms, library {library:.0f} s for 48 angles: {library / ours:.0f} times")


def test_obstacles_on_a_large_board(benchmark):
    """60 coils on 16 layers, 750 000 vertices, with screws, ears and a thermistor."""
    ring = {"copper_inner_diameter_mm": 180.0, "copper_outer_diameter_mm": 260.0, "outer_diameter_mm": 280.0}
    design = pcbstator.load_design(STAGE).with_values(
        {f"board.{key}": value for key, value in ring.items()}
        | {
            "envelope": None, "winding.coils": 60, "rotor.poles": 50, "board.layers": 16, "board.thickness_mm": 3.2,
            "rotor.magnet.inner_diameter_mm": 190.0, "rotor.magnet.outer_diameter_mm": 250.0,
            "board.track_width_mm": 0.25, "board.track_gap_mm": 0.15, "board.via_drill_mm": 0.4,
            "board.via_pad_mm": 0.8, "board.holes": [{"diameter_mm": 3.2, "circle_diameter_mm": 269.0, "count": 24}],
            "board.tabs": [{"width_mm": 10.0, "reach_mm": 10.0, "count": 6}],
        }
    )  # fmt: skip
    copper = pcbstator.lay_copper(design)
    assert not benchmark(feature_findings, design, copper)


def test_ten_seconds_of_a_move_at_ten_kilohertz(benchmark, stage):
    """Asked for: under 5 s on one core."""
    from pcbstator.analysis.drive.simulation.scenarios import run_up
    from pcbstator.analysis.drive.simulation.stand import stand_of
    from pcbstator.physics.drive.simulation import simulated

    design = stage.with_values({"drive.control_khz": 10.0})
    stand, _ = stand_of(design, pcbstator.predict(design))
    reference = run_up(0.5, 0.0, 9.5, stand)
    assert len(reference[0]) == 100_000
    run = benchmark.pedantic(
        simulated, (stand.plant, stand.control, stand.sensor, reference, None, stand.substeps, 25), rounds=3
    )
    assert run.balance < 1e-3


def test_first_simulation_after_an_installation(benchmark, tmp_path):
    """A process that compiles the steps of time: once on every machine."""
    script = (
        "from pcbstator.physics.drive.plant import PlantValues; "
        "from pcbstator.physics.drive.simulation import ControlValues, SensorValues, simulated; "
        "control = ControlValues(1e-4, (0.6, 600.0), 0.02, 0.0, 20.0, 800.0, 5.0, 12.0, torque_constant=0.06); "
        "still = ([0.0] * 10,) * 3; "
        "simulated(PlantValues(3, 4.0, 1.0, 1e-3, (4j * 0.01,) * 16, 1e-4), control, SensorValues(1e-6), still)"
    )
    environment = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}

    def first():
        subprocess.run([sys.executable, "-c", script], env=environment, check=True)

    benchmark.pedantic(first, rounds=1)


def test_ten_seconds_with_a_coupling(benchmark, stage):
    from pcbstator.analysis.drive.simulation.scenarios import run_up
    from pcbstator.analysis.drive.simulation.stand import stand_of
    from pcbstator.physics.drive.simulation import simulated

    design = stage.with_values({"drive.control_khz": 10.0, "load.play_deg": 0.1, "load.coupling_n_m_per_rad": 200.0})
    stand, _ = stand_of(design, pcbstator.predict(design))
    reference = run_up(0.5, 0.0, 9.5, stand)
    benchmark.extra_info["substeps"] = stand.substeps
    benchmark.pedantic(
        simulated, (stand.plant, stand.control, stand.sensor, reference, None, stand.substeps, 25), rounds=2
    )


def test_simulate_all_scenarios(benchmark, stage):
    prediction = pcbstator.predict(stage)
    benchmark.pedantic(pcbstator.simulate, (stage, (), prediction), rounds=2)


def test_make_sixteen_layers_sixty_coils(benchmark, stage, tmp_path):
    """The largest machine that is promised: under 60 s and 1.5 GB as a process of its own."""
    sizes = {"board.layers": 16, "board.thickness_mm": 3.2, "board.via_drill_mm": 0.4, "board.via_pad_mm": 0.8}
    document = stage.with_values(BIG | sizes | {"envelope": None}).document
    script = (
        "import json, sys, pcbstator; from pcbstator.output.fabrication.package import package_files; "
        "from pcbstator.output.files import write_folder; from pathlib import Path; "
        "design = pcbstator.design.design_from_document(json.loads(sys.stdin.read()), 'large.toml'); "
        "copper = pcbstator.lay_copper(design); "
        "write_folder(Path(sys.argv[1]), package_files(design, copper, pcbstator.predict(design, copper)))"
    )

    def make():
        command = [sys.executable, "-c", script, str(tmp_path / "made")]
        subprocess.run(command, input=json.dumps(document), text=True, check=True)

    benchmark.pedantic(make, rounds=1)
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    benchmark.extra_info["peak_mb"] = peak
    assert peak < 1500
