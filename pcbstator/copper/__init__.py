"""Where the metal is: tracks, vias and terminals as arrays per layer, net and phase; lengths and areas."""

from pcbstator.copper.fit import most_turns, widest_track
from pcbstator.copper.lay import lay_copper
from pcbstator.copper.records import Coil, CoilVisit, Copper, Layer, Path, PhaseCopper, Point, Terminal, Track, Via

__all__ = [
    "Coil",
    "CoilVisit",
    "Copper",
    "Layer",
    "Path",
    "PhaseCopper",
    "Point",
    "Terminal",
    "Track",
    "Via",
    "lay_copper",
    "most_turns",
    "widest_track",
]
