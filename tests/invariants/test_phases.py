"""What the phases of every file in designs/ owe to each other, to their coils, and to the way the coils are joined."""

from functools import cache
from math import pi
from pathlib import Path

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.magnetic.rotor_field import path_linkages, phase_linkages, rotor_field
from pcbstator.copper import CoilVisit
from pcbstator.physics.magnetics.linkage import LinkedTrack, tracks_linkage_harmonics
from pcbstator.winding import lay_winding, pitch_factor

DESIGNS = sorted((Path(__file__).parents[2] / "designs").glob("*.toml"))
every_design = pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)


@cache
def laid(path):
    """Design, copper and field, for star-connected phases of odd number as all the files have."""
    design = pcbstator.load_design(path)
    return design, pcbstator.lay_copper(design), rotor_field(design)


def is_coil(step):
    return isinstance(step, CoilVisit)


def linkages_of(copper, field, phase, wanted):
    """Harmonics of all drawn tracks of a phase, one by one, coils at their own places; ``wanted`` picks the steps."""
    tracks = []
    for path in phase.paths:
        for step in filter(wanted, path.steps):
            drawn = copper.placed_coil(step.coil, step.forward) if isinstance(step, CoilVisit) else [step]
            share = 1 / len(phase.paths)
            tracks += [LinkedTrack(track.points, track.width, track.layer - 1, share) for track in drawn]
    return tracks_linkage_harmonics(tracks, field)


@every_design
def test_prediction_is_the_sum_of_all_drawn_tracks(path):
    """The one coil turned to its places gives what every coil where it is drawn gives."""
    design, copper, field = laid(path)
    predicted = phase_linkages(conductors_of(design, copper), path_linkages(copper, field))
    for phase, linkage in zip(copper.phases, predicted, strict=True):
        summed = linkages_of(copper, field, phase, lambda step: True)
        assert np.abs(summed - linkage).max() < 1e-9 * np.abs(linkage[0])


@every_design
def test_coils_of_the_phases_differ_by_the_phase_angle_only(path):
    """psi_B lags psi_A by 120 electrical degrees for positive rotation, every harmonic by its multiple; to rounding."""
    _, copper, field = laid(path)
    coils = [linkages_of(copper, field, phase, is_coil) for phase in copper.phases]
    for index, linkage in enumerate(coils):
        turned = coils[0] * np.exp(1j * field.orders * index * 2 * pi / len(coils))
        assert np.abs(linkage - turned).max() < 1e-9 * np.abs(coils[0][0])


@every_design
def test_links_change_the_phases_by_a_thousandth(path):
    design, copper, field = laid(path)
    whole = phase_linkages(conductors_of(design, copper), path_linkages(copper, field))[:, 0]
    turned = whole * np.exp(-2j * pi * np.arange(len(whole)) / len(whole))
    assert np.abs(turned - turned.mean()).max() < 1e-3 * abs(turned.mean())


@every_design
def test_magnet_on_the_first_coil_points_down(path):
    """At rotor angle 0 the magnet on +x points down into coil 0, a counter-clockwise coil: negative linkage."""
    _, copper, field = laid(path)
    tracks = [LinkedTrack(track.points, track.width, track.layer - 1) for track in copper.coil.tracks]
    linkage = tracks_linkage_harmonics(tracks, field)[0]
    assert linkage.real < 0
    assert abs(linkage.imag) < 0.02 * abs(linkage.real)


@every_design
def test_parallel_paths_divide_linkage_and_resistance(path):
    """In a paths the coils give N·k_d/a times one coil's linkage and N/a² times its resistance; N coils per phase.

    More paths need more links and so more of the rim, hence each stator against its own coil. Links add to the
    resistance, at most all of them in series.
    """
    design, _, field = laid(path)
    winding = lay_winding(design)
    number = winding.coils // winding.phases
    distribution = winding.factor / pitch_factor(winding.coils, winding.poles)
    for count in winding.path_counts:
        copper = pcbstator.lay_copper(design.with_values({"winding.parallel_paths": count, "winding.turns": 6}))
        template = [LinkedTrack(track.points, track.width, track.layer - 1) for track in copper.coil.tracks]
        one = abs(tracks_linkage_harmonics(template, field)[0])
        conductors = conductors_of(design, copper)
        interconnects = sum(conductors.track(interconnect) for interconnect in copper.interconnects)
        holes = len(copper.vias) * conductors.barrel(1, len(copper.layers))
        for phase, resistance in zip(copper.phases, conductors.phase_resistances, strict=True):
            coils = linkages_of(copper, field, phase, is_coil)[0]
            assert abs(coils) == pytest.approx(number * distribution / count * one, rel=1e-9)
            assert 0 < resistance - number / count**2 * conductors.coil(0) < interconnects + holes


@every_design
def test_resistance_of_a_phase_is_its_coils_and_a_little(path):
    design, copper, _ = laid(path)
    conductors = conductors_of(design, copper)
    series = len(copper.coil_angles) // len(copper.phases)
    for resistance in conductors.phase_resistances:
        assert 1.0 < resistance / (series * conductors.coil(0)) < 1.1


@every_design
def test_twice_the_copper_has_half_the_resistance(path):
    """Thickness of the foil only, so all but the vias, which are a hundredth of the whole."""
    design, _, _ = laid(path)
    board = design.board
    foils = {"board.outer_copper_um": 2e6 * board.outer_copper, "board.inner_copper_um": 2e6 * board.inner_copper}
    thin, thick = (
        conductors_of(each, pcbstator.lay_copper(each)).coil(0) for each in (design, design.with_values(foils))
    )
    assert thin / thick == pytest.approx(2.0, rel=0.02)


def force_torque(field, tracks, angle):
    """Torque on the rotor per ampere through ``tracks`` [N·m/A]: the opposite of r × (dl × B) on every short piece."""
    total = 0.0
    for track in tracks:
        steps = np.hypot(*np.diff(track.points, axis=0).T)
        pieces = np.maximum(np.ceil(steps / (0.05 * field.distances.min())), 1).astype(int)
        at = np.concatenate([[0.0], np.cumsum(np.repeat(steps / pieces, pieces))])
        along = np.concatenate([[0.0], np.cumsum(steps)])
        points = np.stack([np.interp(at, along, values) for values in track.points.T], axis=1)
        middle, (dx, dy) = (points[1:] + points[:-1]) / 2, np.diff(points, axis=0).T
        theta = np.arctan2(middle[:, 1], middle[:, 0])
        harmonics = field.at(np.hypot(*middle.T), track.layer - 1)
        waves = np.cos(np.multiply.outer(field.orders * field.pole_pairs, theta - angle))
        axial = (harmonics * waves).sum(axis=0)
        force_x, force_y = dy * axial, -dx * axial  # dl × B with B along z
        total -= float((middle[:, 0] * force_y - middle[:, 1] * force_x).sum())
    return total


@every_design
def test_torque_by_forces_is_the_slope_of_linkage(path):
    """Virtual work against Lorentz's force on the centre-lines of two coils; the other way round it is the opposite."""
    _, copper, field = laid(path)
    tracks = [*copper.placed_coil(0, True), *copper.placed_coil(1, True)]
    linked = [LinkedTrack(track.points, 0.0, track.layer - 1) for track in tracks]
    harmonics = tracks_linkage_harmonics(linked, field)
    rate = -1j * field.pole_pairs * field.orders * harmonics
    peak = field.pole_pairs * abs(harmonics[0])
    for angle in np.array([0.1, 0.7, 2.0]) / field.pole_pairs:
        slope = float((rate * np.exp(-1j * field.orders * field.pole_pairs * angle)).sum().real)
        torque = force_torque(field, tracks, angle)
        assert torque == pytest.approx(slope, abs=2e-4 * peak)
        back = force_torque(field, [track.reversed() for track in tracks], angle)
        assert back == pytest.approx(-torque, abs=1e-9 * peak)
