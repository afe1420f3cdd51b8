"""Wave windings: factors, linkage, copper on other layers, and gaps of any plan that fits."""

import tomllib
from math import pi
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

import pcbstator
from pcbstator.analysis.electrical.conductors import Conductors, conductors_of
from pcbstator.analysis.magnetic.rotor_field import path_linkages, phase_linkages, rotor_field
from pcbstator.copper.clearance import least_gap
from pcbstator.copper.no_room import NoRoomError
from pcbstator.copper.plan import plan_stator
from pcbstator.copper.sizing import settle_plan
from pcbstator.copper.wave.end_windings import _roots
from pcbstator.errors import DesignError
from pcbstator.physics.conductors.track_end import hole_end_squares
from pcbstator.winding import lay_winding, wind_wave

STAGE = pcbstator.load_design(Path(__file__).parents[2] / "designs" / "photogrammetry-stage.toml")
WAVE = {
    "winding.kind": "wave", "winding.coils": None, "winding.turns": 2, "rotor.poles": 16, "board.layers": 2,
    "board.track_width_mm": 0.2, "board.copper_inner_diameter_mm": 64.0, "board.copper_outer_diameter_mm": 120.0,
    "envelope": None,
}  # fmt: skip
PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "distributed_windings.toml").read_text())


def wave(**values):
    return STAGE.with_values(WAVE | {key.replace("__", "."): value for key, value in values.items()})


def test_roots_are_those_of_the_library():
    """Many at once against one after the other: steep, flat, early, late, with the kink that end windings have."""
    dice = np.random.default_rng(1)
    level, bend, high = (dice.uniform(*span, (40, 1)) for span in ((0.01, 0.9), (0.05, 1.0), (1.0, 3.0)))

    def rise(x, bend):
        return np.minimum(x, bend) ** 2 / bend + np.maximum(x - bend, 0.0) ** 1.5

    def lack(x):
        return rise(x, bend) - level

    at_high = lack(high)
    assert np.all(at_high > 0)
    found = _roots(lack, high, -level, at_high)
    rows = zip(level.ravel(), bend.ravel(), high.ravel(), strict=True)
    known = [
        brentq(lambda x, at=at, bent=bent: rise(x, bent) - at, 0.0, end, xtol=1e-13, rtol=1e-13)
        for at, bent, end in rows
    ]
    assert found.ravel() == pytest.approx(known, rel=1e-9)


@pytest.mark.parametrize(("slots", "factor"), [(row["slots"], row["factor"]) for row in PUBLISHED["factors"]])
def test_factor_of_the_handbook(slots, factor):
    assert wind_wave(3, slots, 16).factor == pytest.approx(factor, abs=0.5e-4)


@pytest.mark.parametrize("phases", [2, 3, 5])
def test_factor_by_the_closed_form(phases):
    """sin(q·a/2)/(q·sin(a/2)) with a = pi/(m·q) between neighbouring active conductors."""
    for q in range(1, 6):
        step = pi / phases / q
        assert wind_wave(phases, q, 8).factor == pytest.approx(np.sin(q * step / 2) / (q * np.sin(step / 2)), rel=1e-12)


def test_paths_that_are_not_equal():
    with pytest.raises(DesignError, match="equal EMF"):
        wind_wave(3, 2, 16, parallel_paths=3)


@pytest.mark.parametrize("turns", [1, 2])
def test_linkage_of_full_pitch_conductors(turns):
    """Against full-pitch conductors: N·k·(2/p)·∫ b_1 r dr over the active conductors, end windings beyond the magnets;
    2 % for what the end windings see.

    Every pair of poles has, on its two layers, two conductors of one turn: N = active conductors side
    by side times pole pairs.
    """
    design = wave(
        winding__turns=turns, **{"rotor.magnet.inner_diameter_mm": 84.0, "rotor.magnet.outer_diameter_mm": 100.0,
        "board.track_width_mm": 0.15, "board.track_gap_mm": 0.15, "rotor.back_iron_mm": 0.0},
    )  # fmt: skip
    copper = pcbstator.lay_copper(design)
    field = rotor_field(design)
    near, far = settle_plan(design, lay_winding(design)).coil.active_ends
    assert near < 42e-3 and far > 50e-3
    radii = np.linspace(near, far, 2001)
    middle = np.argmin(abs(radii - 46e-3))
    signed = [(field.at(radii, layer)[0] / field.at(radii, layer)[0][middle]).real for layer in (0, 1)]
    mean = np.mean([part * abs(field.at(radii, layer)[0][middle]) for layer, part in enumerate(signed)], axis=0)
    whole = 2 * turns * (design.rotor.poles // 2) * 2 / field.pole_pairs * float(np.trapezoid(mean * radii, radii))
    psi = np.abs(phase_linkages(conductors_of(design, copper), path_linkages(copper, field))[:, 0])
    assert psi.mean() == pytest.approx(whole * wind_wave(3, turns, 16).factor, rel=0.02)


@pytest.mark.parametrize("phases", [2, 3, 5])
@pytest.mark.parametrize("profile", ["even", "tapered"])
def test_phases_are_one_another_turned(phases, profile):
    """Linkage of phase k is that of A, later by its electrical angle; what the interconnects add is small."""
    design = wave(
        winding__phases=phases,
        board__track_profile=profile,
        winding__connection="open",
        board__copper_outer_diameter_mm=170.0,
    )
    copper = pcbstator.lay_copper(design)
    linkages = phase_linkages(conductors_of(design, copper), path_linkages(copper, rotor_field(design)))[:, 0]
    lag = pi / phases if phases % 2 == 0 else 2 * pi / phases
    assert np.abs(linkages) == pytest.approx(np.full(phases, abs(linkages[0])), rel=2e-3)
    turned = np.angle(linkages / linkages[0])
    either = [np.abs(np.exp(1j * turned) - np.exp(sign * 1j * lag * np.arange(phases))).max() for sign in (1, -1)]
    assert min(either) < 5e-3


def test_layers_of_a_thicker_board():
    """Two of five layers, at the depths of a plain board's two, link the same."""
    plain = wave(board__thickness_mm=0.8)
    some = wave(
        board__layers=5,
        board__coil_layers=[1, 3],
        board__thickness_mm=1.6,
        board__outer_copper_um=35.0,
        board__layer_depths_mm=[0.0, 0.4, 0.8, 1.2, 1.6],
    )
    one, other = pcbstator.predict(plain), pcbstator.predict(some)
    assert other.magnetic.flux_linkage_peak == pytest.approx(one.magnetic.flux_linkage_peak, rel=1e-4)
    assert other.electrical.phase_resistance == pytest.approx(one.electrical.phase_resistance, rel=1e-9)


@pytest.mark.parametrize("kind", ["wave", "spiral"])
def test_tapered_track_piece_by_piece(kind):
    """Against the integral of dl/w over each piece, by the midpoint rule with 200 parts."""
    changes = {"board.track_profile": "tapered"}
    design = wave(**changes) if kind == "wave" else STAGE.with_values(changes | {"winding.turns": 4})
    copper = pcbstator.lay_copper(design)
    track = copper.coil.tracks[0]
    where = (np.arange(200) + 0.5) / 200
    start, end = track.widths[:-1, None], track.widths[1:, None]
    squares = (track.lengths * (1 / (start + (end - start) * where)).mean(axis=1)).sum()
    squares += hole_end_squares(track.widths[[0, -1]], design.board.via_pad, design.board.via_drill).sum()
    law = Conductors(copper, design.board.via_drill, design.board.via_plating).track(track)
    assert law == pytest.approx(1.7241e-8 * squares / copper.layers[0].thickness, rel=1e-4)
    assert track.narrowest == pytest.approx(design.board.track_width, rel=1e-9)


WAVES = dict(
    phases=st.sampled_from([2, 3, 5]), turns=st.integers(1, 3), pairs=st.integers(4, 12), width=st.floats(0.1, 0.5),
    gap=st.floats(0.1, 0.3), inner=st.floats(50, 80), across=st.floats(30, 80), skew=st.floats(-5, 5),
    tapered=st.booleans(), ring=st.sampled_from(["outer", "inner"]), layers=st.sampled_from([2]),
)  # fmt: skip
DRAWN = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}


def gap_is_kept(phases, turns, pairs, width, gap, inner, across, skew, tapered, ring, layers):
    try:
        design = wave(
            winding__phases=phases,
            winding__turns=turns,
            rotor__poles=2 * pairs,
            board__track_width_mm=round(width, 3),
            board__track_gap_mm=round(gap, 3),
            board__copper_inner_diameter_mm=inner,
            board__layers=layers,
            board__copper_outer_diameter_mm=inner + across,
            winding__skew_deg=skew,
            winding__connection_ring=ring,
            board__track_profile="tapered" if tapered else "even",
            **{"rotor.magnet.inner_diameter_mm": inner, "rotor.magnet.outer_diameter_mm": inner + across},
        )
        plan_stator(design, lay_winding(design), turns, design.board.track_width)  # which is fast where it does not fit
    except (DesignError, NoRoomError):
        return
    assert least_gap(pcbstator.lay_copper(design), design.board.track_gap - 1e-6) is None


@settings(max_examples=20, **DRAWN)
@given(**WAVES)
def test_every_wave_that_fits_keeps_its_gap(**drawn):
    gap_is_kept(**drawn)


@pytest.mark.slow
@settings(max_examples=60, **DRAWN)
@given(**WAVES)
def test_many_waves_that_fit_keep_their_gap(**drawn):
    gap_is_kept(**drawn)


def test_pairs_in_series_keep_their_gap_on_a_small_circle():
    design = wave(
        winding__phases=2,
        rotor__poles=10,
        board__track_width_mm=0.125,
        board__track_gap_mm=0.125,
        board__layers=4,
        board__copper_inner_diameter_mm=50.0,
        board__copper_outer_diameter_mm=80.0,
        **{"rotor.magnet.inner_diameter_mm": 50.0, "rotor.magnet.outer_diameter_mm": 80.0},
    )
    assert least_gap(pcbstator.lay_copper(design), design.board.track_gap - 1e-6) is None


@pytest.mark.parametrize("skew", [8.0, -8.0])
def test_slanting_conductors_are_as_wide_as_their_neighbours_leave(skew):
    """Lines of slope r·dtheta/dr, a step apart in theta, lie r·step/sqrt(1 + slope²) from each other. What is left
    beside the gap is the width, less the same everywhere for what the gap lacks where edges are measured (10 um).
    """
    design = wave(winding__skew_deg=skew, board__track_profile="tapered")
    plan = settle_plan(design, lay_winding(design)).coil
    near, far = plan.active_ends
    step = 2 * pi / (design.rotor.poles * 3 * 2)  # of three phases with two turns
    for track in pcbstator.lay_copper(design).coil.tracks[:2]:
        radius = np.hypot(*track.points.T)
        inside = (radius > near) & (radius < far)
        slope = radius[inside] * np.radians(skew) / (far - near)
        left = radius[inside] * step / np.hypot(1, slope) - design.board.track_gap - track.widths[inside]
        assert inside.sum() > 20 and np.abs(slope).max() > 0.7
        assert np.ptp(left) < 1e-8 and 0 <= left.min() < 10e-6
