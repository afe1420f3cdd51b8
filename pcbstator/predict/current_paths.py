"""The way of the current through the copper: resistance of every piece, paths in parallel, load of every link."""

from __future__ import annotations

import cmath
import itertools
from collections.abc import Iterator, Sequence
from math import pi

import numpy as np

from pcbstator.copper import Bridge, Coil, CoilVisit, Copper, Path, PhaseCopper, Pin, Track
from pcbstator.copper.records import spot
from pcbstator.physics.conductors import (
    parallel_path_resistance,
    tapered_track_resistance,
    track_resistance,
    via_resistance,
)

Key = tuple[object, ...]


def piece(track: Track) -> tuple[Key, int]:
    """What tells a link from every other, whichever way it is run through; and the way, +1 or -1."""
    return track.piece


class Conductors:
    """Resistance [ohm] of the pieces of one stator at one temperature."""

    def __init__(self, copper: Copper, drill: float, plating: float, temperature_c: float = 20.0) -> None:
        self.copper = copper
        self.temperature_c = temperature_c
        self.depth = {layer.number: layer.depth for layer in copper.layers}
        self.thickness = {layer.number: layer.thickness for layer in copper.layers}
        self.barrel_per_metre = float(via_resistance(drill, plating, 1.0, temperature_c)) / copper.vias_per_joint
        keys = [piece(link)[0] for link in copper.links]
        self._lengths = dict(zip(keys, copper.link_lengths, strict=True))
        templates = [track for track, _ in copper.template_tracks]
        lengths = {id(track): length for track, length in zip(templates, copper.template_lengths, strict=True)}
        self._coil_lengths = {id(coil): self._coil_length(coil, lengths) for coil, _ in copper.templates}
        even = [track for track in templates if track.widths is None]
        found = self._even_tracks(
            [*even, *copper.links], [*(lengths[id(track)] for track in even), *copper.link_lengths]
        )
        self._links = dict(zip(keys, found[len(even) :], strict=True))
        known = {id(track): resistance for track, resistance in zip(even, found, strict=False)}
        self._coils = {id(coil): self._whole_coil(coil, known) for coil, _ in copper.templates}

    def _even_tracks(self, tracks: Sequence[Track], lengths: Sequence[float]) -> list[float]:
        """Resistance [ohm] of many tracks that have the same width all along."""
        if not tracks:
            return []
        widths = np.array([track.width for track in tracks])
        thicknesses = np.array([self.thickness[track.layer] for track in tracks])
        return [float(r) for r in track_resistance(np.array(lengths), widths, thicknesses, self.temperature_c)]

    def _whole_coil(self, coil: Coil, known: dict[int, float]) -> float:
        tracks = sum(known[id(track)] if id(track) in known else self.track(track) for track in coil.tracks)
        return tracks + sum(self.barrel(a.layer, b.layer) for a, b in itertools.pairwise(coil.tracks))

    def coil(self, index: int) -> float:
        """Resistance [ohm] of coil ``index``."""
        return self._coils[id(self.copper.template(index))]

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

    def pin(self, pin: Pin) -> float:
        """Resistance [ohm] of a pin between two boards, taken from layer to layer."""
        return self.wire(abs(self.depth[pin.from_layer] - self.depth[pin.to_layer]), pin.diameter)

    def wire(self, length: float, diameter: float) -> float:
        """Resistance [ohm] of a round copper wire."""
        side = diameter * pi**0.5 / 2  # of a square bar of the same section
        return float(track_resistance(length, side, side, self.temperature_c))

    def along(self, path: Path) -> Iterator[tuple[Key, float]]:
        """Every piece of a path with its resistance [ohm]: links, vias between steps, coils."""
        here: int | None = None
        for step in path.steps:
            if isinstance(step, CoilVisit):
                enter, leave = self.copper.template(step.coil).ends[:: 1 if step.forward else -1]
                if here is not None and here != enter:
                    yield ("post", step.coil, step.forward), self.barrel(here, enter)
                yield ("coil", step.coil), self.coil(step.coil)
                here = leave
            elif isinstance(step, Pin):
                yield ("pin", *spot(step.x, step.y), step.from_layer, step.to_layer), self.pin(step)
                here = None
            elif isinstance(step, Bridge):
                ends = sorted((spot(*step.start), spot(*step.end)))
                yield ("bridge", *ends), self.wire(step.length, step.diameter)
                here = None
            else:
                if here is not None and here != step.layer:
                    yield ("via", *spot(*step.ends[0]), here, step.layer), self.barrel(here, step.layer)
                key = piece(step)[0]
                yield key, self._links[key] if key in self._links else self.track(step)
                here = step.layer

    def phase_resistance(self, phase: PhaseCopper) -> float:
        """Resistance [ohm] of a phase from its terminal to the star point or its end, paths in parallel."""
        paths = [dict(self.along(path)) for path in phase.paths]
        if len(paths) == 1:
            return sum(paths[0].values())
        pieces = {key: resistance for path in paths for key, resistance in path.items()}
        passes = np.array([[key in path for key in pieces] for path in paths], dtype=float)
        return parallel_path_resistance((passes * list(pieces.values())) @ passes.T)[0]

    def path_length(self, path: Path) -> float:
        """Length [m] of the conductor along a path, vias included."""
        return sum(self._step_length(step) for step in path.steps if not isinstance(step, Pin))

    def _step_length(self, step: CoilVisit | Track | Bridge) -> float:
        if isinstance(step, CoilVisit):
            return self._coil_lengths[id(self.copper.template(step.coil))]
        known = self._lengths.get(piece(step)[0]) if isinstance(step, Track) else None
        return step.length if known is None else known

    def _coil_length(self, coil: Coil, lengths: dict[int, float]) -> float:
        vias = sum(abs(self.depth[a.layer] - self.depth[b.layer]) for a, b in itertools.pairwise(coil.tracks))
        return sum(lengths[id(track)] for track in coil.tracks) + vias


def phase_angle(index: int, phases: int) -> float:
    """Electrical angle [rad] by which a phase follows phase A."""
    return 2 * pi * index / phases if phases % 2 else pi * index / phases


def link_loads(copper: Copper) -> dict[Key, float]:
    """Current of every link over the phase current: links that several phases share carry the sum of their phasors."""
    loads: dict[Key, complex] = {}
    for index, phase in enumerate(copper.phases):
        phasor = cmath.exp(1j * phase_angle(index, len(copper.phases)))
        for path in phase.paths:
            for step in path.steps:
                if isinstance(step, Track):
                    key, way = piece(step)
                    loads[key] = loads.get(key, 0j) + way * path.share * phasor
    return {key: abs(load) for key, load in loads.items()}
