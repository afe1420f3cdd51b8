"""Colours of the bodies, alike in both files."""

from __future__ import annotations

from dataclasses import dataclass

from pcbstator.analysis.mechanical.bodies import Body
from pcbstator.output.canvas.colours import BODY_COLOURS

# Magnets by the pole towards the board (common practice, no source), and those whose field lies in the plate.
NORTH, SOUTH, ACROSS = "#b3261e", "#1c3f94", "#8c7aa8"
CLEAR = 0.25  # opacity of spaces


@dataclass(frozen=True)
class Look:
    """Colour as #rrggbb, opacity from 0 to 1, and whether it shines as metal does."""

    name: str
    colour: str
    opacity: float = 1.0
    metal: bool = False


def look_of(body: Body) -> Look:
    """How a body looks."""
    if body.kind == "space":
        return Look(body.kind, "#8fb8de", CLEAR)
    if body.kind == "magnet":
        colour = {"N": NORTH, "S": SOUTH}.get(body.pole, ACROSS)
        return Look(f"magnet {body.pole}".strip(), colour, metal=True)
    name = "steel" if body.kind == "ball" or body.material == "steel" else body.kind
    return Look(name, BODY_COLOURS[name], metal=name == "steel")


def channels(colour: str) -> tuple[float, float, float]:
    """Red, green and blue of #rrggbb, each from 0 to 1, as on the screen.

    >>> channels("#ff0033")
    (1.0, 0.0, 0.2)
    """
    red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return red, green, blue
