"""What changes in a run: rows of memory that compiled steps read and fill. Each class names the fields of its rows."""

from __future__ import annotations

from typing import ClassVar, Self, cast

import numpy as np
from numpy.typing import NDArray


class Rows:
    """A layout: rows of it are records of an array, never objects of the class."""

    _layout: ClassVar[np.dtype[np.void]]

    def __init_subclass__(cls) -> None:
        cls._layout = np.dtype(list(cls.__annotations__.items()))

    @classmethod
    def blank(cls) -> Self:
        """One row, all zero."""
        return cast(Self, cls.blanks(1)[0])

    @classmethod
    def blanks(cls, count: int) -> NDArray[np.void]:
        """Rows, all zero."""
        return np.zeros(count, cls._layout).view(np.recarray)


class Body(Rows):
    """What changes of a plant while it runs [SI]; energies [J] add up from the start."""

    current: complex
    loop_current: float
    resistance: float
    temperature: float  # rise of the copper
    angle: float
    speed: float
    load_angle: float
    load_speed: float
    electrical: float
    heat: float
    rub: float
    work: float
    wasted: float


class Loops(Rows):
    """What the controller remembers: integrals of current and speed loop, angle and speed that it believes [SI]."""

    integral: complex
    excess: float
    angle: float
    speed: float


class Sample(Rows):
    """What a trace keeps of a sample [SI]."""

    wanted: float
    angle: float
    speed: float
    motor: float
    believed: float
    current: float
    voltage: float
    push: float
