"""Colours of all drawings and figures."""

from __future__ import annotations

INK = "#222222"
QUIET = "#666666"
PAPER = "#ffffff"
# Dark enough for white paper, apart in hue and, in the first three, in grey as well. Later phases start again.
_PHASE_COLOURS = ("#1c3f94", "#c2571a", "#2b8a6e", "#8a2f7d", "#7a6a12", "#3b7fc4", "#8c3b2a")
BODY_COLOURS = {"board": "#2b8a6e", "copper": "#c2571a", "magnet": "#1c3f94", "steel": "#777777", "plate": "#b8b0a0"}
_COMMON = "#444444"  # what belongs to no phase: star point


def phase_colour(name: str) -> str:
    """Colour of a phase, by its letter; grey for the star point.

    >>> phase_colour("N"), phase_colour("A2") == phase_colour("A")
    ('#444444', True)
    """
    return _COMMON if name[:1] in ("N", "") else _PHASE_COLOURS[(ord(name[0]) - ord("A")) % len(_PHASE_COLOURS)]


def tint(colour: str, part: float) -> str:
    """``colour`` with white, ``part`` 1 for the pure colour.

    >>> tint("#204060", 0.5)
    '#90a0b0'
    """
    channels = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return "#" + "".join(f"{round(255 - (255 - channel) * part):02x}" for channel in channels)
