"""Benchmarks, never part of a test run: python -m pytest tests/bench --benchmark-only -o addopts="""

import json
import resource
import subprocess
import sys
from pathlib import Path

import pytest

import pcbstator
from pcbstator.output.package import package_files
from pcbstator.predict.magnetics import path_linkages, rotor_field
from pcbstator.predict.run import predict_design

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


def test_linkage_of_a_further_winding(benchmark, stage):
    copper, field = pcbstator.lay_copper(stage), rotor_field(stage)
    benchmark(path_linkages, copper, field)


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
