"""The way of the current through the copper: resistance of every piece, paths in parallel, load of every link."""

from __future__ import annotations

from functools import cached_property, lru_cache
from itertools import islice, pairwise
from math import pi

import numpy as np
from numpy.typing import NDArray

from pcbstator.copper import Bridge, Coil, Copper, Pin, Track
from pcbstator.copper.ways import Barrel
from pcbstator.physics.conductors import (
    parallel_path_resistance,
    tapered_track_resistance,
    track_resistance,
    via_resistance,
)

FloatArray = NDArray[np.float64]


class Conductors:
    """Resistance [ohm] of the pieces of one stator at one temperature."""

    def __init__(self, copper: Copper, drill: float, plating: float, temperature_c: float = 20.0) -> None:
        self.copper = copper
        self.temperature_c = temperature_c
        self.depth = {layer.number: layer.depth for layer in copper.layers}
        self.thickness = {layer.number: layer.thickness for layer in copper.layers}
        self.barrel_per_metre = _wall_resistance(drill, plating, temperature_c) / copper.vias_per_joint
        tracks = [*(track for track, _ in copper.template_tracks), *copper.ways.tracks]
        found, lengths = self._tracks(tracks), copper.lengths
        coils = len(copper.template_tracks)
        self._ways, self._way_lengths = found[coils:], np.array(lengths[coils:])
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
                found[index] = self.track(track)
        return found

    def _whole_coil(self, coil: Coil, tracks: list[tuple[float, float]]) -> tuple[float, float]:
        """Length [m] and resistance [ohm] of a coil from those of its tracks, vias between them included."""
        length, resistance = map(sum, zip(*tracks, strict=True))
        holes = sum(abs(self.depth[a.layer] - self.depth[b.layer]) for a, b in pairwise(coil.tracks))
        return length + holes, resistance + holes * self.barrel_per_metre

    def coil(self, index: int) -> float:
        """Resistance [ohm] of coil ``index``."""
        return float(self._coils[index])

    def track(self, track: Track) -> float:
        """Resistance [ohm] of one track."""
        widths = track.point_widths
        thickness, temperature_c = self.thickness[track.layer], self.temperature_c
        if track.widths is None:
            return float(track_resistance(track.length, track.width, thickness, temperature_c))
        return float(tapered_track_resistance(track.lengths, widths[:-1], widths[1:], thickness, temperature_c).sum())

    def barrel(self, layer: int, other: int) -> float:
        """Resistance [ohm] of a via between two layers."""
        return abs(self.depth[layer] - self.depth[other]) * self.barrel_per_metre

    def wire(self, length: float, diameter: float) -> float:
        """Resistance [ohm] of a round copper wire."""
        side = diameter * pi**0.5 / 2  # of a square bar of the same section
        return float(track_resistance(length, side, side, self.temperature_c))

    def joint(self, joint: Barrel | Pin | Bridge) -> float:
        """Resistance [ohm] of what joins the tracks of a path; of a pin between boards from layer to layer."""
        if isinstance(joint, Bridge):
            return self.wire(joint.length, joint.diameter)
        if isinstance(joint, Pin):
            return self.wire(abs(self.depth[joint.from_layer] - self.depth[joint.to_layer]), joint.diameter)
        return self.barrel(joint.from_layer, joint.to_layer)

    @cached_property
    def path_resistances(self) -> FloatArray:
        """Resistance [ohm] of every path of all phases by itself, (paths,)."""
        ways = self.copper.ways
        joints = [sum(map(self.joint, met.values())) for met in ways.joints]
        return np.asarray(np.abs(ways.through) @ self._ways + np.abs(ways.coils) @ self._coils + joints)

    @cached_property
    def phase_resistances(self) -> list[float]:
        """Resistance [ohm] of every phase from its terminal to the star point or its end, paths in parallel."""
        phases = self.copper.phases
        if len(self.path_resistances) == len(phases):
            return [float(resistance) for resistance in self.path_resistances]
        return [self._in_parallel(np.flatnonzero(self.copper.ways.phase == number)) for number in range(len(phases))]

    @property
    def phase_resistance(self) -> float:
        """Resistance [ohm] of a phase, the mean of all."""
        return sum(self.phase_resistances) / len(self.phase_resistances)

    def _in_parallel(self, paths: NDArray[np.integer]) -> float:
        """Resistance [ohm] of paths that begin and end at the same places and may share pieces."""
        ways = self.copper.ways
        through, coils = np.abs(ways.through[paths]), np.abs(ways.coils[paths])
        joints = {key: joint for path in paths for key, joint in ways.joints[path].items()}
        passes = np.array([[key in ways.joints[path] for key in joints] for path in paths], dtype=float)
        holes = [self.joint(joint) for joint in joints.values()]
        shared = (through * self._ways) @ through.T + (coils * self._coils) @ coils.T + (passes * holes) @ passes.T
        return parallel_path_resistance(shared)[0]

    @property
    def path_lengths(self) -> FloatArray:
        """Length [m] of the conductor along every path, vias inside of coils included, (paths,)."""
        ways = self.copper.ways
        bridges = [sum(j.length for j in met.values() if isinstance(j, Bridge)) for met in ways.joints]
        through = np.abs(ways.through) @ self._way_lengths
        return np.asarray(through + np.abs(ways.coils) @ self._coil_lengths + bridges)


@lru_cache(maxsize=64)
def _wall_resistance(drill: float, plating: float, temperature_c: float) -> float:
    """Resistance of the wall of a via for its length [ohm/m]; many stators have the same."""
    return float(via_resistance(drill, plating, 1.0, temperature_c))


def phase_angle(index: int, phases: int) -> float:
    """Electrical angle [rad] by which a phase follows phase A."""
    return 2 * pi * index / phases if phases % 2 else pi * index / phases


def way_loads(copper: Copper) -> FloatArray:
    """Current of every track of ``copper.ways`` over the phase current: tracks that several phases share carry the sum
    of their phasors.
    """
    phases = len(copper.phases)
    phasors = np.exp(1j * np.array([phase_angle(index, phases) for index in range(phases)]))
    return np.asarray(np.abs((copper.ways.share * phasors[copper.ways.phase]) @ copper.ways.through))


def phase_patterns(copper: Copper) -> FloatArray:
    """Current of every path per ampere of every phase (phases, paths); times ``ways.through`` or ``ways.coils`` it is
    the current in tracks or coils.
    """
    ways = copper.ways
    return np.where(ways.phase == np.arange(len(copper.phases))[:, None], ways.share, 0.0)
