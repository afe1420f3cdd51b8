"""Spread of the built motor, one cause at a time against what it must do."""

import pytest

import pcbstator
from pcbstator.copper import lay_copper

STILL = {
    "remanence_percent": 0.0, "air_gap_mm": 0.0, "track_width_um": 0.0,
    "outer_copper_um": [35.0, 35.0], "inner_copper_um": [35.0, 35.0],
}  # fmt: skip
ALL = ("phase_resistance_ohm", "flux_linkage_peak_wb", "torque_constant_n_m_per_a", "synchronous_inductance_h")


def spread(design, **ranges):
    return pcbstator.predict(design.with_values({"tolerance": STILL | ranges})).tolerance


def parts(entry):
    return entry["low_5_percent"] / entry["nominal"], entry["high_95_percent"] / entry["nominal"]


def test_nothing_varies(small):
    for key, entry in spread(small).items():
        assert key in ALL
        assert parts(entry) == pytest.approx((1, 1), rel=1e-9)


def test_without_the_section_it_is_left_out(small):
    assert "tolerance" not in pcbstator.predict(small).to_dict()


def test_remanence_moves_flux_and_torque_alone(small):
    """The stated range holds 90 %, so 5 % and 95 % are its ends; 20 000 draws know them to 1 % of the range."""
    result = spread(small, remanence_percent=3.0)
    for key in ("flux_linkage_peak_wb", "torque_constant_n_m_per_a"):
        assert parts(result[key]) == pytest.approx((0.97, 1.03), abs=1e-3)
    assert parts(result["phase_resistance_ohm"]) == pytest.approx((1, 1), rel=1e-9)


def test_etching_moves_resistance(small):
    """A track of 500 um ± 20 um: R between 500/520 and 500/480 but for the vias."""
    low, high = parts(spread(small, track_width_um=20.0)["phase_resistance_ohm"])
    assert (low, high) == pytest.approx((500 / 520, 500 / 480), abs=2e-3)


def test_copper_moves_resistance(small):
    result = spread(small, outer_copper_um=[30.0, 40.0])["phase_resistance_ohm"]
    assert parts(result) == pytest.approx((35 / 40, 35 / 30), abs=4e-3)


def test_gap_against_whole_predictions(small):
    """psi falls with the gap: the ends of the range as computed afresh."""
    result = spread(small, air_gap_mm=0.2)["flux_linkage_peak_wb"]
    for gap, key in ((1.2, "low_5_percent"), (0.8, "high_95_percent")):
        afresh = pcbstator.predict(small.with_values({"rotor.air_gap_mm": gap})).magnetic.flux_linkage_peak
        assert result[key] == pytest.approx(afresh, rel=3e-3)


def test_inductance_against_whole_predictions(small):
    """Wider tracks lower the inductance a little; as computed on copper laid with another gap between its tracks."""
    from dataclasses import replace

    from pcbstator.analysis.electrical.conductors import conductors_of
    from pcbstator.analysis.electrical.inductance import inductance_matrix, synchronous_inductance

    result = spread(small, track_width_um=50.0)["synchronous_inductance_h"]
    copper = lay_copper(small)
    for width, key in ((0.55e-3, "low_5_percent"), (0.45e-3, "high_95_percent")):
        tracks = tuple(replace(track, width=width) for track in copper.coil.tracks)
        drawn = conductors_of(small, replace(copper, coil=replace(copper.coil, tracks=tracks)))
        afresh = synchronous_inductance(inductance_matrix(small, drawn))
        assert result[key] == pytest.approx(afresh, rel=5e-3)


def test_the_same_every_time(small):
    assert spread(small, remanence_percent=3.0) == spread(small, remanence_percent=3.0)
