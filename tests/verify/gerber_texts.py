"""Small Gerber and drill files, written by hand for the tests of the reader."""

from __future__ import annotations

HEAD = "%FSLAX46Y46*%\n%MOMM*%\n%LPD*%\n"


def gerber(body: str, head: str = HEAD) -> str:
    """A whole file."""
    return f"{head}{body}\nM02*\n"


def flash(x: float, y: float) -> str:
    """A flash of the present aperture at a place [mm]."""
    return f"X{round(x * 1e6)}Y{round(y * 1e6)}D03*\n"


def line(*points: tuple[float, float]) -> str:
    """Draws along places [mm]."""
    return "".join(f"X{round(x * 1e6)}Y{round(y * 1e6)}D0{2 if i == 0 else 1}*\n" for i, (x, y) in enumerate(points))


def region(*points: tuple[float, float]) -> str:
    """A filled area [mm]."""
    return f"G36*\n{line(*points, points[0])}G37*\n"


def drill(body: str, head: str = "METRIC\nT01C0.300\n") -> str:
    """A whole drill file."""
    return f"M48\n{head}%\nG05\n{body}\nM30\n"
