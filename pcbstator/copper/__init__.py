"""Where the metal is: tracks, vias and terminals as arrays per layer, net and phase; lengths and areas."""

from pcbstator.copper.current_paths import CoilVisit, Path, PhaseCopper
from pcbstator.copper.geometry.tracks import Layer, Pin, Point, Terminal, TileJumper, Track, Via
from pcbstator.copper.lay import lay_copper
from pcbstator.copper.records import Coil, Copper
from pcbstator.copper.sizing import most_turns, size_design, widest_track

__all__ = [
    "Coil",
    "CoilVisit",
    "Copper",
    "Layer",
    "Path",
    "PhaseCopper",
    "Pin",
    "Point",
    "Terminal",
    "TileJumper",
    "Track",
    "Via",
    "lay_copper",
    "most_turns",
    "size_design",
    "widest_track",
]
