"""Laws that hold for every file in designs/."""

from math import pi
from pathlib import Path

import numpy as np
import pytest
import shapely

import pcbstator
from pcbstator.analysis.electrical.conductors import phase_angle
from pcbstator.analysis.magnetic.losses import loss_factors, working_point
from pcbstator.analysis.magnetic.rotor_field import rotor_field
from pcbstator.analysis.magnetic.waveforms import linkage_slopes, sine_torque
from pcbstator.design import design_from_document
from tests.shipped import shipped

DESIGNS = sorted((Path(__file__).parents[2] / "designs").glob("*.toml"))
LENGTHS = ("_mm", "_um")


def laid(path):
    return shipped(path.stem)


every_design = pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)


@every_design
def test_no_error_finding(path):
    assert [finding for finding in laid(path)[2].findings if finding.severity == "error"] == []


@every_design
def test_torque_constant_is_power_per_speed(path):
    """Torque constant = phases/2 × EMF constant (energy: EMF times current is torque times speed)."""
    prediction = laid(path)[2]
    magnetic = prediction.magnetic
    assert magnetic.torque_constant == pytest.approx(prediction.winding.phases / 2 * magnetic.emf_constant, rel=1e-12)


@every_design
def test_phases_are_equal_and_follow_each_other(path):
    """B follows A for positive rotation. Links differ from phase to phase: 0.5 % of psi, and of the resistance as much
    as passes without a finding, 2 % (links are a large part of the few turns of a two-layer board)."""
    linkages = laid(path)[2].magnetic.linkages[:, 0]
    for index, value in enumerate(linkages):
        assert value == pytest.approx(linkages[0] * np.exp(1j * phase_angle(index, len(linkages))), rel=5e-3)
    resistances = laid(path)[2].electrical.phase_resistances
    assert max(resistances) == pytest.approx(min(resistances), rel=2e-2)


def scaled(document, factor):
    """Every length of a document times a factor."""
    if isinstance(document, dict):
        return {
            key: scaled(value, factor)
            if isinstance(value, dict)
            else value * factor
            if key.endswith(LENGTHS)
            else value
            for key, value in document.items()
        }
    return document


@every_design
def test_scaling_all_lengths(path):
    """Twice the size: half the resistance, four times the flux, twice the inductance, eight times the mass.

    The straight pieces of arcs do not scale: they keep within 2 um, which the turns make room for, so the turns lie up
    to 0.5 % of their pitch elsewhere. Hence 3e-3.
    """
    design = laid(path)[0]
    document = design.document
    document.pop("build", None)
    document["board"]["rules"] = "1oz-standard"
    document["board"] |= {"via_plating_um": 20.0, "terminal_drill_mm": 1.0, "terminal_pad_mm": 1.6}
    small = pcbstator.predict(design_from_document(document))
    large = pcbstator.predict(design_from_document(scaled(document, 2.0)))
    assert large.electrical.phase_resistance == pytest.approx(small.electrical.phase_resistance / 2, rel=3e-3)
    assert large.magnetic.gap_field_peak == pytest.approx(small.magnetic.gap_field_peak, rel=1e-6)
    assert large.magnetic.flux_linkage_peak == pytest.approx(4 * small.magnetic.flux_linkage_peak, rel=3e-3)
    assert large.copper.mass == pytest.approx(8 * small.copper.mass, rel=3e-3)
    # The grid of the inductance is not scaled exactly either.
    assert large.electrical.phase_inductance == pytest.approx(2 * small.electrical.phase_inductance, rel=5e-3)
    assert large.mechanical.rotor_inertia == pytest.approx(32 * small.mechanical.rotor_inertia, rel=1e-9)


@every_design
def test_inductance_matrix_is_symmetric_and_positive(path):
    matrix = np.array(laid(path)[2].electrical.inductance_matrix)
    assert np.allclose(matrix, matrix.T, rtol=1e-12)
    assert np.linalg.eigvalsh(matrix)[0] > 0


@every_design
@pytest.mark.parametrize("speed_rpm", [60.0, 3000.0])
def test_power_in_is_power_out_and_losses(path, speed_rpm):
    """Terminal power (EMF + R·i)·i, sampled over a turn, is shaft power plus copper loss; eddies are the shaft's."""
    design, copper, prediction = laid(path)
    field = rotor_field(design)
    factors = loss_factors(design, copper, field, 20.0)
    magnetic, phases = prediction.magnetic, prediction.winding.phases
    speed, current = speed_rpm * pi / 30, 0.4
    point = working_point(factors, phases, magnetic.torque_constant, speed, current)
    assert point["electrical_w"] == pytest.approx(point["shaft_w"] + point["total_w"], rel=1e-12)
    angles = np.linspace(0, 2 * pi, 720, endpoint=False)
    start = np.angle(magnetic.linkages[0, 0])
    lags = np.array([phase_angle(index, phases) for index in range(phases)])
    currents = -current * np.sin(angles - start - lags[:, None])
    emf = speed * linkage_slopes(magnetic.linkages, field.orders, field.pole_pairs, angles)
    terminal = ((emf + factors.resistance * currents) * currents).sum(axis=0).mean()
    assert terminal == pytest.approx(point["electrical_w"], rel=2e-3)  # links make the phases differ by that much
    torque = current * sine_torque(magnetic.linkages, field.orders, field.pole_pairs, angles)
    assert (torque * speed).mean() + point["copper_w"] == pytest.approx(terminal, rel=1e-9)


@every_design
def test_copper_of_a_net_is_one_piece_and_nets_do_not_touch(path):
    """Shapes of all layers joined by the holes through them."""
    _, copper, _ = laid(path)
    pieces, owners = [], []
    for layer in copper.layers:
        shapes = [shapely.LineString(t.points).buffer(t.width / 2, 4) for t in copper.tracks if t.layer == layer.number]
        shapes += [shapely.Point(hole.x, hole.y).buffer(hole.pad / 2, 8) for hole in copper.holes]
        parts = shapely.get_parts(shapely.union_all(shapes))
        pieces += list(parts)
        owners += [layer.number] * len(parts)
    tree = shapely.STRtree(pieces)
    parent = list(range(len(pieces)))

    def root(i):
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    nets: dict[int, set[str]] = {}
    for hole in copper.holes:
        touched = tree.query(shapely.Point(hole.x, hole.y), "intersects")
        assert len(touched) == len(copper.layers)
        for other in touched[1:]:
            parent[root(int(touched[0]))] = root(int(other))
    for hole in copper.holes:
        place = tree.query(shapely.Point(hole.x, hole.y), "intersects")[0]
        nets.setdefault(root(int(place)), set()).add(hole.net)
    assert len({root(i) for i in range(len(pieces))}) == len({hole.net for hole in copper.holes})
    assert all(len(names) == 1 for names in nets.values())
