"""Readings of an evening at the bench, and such as were not what was written: what the meter showed is the prediction
of what it was really held to."""

import copy
from math import sqrt

from pcbstator.bench.load import bench_from_tables

PAIRS = (["A", "B"], ["B", "C"], ["C", "A"])
SIZES = {"peak": "peak_v", "peak_to_peak": "peak_to_peak_v", "rms": "rms_v"}
SLIPS = ("rms_for_peak", "rms_for_peak_to_peak", "peak_to_peak_for_peak", "peak_for_peak_to_peak", "peak_for_rms",
         "peak_to_peak_for_rms")  # fmt: skip


def evening(gap_mm, magnet_mm, board_mm, friction, speed_rpm=120.0):
    """What an evening at the bench gives, as tables; the values are those of no motor. friction: of the bearing, known.

    Without a friction in the design there is nothing that a current at no load could be held against.
    """
    tables = {
        "resistance": [{"between": pair, "ohm": 1.0, "copper_c": 22.0} for pair in PAIRS],
        "inductance": [{"between": pair, "henry": 1e-4, "frequency_khz": 1.0} for pair in PAIRS],
        "emf": [{"between": pair, "peak_v": 1.0, "frequency_hz": 24.0} for pair in PAIRS]
        + [{"between": pair, "peak_to_peak_v": 1.0, "frequency_hz": 36.0} for pair in PAIRS]
        + [{"between": PAIRS[0], "rms_v": 1.0, "speed_rpm": speed_rpm}],
        "static_torque": [{"between": PAIRS[0], "current_a": 0.3, "lever_mm": 100.0, "newton": 1.0}],
        "gap": [{"mm": gap_mm}],
        "thickness": [{"of": "magnet", "mm": magnet_mm}, {"of": "board", "mm": board_mm}],
    }
    if friction:
        tables["no_load"] = [{"speed_rpm": rpm, "terminal_peak_a": 0.1} for rpm in (60.0, 240.0)]
    return tables


def readings_of(tables):
    return bench_from_tables(tables).readings


def slips(tables, pole_pairs):
    """Name of the slip, and the tables of what was really measured."""
    for name in SLIPS:
        meant, written = name.split("_for_")
        yield name, _waves(tables, lambda each, w=written: SIZES[w] in each, lambda each, m=meant, w=written: each | {
            SIZES[w]: None, SIZES[m]: 1.0})  # fmt: skip
    yield "mechanical_frequency", _waves(tables, lambda each: "frequency_hz" in each, lambda each: each | {
        "frequency_hz": each["frequency_hz"] * pole_pairs})  # fmt: skip
    yield "electrical_speed", _waves(tables, lambda each: "speed_rpm" in each, lambda each: each | {
        "speed_rpm": each["speed_rpm"] / pole_pairs})  # fmt: skip
    yield "poles_miscounted", _waves(tables, lambda each: "speed_rpm" in each, lambda each: each | {
        "speed_rpm": each["speed_rpm"] * 2})  # fmt: skip
    for kind in ("resistance", "inductance", "emf"):
        yield "to_star_point", tables | {kind: [each | {"between": [each["between"][0], "N"]} for each in tables[kind]]}


def _waves(tables, chosen, change):
    changed = [change(each) if chosen(each) else each for each in copy.deepcopy(tables["emf"])]
    return tables | {"emf": [{k: v for k, v in each.items() if v is not None} for each in changed]}


LEADS_OHM, ONE_WRONG = 0.3, (1.6, 1 / sqrt(3))  # resistance of two usual leads; factors of a reading that is wrong
