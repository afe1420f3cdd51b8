"""Kinds of value that a bench file may hold, beside those of a design file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pcbstator.design.quantities import Kind, Quantity, refusal

TERMINALS = tuple("ABCDEFGHIJKLMNO")  # of the phases; A2: the end of an open phase; N: the star point
PAIR = 'write between = ["A", "B"]'


@dataclass(frozen=True)
class Positive(Quantity):
    """A reading that can only be above 0; ``why`` says how one comes to another."""

    why: str = "take it again"

    def remedy(self, value: float) -> str:
        """What to do about a number that is not taken."""
        if value != value:
            return "this is no number: leave the reading out, or take it again"
        return self.why if value <= 0 else super().remedy(value)


@dataclass(frozen=True)
class Pair(Kind):
    """Two different terminals, in the order in which current or voltage is counted."""

    unit: str = ""

    @property
    def rule(self) -> str:
        """What must hold, in words."""
        return 'must be two different terminals of A, B, C ... or "N"'

    def converted(self, value: Any) -> tuple[str, str]:
        """The two names."""
        if not isinstance(value, list | tuple) or len(value) != 2 or not all(isinstance(each, str) for each in value):
            raise refusal(self.rule, PAIR)
        first, second = (each.strip().upper() for each in value)
        if first == second or not all(each[:1] in TERMINALS and each[1:] in ("", "2") for each in (first, second)):
            raise refusal(self.rule, PAIR)
        return first, second


def ohms() -> Positive:
    """A resistance."""
    why = "a resistance is above 0: short the leads, set the meter to zero, and look which way round the leads are"
    return Positive("ohm", 1.0, 1e-5, 1e5, why=why)


def volts() -> Positive:
    """The size of an alternating voltage."""
    return Positive("V", 1.0, 1e-4, 1e4, why="write the size of the wave, without a sign")


def henries() -> Positive:
    """An inductance."""
    why = "an inductance is above 0: a meter that shows less sees a capacitor; choose a lower frequency"
    return Positive("H", 1.0, 1e-9, 10.0, why=why)


def hertz(low: float, high: float) -> Positive:
    """A frequency."""
    return Positive("Hz", 1.0, low, high, why="write the frequency without a sign")


def newtons(low: float, high: float) -> Positive:
    """The size of a force."""
    return Positive("N", 1.0, low, high, why="write the size of the force, without a sign")
