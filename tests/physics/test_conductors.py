"""Resistance laws against printed and closed-form values (tests/published/conductors.toml)."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import (
    conductor_resistivity,
    copper_mass,
    path_network,
    tapered_track_resistance,
    track_resistance,
    via_resistance,
)

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "conductors.toml").read_text())
MM, UM, MOHM = 1e-3, 1e-6, 1e-3


def test_resistivity_is_the_standard_one():
    standard = PUBLISHED["iec_60028"]
    assert conductor_resistivity(20.0) == pytest.approx(standard["resistivity_ohm_m"], rel=1e-12)
    slope = (conductor_resistivity(70.0) - conductor_resistivity(20.0)) / 50.0 / conductor_resistivity(20.0)
    assert slope == pytest.approx(standard["temperature_coefficient_per_k"], rel=1e-9)
    assert copper_mass(2.0) == pytest.approx(2 * standard["density_kg_per_m3"], rel=1e-12)


@pytest.mark.parametrize("case", PUBLISHED["strip"]["cases"])
def test_strip(case):
    strip = PUBLISHED["strip"]
    got = track_resistance(
        strip["length_mm"] * MM, strip["width_mm"] * MM, strip["thickness_um"] * UM, case["temperature_c"]
    )
    assert got == pytest.approx(case["resistance_mohm"] * MOHM, rel=1.1e-4)  # four digits printed


@pytest.mark.parametrize("case", PUBLISHED["sheet"]["cases"])
def test_sheet_resistance(case):
    got = track_resistance(1.0, 1.0, case["thickness_um"] * UM)
    assert got == pytest.approx(case["mohm_per_square"] * MOHM, rel=3e-4)  # three to four digits printed


def test_thin_inner_layer_costs_what_the_source_says():
    by_ounce = {case["ounces"]: case for case in PUBLISHED["ipc_6012"]["cases"]}
    thin = track_resistance(0.1, 1e-3, by_ounce[1.0]["internal_um"] * UM)
    increase = thin / track_resistance(0.1, 1e-3, 35 * UM) - 1
    assert increase == pytest.approx(PUBLISHED["ipc_6012"]["internal_1oz_resistance_increase"], rel=0.02)  # 2 digits


def test_via():
    via = PUBLISHED["via"]
    got = via_resistance(via["drill_mm"] * MM, via["plating_um"] * UM, via["length_mm"] * MM)
    assert got == pytest.approx(via["resistance_mohm"] * MOHM, rel=3.2e-4)  # four digits printed


def test_solid_via_is_a_rod():
    rod = conductor_resistivity(20.0) * 1e-3 / (np.pi / 4 * (0.3e-3) ** 2)  # closed form
    assert via_resistance(0.3e-3, 0.15e-3, 1e-3) == pytest.approx(rod, rel=1e-12)


@pytest.mark.parametrize(("start", "end"), [(1.0, 2.0), (2.0, 0.3), (0.5, 0.5), (0.5, 0.5 * (1 + 1e-8))])
def test_taper_against_quadrature(start, end):
    slices, _ = quad(lambda x: 1.0 / (start + (end - start) * x), 0.0, 1.0, epsabs=0, epsrel=1e-12)  # second method
    expected = float(conductor_resistivity(60.0)) * 7e-3 / 35e-6 * slices / MM
    got = tapered_track_resistance(7e-3, start * MM, end * MM, 35e-6, 60.0)
    assert got == pytest.approx(expected, rel=1e-9)
    assert got == pytest.approx(tapered_track_resistance(7e-3, end * MM, start * MM, 35e-6, 60.0), rel=1e-9)


def test_scaling_all_lengths_divides_resistance():
    small, large = (track_resistance(k * 1e-2, k * 1e-3, k * 35e-6) for k in (1.0, 3.0))
    assert large == pytest.approx(small / 3.0, rel=1e-12)


def test_tracks_broadcast():
    got = track_resistance([0.1, 0.2, 0.0], [1e-3, 2e-3, 1e-3], 35e-6)
    assert got == pytest.approx([got[0], got[0], 0.0], rel=1e-12)


def one_phase(matrix):
    """Resistance of parallel paths and their shares."""
    found = path_network(matrix, np.zeros(len(matrix), dtype=int))
    return found.resistance[0, 0], found.shares[0]


def test_paths_with_nothing_in_common_are_plainly_parallel():
    resistance, shares = one_phase(np.diag([1.0, 2.0, 4.0]))
    assert resistance == pytest.approx(1 / (1 + 0.5 + 0.25), rel=1e-12)  # closed form
    assert shares == pytest.approx(np.array([4, 2, 1]) / 7, rel=1e-12)


def test_common_lead_in_series_with_parallel_branches():
    lead, branches = 0.5, np.array([1.0, 3.0])
    resistance, shares = one_phase(np.diag(branches) + lead)
    assert resistance == pytest.approx(lead + 0.75, rel=1e-12)  # closed form: 0.5 + 1 || 3
    assert shares == pytest.approx([0.75, 0.25], rel=1e-12)


def test_ladder_of_shared_pieces_against_nodal_analysis():
    """Three branches tapped along a common bus, against node voltages (second method)."""
    bus, branch = (0.2, 0.3), (1.0, 1.5, 0.7)
    common = np.array([[0, 0, 0], [0, bus[0], bus[0]], [0, bus[0], bus[0] + bus[1]]])
    resistance, shares = one_phase(np.diag(branch) + common)
    g, h = 1 / np.array(branch), 1 / np.array(bus)
    nodes = np.array(
        [
            [g[0] + h[0], -h[0], 0],
            [-h[0], g[1] + h[0] + h[1], -h[1]],
            [0, -h[1], g[2] + h[1]],
        ]
    )
    voltages = np.linalg.solve(nodes, [1.0, 0.0, 0.0])
    assert resistance == pytest.approx(voltages[0], rel=1e-12)
    assert shares == pytest.approx(voltages * g, rel=1e-12)
    assert shares @ (np.diag(branch) + common) @ shares == pytest.approx(resistance, rel=1e-12)  # power


def nodal_drops(nodes, pieces, injected):
    """Node voltages of a network of resistors (second method): pieces: (from, to, ohm); node 0 is at 0 V."""
    matrix = np.zeros((nodes, nodes))
    for a, b, ohm in pieces:
        matrix[[a, b], [a, b]] += 1 / ohm
        matrix[[a, b], [b, a]] -= 1 / ohm
    voltages = np.zeros(nodes)
    voltages[1:] = np.linalg.solve(matrix[1:, 1:], np.asarray(injected, dtype=float)[1:])
    return voltages


def test_phases_that_share_a_bus_to_the_star_point_against_nodal_analysis():
    """Two paths each of phases A and B, tapped in turn along a bus that ends at the star point, node 0.

    Nodes: 0 star point, 1 to 3 along the bus, 4 terminal A, 5 terminal B. Bus 0-1-2-3 with A at 1 and 3, B at 2 and 3.
    """
    bus, branch = [0.3, 0.2, 0.25], {"A1": 1.0, "A3": 1.3, "B2": 0.9, "B3": 1.7}
    pieces = [(0, 1, bus[0]), (1, 2, bus[1]), (2, 3, bus[2]), (4, 1, 1.0), (4, 3, 1.3), (5, 2, 0.9), (5, 3, 1.7)]
    along = np.array([[1, 0, 0], [1, 1, 1], [1, 1, 0], [1, 1, 1]], dtype=float)
    network = path_network(np.diag(list(branch.values())) + (along * bus) @ along.T, [0, 0, 1, 1])
    for phase, node in enumerate((4, 5)):
        injected = np.zeros(6)
        injected[node] = 1.0
        voltage = nodal_drops(6, pieces, injected)
        assert network.resistance[:, phase] == pytest.approx(voltage[[4, 5]], rel=1e-12)
        current = [(voltage[a] - voltage[b]) / ohm for a, b, ohm in pieces[3:]]
        assert network.shares[phase] == pytest.approx(current, rel=1e-12)


@pytest.mark.parametrize(
    "call",
    [
        lambda: track_resistance(0.1, 0.0, 35e-6),
        lambda: track_resistance(-0.1, 1e-3, 35e-6),
        lambda: track_resistance(0.1, 1e-3, np.nan),
        lambda: tapered_track_resistance(0.1, 1e-3, -1e-3, 35e-6),
        lambda: via_resistance(0.3e-3, 0.2e-3, 1.6e-3),
        lambda: conductor_resistivity(400.0),
        lambda: copper_mass(-1.0),
        lambda: path_network([[1.0, 0.5], [0.4, 1.0]], [0, 0]),
        lambda: path_network([[1.0, 1.0], [1.0, 1.0]], [0, 1]),
        lambda: path_network([[0.0]], [0]),
    ],
)
def test_outside_the_range(call):
    with pytest.raises(LawRangeError):
        call()
