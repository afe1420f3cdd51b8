"""How large a folder of fabrication files may be; what goes beyond is refused with a clear word."""

from __future__ import annotations

from pcbstator.errors import Complaint, FilesError

MOST_FILES = 2_000  # in a folder and the folders within
MOST_BYTES = 64 * 1024**2  # in one file
MOST_BYTES_IN_ALL = 512 * 1024**2
MOST_LAYERS = 64
MOST_STATEMENTS = 5_000_000  # of one file
MOST_VERTICES = 8_000_000  # of what one file draws, with every repetition
MOST_OBJECTS = 200_000  # strokes, flashes and regions of one file, with every repetition
MOST_NETS = 5_000
MOST_CHANGES = 20_000  # of polarity, times nets
MOST_APERTURES = 50_000
MOST_PARTS = 20_000  # primitives of one aperture macro, and corners of one of them
MOST_NESTING = 20  # blocks within blocks, brackets within brackets
MOST_HOLES = 500_000
LARGEST = 10_000.0  # mm: no board reaches so far from its origin


def refuse(file: str, rule: str, value: object = "", remedy: str = "") -> FilesError:
    """The error that says what is wrong with ``file``."""
    words = str(value)
    return FilesError(file, [Complaint("file", rule, words if len(words) <= 60 else words[:57] + "...", remedy)])


def reached(file: str, value: float, what: str) -> float:
    """``value`` [mm], which must be a number that a board can reach."""
    if not abs(value) <= LARGEST:
        raise refuse(
            file, f"{what} must lie within {LARGEST:g} mm", f"{value:.6g} mm", "the unit or the number format is wrong"
        )
    return value
