"""The current in the copper: resistance of every piece, the winding as one network, load of every piece."""

from __future__ import annotations

from functools import cached_property, lru_cache
from itertools import combinations, islice, pairwise
from math import pi
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.copper import Coil, Copper, Pin, TileJumper, Track
from pcbstator.copper.connections.via_transitions import WEB
from pcbstator.copper.current_paths import Barrel
from pcbstator.copper.geometry.tracks import spot
from pcbstator.physics.conductors.resistance import (
    PathNetwork,
    path_network,
    tapered_track_resistance,
    track_resistance,
    via_resistance,
)
from pcbstator.physics.conductors.track_end import cluster_diameter, hole_end_squares

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


class Conductors:
    """Resistance [ohm] of the pieces of one stator at one temperature."""

    def __init__(self, copper: Copper, drill: float, plating: float, temperature_c: float = 20.0) -> None:
        self.copper = copper
        self.drill = drill
        self.temperature_c = temperature_c
        self.depth = {layer.number: layer.depth for layer in copper.layers}
        self.thickness = {layer.number: layer.thickness for layer in copper.layers}
        self.barrel_per_metre = _wall_resistance(drill, plating, temperature_c) / copper.vias_per_transition
        tracks = [*(track for track, _ in copper.template_tracks), *copper.current_paths.tracks]
        found, lengths = self._tracks(tracks), copper.lengths
        coils = len(copper.template_tracks)
        self._resistances, self._lengths = found[coils:], np.array(lengths[coils:])
        known = iter(zip(lengths, found.tolist(), strict=True))
        whole = [self._whole_coil(coil, list(islice(known, len(coil.tracks)))) for coil, _ in copper.templates]
        chosen = np.array(copper.coil_templates or (0,) * len(copper.coil_angles))
        self._coil_lengths, self._coils = np.array(whole)[chosen].T

    def _tracks(self, tracks: list[Track]) -> FloatArray:
        """Resistance [ohm] of many tracks, those of constant width at once."""
        widths = np.array([track.width for track in tracks])
        thicknesses = np.array([self.thickness[track.layer] for track in tracks])
        found = track_resistance(np.array(self.copper.lengths), widths, thicknesses, self.temperature_c)
        for index, track in enumerate(tracks):
            if track.widths is not None:
                found[index] = self._tapered(track)
        return self._with_ends(tracks, found)

    def _with_ends(self, tracks: list[Track], found: FloatArray) -> FloatArray:
        """Resistances [ohm] of tracks between the walls of the holes at their ends, from those between their middles.

        Where one meets another track it is alike, within a sixth of a square.
        """
        thicknesses = np.array([self.thickness[track.layer] for track in tracks])
        square = track_resistance(1.0, 1.0, thicknesses, self.temperature_c)
        widths = np.array([(t.width, t.width) if t.widths is None else (t.widths[0], t.widths[-1]) for t in tracks])
        squares = hole_end_squares(widths, self._pad, self._hole)
        for terminal in self.copper.terminals[:1]:  # all are alike, and one end of every lead is at one
            leads = np.array([track.role == "lead" for track in tracks])
            squares[leads, 0] = hole_end_squares(widths[leads, 0], terminal.pad, terminal.drill)
        shorter = found + square * squares.sum(axis=1)
        return np.asarray(np.maximum(shorter, 0.1 * found))  # tracks may lie wholly within pads

    @cached_property
    def _pad(self) -> float:
        """Copper around every via transition [m]."""
        return self.copper.coil.vias[0].pad

    @cached_property
    def _hole(self) -> float:
        """One hole that takes as much current as those of a via transition [m]."""
        return cluster_diameter(self.drill, self.drill + WEB, self.copper.vias_per_transition)

    def _whole_coil(self, coil: Coil, tracks: list[tuple[float, float]]) -> tuple[float, float]:
        """Length [m] and resistance [ohm] of a coil from those of its tracks, vias between them included."""
        length, resistance = map(sum, zip(*tracks, strict=True))
        holes = sum(abs(self.depth[a.layer] - self.depth[b.layer]) for a, b in pairwise(coil.tracks))
        return length + holes, resistance + holes * self.barrel_per_metre

    def coil(self, index: int) -> float:
        """Resistance [ohm] of coil ``index``."""
        return float(self._coils[index])

    def track(self, track: Track) -> float:
        """Resistance [ohm] of one track, from hole to hole."""
        thickness = self.thickness[track.layer]
        if track.widths is None:
            bare = float(track_resistance(track.length, track.width, thickness, self.temperature_c))
        else:
            bare = self._tapered(track)
        return float(self._with_ends([track], np.array([bare]))[0])

    def _tapered(self, track: Track) -> float:
        """Resistance [ohm] of a track of varying width, from middle to middle of the holes."""
        widths, thickness = track.point_widths, self.thickness[track.layer]
        pieces = tapered_track_resistance(track.lengths, widths[:-1], widths[1:], thickness, self.temperature_c)
        return float(pieces.sum())

    def barrel(self, layer: int, other: int) -> float:
        """Resistance [ohm] of a via between two layers."""
        return abs(self.depth[layer] - self.depth[other]) * self.barrel_per_metre

    def wire(self, length: float, diameter: float) -> float:
        """Resistance [ohm] of a round copper wire."""
        side = diameter * pi**0.5 / 2  # of a square bar of the same section
        return float(track_resistance(length, side, side, self.temperature_c))

    def transition(self, transition: Barrel | Pin | TileJumper) -> float:
        """Resistance [ohm] of what joins the tracks of a path; of a pin between boards from layer to layer."""
        if isinstance(transition, TileJumper):
            return self.wire(transition.length, transition.diameter)
        if isinstance(transition, Pin):
            return self.wire(
                abs(self.depth[transition.from_layer] - self.depth[transition.to_layer]), transition.diameter
            )
        return self.barrel(transition.from_layer, transition.to_layer)

    @cached_property
    def transitions(self) -> FloatArray:
        """Resistance [ohm] of every transition of ``copper.current_paths``, (transitions,)."""
        return np.array([self.transition(transition) for transition in self.copper.current_paths.transitions])

    @cached_property
    def shared(self) -> FloatArray:
        """What two paths have in common [ohm], (paths, paths): the drop along one per ampere in the other."""
        walked = self.copper.current_paths
        tracks, coils = (
            (walked.through * self._resistances) @ walked.through.T,
            (walked.coils * self._coils) @ walked.coils.T,
        )
        return np.asarray(tracks + coils + (walked.across * self.transitions) @ walked.across.T)

    @cached_property
    def network(self) -> PathNetwork:
        """The whole winding: phases share the copper at the star point or at the corners of a delta."""
        return path_network(self.shared, self.copper.current_paths.phase)

    @property
    def path_shares(self) -> tuple[tuple[float, ...], ...]:
        """Current of every path of each phase over that of its phase, at standstill."""
        shares, phase = self.network.shares, self.copper.current_paths.phase
        return tuple(tuple(own[phase == number].tolist()) for number, own in enumerate(shares))

    @cached_property
    def path_currents(self) -> ComplexArray:
        """Phasor of the current of every path over that of phase A, (paths,), under balanced sine currents."""
        return np.asarray(phase_phasors(len(self.copper.phases)) @ self.network.shares)

    @cached_property
    def track_loads(self) -> FloatArray:
        """Current of every track of ``copper.current_paths`` over the phase current, balanced sine currents."""
        return np.asarray(np.abs(self.path_currents @ self.copper.current_paths.through))

    @cached_property
    def coil_loads(self) -> FloatArray:
        """Current of every coil over the phase current, balanced sine currents."""
        return np.asarray(np.abs(self.path_currents @ self.copper.current_paths.coils))

    @cached_property
    def transition_loads(self) -> FloatArray:
        """Current of every via transition, pin and tile jumper over the phase current, balanced sine currents."""
        return np.asarray(np.abs(self.path_currents @ self.copper.current_paths.across))

    @cached_property
    def phase_resistances(self) -> list[float]:
        """Resistance [ohm] with which every phase heats under balanced sine currents."""
        phasors = phase_phasors(len(self.copper.phases))
        voltages = self.network.resistance @ phasors
        return [float(power) for power in (voltages * phasors.conj()).real]

    @property
    def phase_resistance(self) -> float:
        """Mean of the phase resistances [ohm]: phases / 2 times this times the square of the peak phase current is the
        copper loss.
        """
        return sum(self.phase_resistances) / len(self.phase_resistances)

    @property
    def zero_sequence_resistance(self) -> float:
        """Resistance [ohm] of a phase to a current that is alike in all of them, as it circulates in a delta."""
        return float(self.network.resistance.mean() * len(self.copper.phases))

    def line_resistances(self, connection: str) -> dict[str, float]:
        """Resistance [ohm] between each pair of terminals by their names, as a meter reads it."""
        names, along = [phase.name for phase in self.copper.phases], self.network.resistance
        if connection == "open":
            return {f"{name}{name}2": float(along[k, k]) for k, name in enumerate(names)}
        if connection == "delta":  # each phase from its own corner to the next
            count = len(names)
            corners = np.eye(count) - np.roll(np.eye(count), 1, axis=1)
            along = np.asarray(np.linalg.pinv(corners.T @ np.linalg.inv(along) @ corners), dtype=float)
        return {
            names[i] + names[j]: float(along[i, i] + along[j, j] - 2 * along[i, j])
            for i, j in combinations(range(len(names)), 2)
        }

    @property
    def star_resistances(self) -> dict[str, float]:
        """Resistance [ohm] from each terminal to the terminal N of a star point, as a meter reads it."""
        bus = [track for track in self.copper.interconnects if track.phase == "N"]
        leads = [track for track in bus if track.role == "lead"]  # none where the arc itself runs to the terminal
        arc = min((track.layer for track in bus), default=1)
        beyond = [self.track(lead) + self._met_at(lead, arc) for lead in leads]
        point = sum(beyond) / max(len(beyond), 1) ** 2  # those of boards in parallel are joined
        along = np.diag(self.network.resistance) + point
        return {f"{phase.name}N": float(each) for phase, each in zip(self.copper.phases, along, strict=True)}

    def _met_at(self, lead: Track, layer: int) -> float:
        """Resistance [ohm] of the via, if there is one, by which a lead comes to an arc on another layer."""
        ends = {spot(*end) for end in lead.ends}
        met = any(spot(via.x, via.y) in ends for via in self.copper.interconnect_vias)
        return self.barrel(layer, lead.layer) if met else 0.0

    @property
    def path_lengths(self) -> FloatArray:
        """Length [m] of the conductor along every path, vias inside of coils included, (paths,)."""
        walked = self.copper.current_paths
        wires = np.array(
            [transition.length if isinstance(transition, TileJumper) else 0.0 for transition in walked.transitions]
        )
        through = np.abs(walked.through) @ self._lengths
        return np.asarray(through + np.abs(walked.coils) @ self._coil_lengths + np.abs(walked.across) @ wires)


@lru_cache(maxsize=64)
def _wall_resistance(drill: float, plating: float, temperature_c: float) -> float:
    """Resistance of the wall of a via for its length [ohm/m]; many stators have the same."""
    return float(via_resistance(drill, plating, 1.0, temperature_c))


def phase_angle(index: int, phases: int) -> float:
    """Electrical angle [rad] by which a phase follows phase A."""
    return 2 * pi * index / phases if phases % 2 else pi * index / phases


def phase_phasors(phases: int) -> ComplexArray:
    """Balanced sine currents of the phases over that of phase A."""
    return np.exp(1j * np.array([phase_angle(index, phases) for index in range(phases)]))


def conductors_of(design: SizedDesign, copper: Copper, temperature_c: float = 20.0) -> Conductors:
    """The conductors of a stator with the vias of its design."""
    return Conductors(copper, design.board.via_drill, design.board.via_plating, temperature_c)
