"""What a key of a design file may hold, and its way from the file's unit to SI.

Each kind of value is one small record that states its rule in words, checks a value and converts it. The same record
serves the check, the starter file and the table of keys.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi
from typing import Any, get_args

from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict
from pydantic_core import PydanticCustomError, core_schema

LEAST = 1e-12  # in the unit of any key: what lies nearer to 0 means nothing, and quotients with it overflow
LARGEST = 2000.0  # mm; no board manufacturer makes a larger board
THOUSAND_UNITS = ("mm", "um")  # lengths, where a slip by a factor of 1000 is common


def shown(value: object) -> str:
    """The value as text for a message, never long."""
    text = "true" if value is True else "false" if value is False else repr(value)
    text = f'"{text[1:-1]}"' if isinstance(value, str) else text
    return text if len(text) <= 60 else text[:57] + "..."


def refusal(rule: str, remedy: str = "", *, at: str = "", value: str = "") -> PydanticCustomError:
    """The error by which a kind of value, or a table, refuses: what must hold, and the way out.

    at: the key of the table that it is about; value: what came, in words, where that is not the value itself.
    """
    return PydanticCustomError("refused", "refused", {"rule": rule, "remedy": remedy, "at": at, "value": value})


@dataclass(frozen=True)
class Kind:
    """A kind of value. ``unit`` is the unit in the file, empty where there is none."""

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.converted)

    def converted(self, value: Any) -> Any:
        """The value as it is used inside; refuses what breaks the rule."""
        raise NotImplementedError


def is_number(value: object) -> bool:
    """Whether the value is a plain number; true and false are not."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def number_remedy(value: object) -> str:
    """What to do about something that is not a number."""
    if isinstance(value, str):
        try:
            float(value.replace(",", "."))
        except ValueError:
            return "write a number"
        return "write the number without quotes, with a point for the decimals"
    return "write a number"


@dataclass(frozen=True)
class Quantity(Kind):
    """A number within bounds, both in the file's unit; ``per_si`` of these units make one SI unit.

    least: size below which only 0 is taken, [the file's unit].
    """

    unit: str
    per_si: float
    low: float
    high: float
    least: float = LEAST

    @property
    def rule(self) -> str:
        """What must hold, in words; the least size only where it is the key's own."""
        zero, low = ("0 or ", self.least) if self.low == 0 and self.least > LEAST else ("", self.low)
        return f"must be {zero}a number from {low:g} to {self.high:g} {self.unit}".rstrip()

    def takes(self, value: float) -> bool:
        """Whether a number in the file's unit is within bounds; neither inf nor NaN is."""
        return self.low <= value <= self.high and (value == 0 or abs(value) >= self.least)

    def converted(self, value: Any) -> float:
        """The value in SI; division keeps 0.3 mm equal to 0.3e-3 m."""
        if not is_number(value):
            raise refusal(self.rule, number_remedy(value))
        if not self.takes(value):
            raise refusal(self.rule, self.remedy(value))
        return float(value) / self.per_si

    def remedy(self, value: float) -> str:
        """What to do about a number that is not taken."""
        if self.low <= value <= self.high:
            return f"write 0, or at least {self.least:g} {self.unit}".rstrip()
        return self._unit_slip(value)

    def _unit_slip(self, value: float) -> str:
        """A hint where the value would be right in a unit a thousand times larger or smaller."""
        if self.unit in THOUSAND_UNITS and 0 < value < 1e9:
            for meant in (value * 1000, value / 1000):
                if self.low <= meant <= self.high:
                    return f"the unit is {self.unit}: was {meant:g} meant?"
        return "choose a value in this range"


def millimetres(low: float, high: float, least: float = LEAST) -> Quantity:
    """A length that the file gives in mm."""
    return Quantity("mm", 1000.0, low, high, least)


def micrometres(low: float, high: float) -> Quantity:
    """A length that the file gives in um."""
    return Quantity("um", 1e6, low, high)


def celsius(low: float, high: float) -> Quantity:
    """A temperature in degrees Celsius, in the file and inside."""
    return Quantity("C", 1.0, low, high)


def tesla(low: float, high: float) -> Quantity:
    """A flux density."""
    return Quantity("T", 1.0, low, high)


def amperes(low: float, high: float) -> Quantity:
    """A current."""
    return Quantity("A", 1.0, low, high)


def megapascals(low: float, high: float) -> Quantity:
    """A stress that the file gives in MPa."""
    return Quantity("MPa", 1e-6, low, high)


def percent(low: float, high: float) -> Quantity:
    """A part of the whole that the file gives in percent."""
    return Quantity("%", 100.0, low, high)


def degrees(low: float, high: float, least: float = LEAST) -> Quantity:
    """An angle that the file gives in degrees; radians inside."""
    return Quantity("deg", 180 / pi, low, high, least)


def direction(low: float, high: float) -> Quantity:
    """A direction that the file gives in degrees; it may be as near to 0 as rounding leaves it."""
    return degrees(low, high, 0.0)


def revolutions_per_minute(low: float, high: float) -> Quantity:
    """A speed that the file gives in rpm; rad/s inside."""
    return Quantity("rpm", 30 / pi, low, high)


def seconds(low: float, high: float) -> Quantity:
    """A duration."""
    return Quantity("s", 1.0, low, high)


def kelvins(low: float, high: float) -> Quantity:
    """A difference of temperatures."""
    return Quantity("K", 1.0, low, high)


def watts_per_kelvin(low: float, high: float) -> Quantity:
    """A thermal conductance."""
    return Quantity("W/K", 1.0, low, high)


def watts_per_square_metre_kelvin(low: float, high: float) -> Quantity:
    """A coefficient of heat transfer."""
    return Quantity("W/(m2 K)", 1.0, low, high)


def ratio(low: float, high: float) -> Quantity:
    """A number without a unit."""
    return Quantity("", 1.0, low, high)


@dataclass(frozen=True)
class WordOr(Kind):
    """A quantity, or one word instead of it."""

    quantity: Quantity
    word: str

    @property
    def unit(self) -> str:
        """Unit of the number."""
        return self.quantity.unit

    @property
    def rule(self) -> str:
        """What must hold, in words."""
        return f'{self.quantity.rule} or "{self.word}"'

    def converted(self, value: Any) -> float | str:
        """The number in SI, or the word."""
        if value == self.word:
            return self.word
        try:
            return self.quantity.converted(value)
        except PydanticCustomError as error:
            raise refusal(self.rule, (error.context or {})["remedy"]) from None


@dataclass(frozen=True)
class QuantityList(Kind):
    """A list of quantities, at most ``longest``."""

    each: Quantity
    longest: int

    @property
    def unit(self) -> str:
        """Unit of each number."""
        return self.each.unit

    @property
    def rule(self) -> str:
        """What must hold, in words."""
        each = self.each
        return f"must be a list of at most {self.longest} numbers from {each.low:g} to {each.high:g} {each.unit}"

    def converted(self, value: Any) -> tuple[float, ...]:
        """The values in SI."""
        if not isinstance(value, list | tuple) or not 0 < len(value) <= self.longest:
            raise refusal(self.rule, "write it as [0.0, 0.2, ...]")
        for position, number in enumerate(value, start=1):
            if not is_number(number) or not self.each.takes(number):
                raise refusal(self.rule, f"mend number {position} of the list, {shown(number)}")
        return tuple(self.each.converted(number) for number in value)


@dataclass(frozen=True)
class Count(Kind):
    """A whole number from a sequence such as ``range(2, 17, 2)``, or one word instead of it."""

    allowed: Sequence[int]
    word: str = ""
    unit: str = ""

    @property
    def rule(self) -> str:
        """What must hold, in words."""
        first, last = self.allowed[0], self.allowed[-1]
        if isinstance(self.allowed, range):
            kind = {1: "a whole number", 2: "an odd whole number" if first % 2 else "an even whole number"}
            text = f"must be {kind[self.step]} from {first} to {last}"
        else:
            text = "must be one of " + ", ".join(str(number) for number in self.allowed)
        return text + (f' or "{self.word}"' if self.word else "")

    @property
    def step(self) -> int:
        """From one number of a range to the next; 1 for other sequences."""
        return self.allowed.step if isinstance(self.allowed, range) else 1

    def converted(self, value: Any) -> int | str:
        """The value itself."""
        if self.word and value == self.word:
            return self.word
        if not isinstance(value, int) or isinstance(value, bool):
            # A float would be sought for in a long range one by one.
            whole = isinstance(value, float) and value.is_integer() and int(value) in self.allowed
            raise refusal(self.rule, f"write {value:.0f}" if whole else "write a whole number")
        if value not in self.allowed:
            raise refusal(self.rule, "choose one of these")
        return value


@dataclass(frozen=True)
class TableList(Kind):
    """A list of tables in place of one value, at most ``longest``, each of one of these forms, which check it."""

    forms: tuple[type[Record], ...]
    longest: int
    unit: str = ""

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return handler(source)  # type: ignore[no-any-return]

    @property
    def rule(self) -> str:
        """What must hold, in words."""
        return f"must be a list of at most {self.longest} tables, each {' or '.join(map(self._words, self.forms))}"

    @staticmethod
    def _words(form: type[Record]) -> str:
        """The keys of a form, with what holds where they are left out."""
        fields = {str(field.alias): field for field in form.model_fields.values()}
        shape = f'shape = "{get_args(fields.pop("shape").annotation)[0]}" with ' if "shape" in fields else ""
        names = [name if each.is_required() else f"{name} ({each.default:g})" for name, each in fields.items()]
        return shape + ", ".join(names)


@dataclass(frozen=True)
class YesNo(Kind):
    """true or false."""

    unit: str = ""

    @property
    def rule(self) -> str:
        """What must hold, in words."""
        return "must be true or false"

    def converted(self, value: Any) -> bool:
        """The value itself."""
        if not isinstance(value, bool):
            raise refusal(self.rule, "write it without quotes")
        return value


@dataclass(frozen=True)
class CountList(Kind):
    """A list of different whole numbers, each as ``each`` allows."""

    each: Count
    unit: str = ""

    @property
    def rule(self) -> str:
        """What must hold, in words."""
        return f"must be a list of different whole numbers from {self.each.allowed[0]} to {self.each.allowed[-1]}"

    def converted(self, value: Any) -> tuple[int, ...]:
        """The values themselves."""
        if not isinstance(value, list | tuple) or not 0 < len(value) <= len(self.each.allowed):
            raise refusal(self.rule, "write it as [1, 2, ...]")
        for position, number in enumerate(value, start=1):
            sound = isinstance(number, int) and not isinstance(number, bool) and number in self.each.allowed
            if not sound or number in value[: position - 1]:
                raise refusal(self.rule, f"mend number {position} of the list, {shown(number)}")
        return tuple(value)


@dataclass(frozen=True)
class Text(Kind):
    """A line of text."""

    longest: int
    unit: str = ""

    @property
    def rule(self) -> str:
        """What must hold, in words."""
        return f"must be one line of text in quotes, 1 to {self.longest} characters"

    def converted(self, value: Any) -> str:
        """The text without blanks at its ends."""
        if not isinstance(value, str):
            raise refusal(self.rule, "put it in quotes")
        text = value.strip()
        if not 0 < len(text) <= self.longest or not text.isprintable():
            raise refusal(self.rule, "shorten it, on one line and without control characters")
        return text


def key(name: str, meaning: str, default: Any = ..., *, example: Any = None, otherwise: str = "") -> Any:
    """A key of the file: name, meaning, default, an example for the starter file, in words what holds without it."""
    extra: JsonDict | None = {"otherwise": otherwise} if otherwise else None
    return Field(default, alias=name, description=meaning, examples=[example], json_schema_extra=extra)


class Record(BaseModel):
    """Ground for all records: frozen, closed to unknown keys, defaults checked like values."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)
