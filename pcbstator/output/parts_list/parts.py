"""The lines of the parts list, each in the words of the page or sheet that already says it."""

from __future__ import annotations

import itertools
from dataclasses import dataclass


@dataclass(frozen=True)
class Part:
    """A line: what it is, how many, size, material, place, what else to know, and the file to order or make it by."""

    name: str
    count: int
    size: str = ""
    material: str = ""
    place: str = ""
    note: str = ""
    file: str = ""


def counted(numbers: list[int]) -> str:
    """Numbers in words, even steps put together.

    >>> counted([1, 3, 5, 7]), counted([4, 5]), counted([2]), counted([1, 2, 6])
    ('1 to 7 in steps of 2', '4 and 5', '2', '1, 2 and 6')
    """
    steps = {b - a for a, b in itertools.pairwise(numbers)}
    if len(numbers) > 3 and len(steps) == 1:
        step = steps.pop()
        return f"{numbers[0]} to {numbers[-1]}" + (f" in steps of {step}" if step > 1 else "")
    *first, last = map(str, numbers)
    return f"{', '.join(first)} and {last}" if first else last


def place_words(x: float, y: float) -> str:
    """A place on the board [m] in words.

    >>> place_words(0.0123456, -2e-9)
    'x 12.346 mm, y 0.000 mm'
    """
    return ", ".join(f"{name} {round(1e3 * value, 3) + 0.0:.3f} mm" for name, value in (("x", x), ("y", y)))
