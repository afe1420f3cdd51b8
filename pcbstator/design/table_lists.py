"""A key that holds a list of small tables, such as bodies or friction spots."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pcbstator.design.quantities import Kind, Quantity, is_number, number_remedy, refusal, shown

Keys = Mapping[str, tuple[Quantity, float | None]]


@dataclass(frozen=True)
class Variant:
    """One form of table: the word that its key ``shape`` has, empty where there is one form only; keys and defaults."""

    shape: str
    keys: Keys

    def __hash__(self) -> int:
        return hash((self.shape, tuple(self.keys)))

    def __str__(self) -> str:
        """The form in words."""
        names = [name if default is None else f"{name} ({default:g})" for name, (_, default) in self.keys.items()]
        return (f'shape = "{self.shape}" with ' if self.shape else "") + ", ".join(names)


@dataclass(frozen=True)
class TableList(Kind):
    """A list of tables, at most ``longest``, each of one of the forms; inside, keys without units, values in SI."""

    forms: tuple[Variant, ...]
    longest: int
    unit: str = ""

    @property
    def rule(self) -> str:
        """What must hold, in words."""
        return f"must be a list of at most {self.longest} tables, each {' or '.join(str(form) for form in self.forms)}"

    def converted(self, value: Any) -> tuple[dict[str, float | str], ...]:
        """The tables in SI."""
        if not isinstance(value, list | tuple) or not 0 < len(value) <= self.longest:
            raise refusal(self.rule, "write it as [{ … }, { … }]")
        return tuple(self._table(number, table) for number, table in enumerate(value, start=1))

    def _table(self, number: int, table: Any) -> dict[str, float | str]:
        if not isinstance(table, Mapping):
            raise refusal(self.rule, f"make entry {number} a table {{ … }}; it is {shown(table)}")
        form = next((form for form in self.forms if form.shape == table.get("shape", "")), None)
        if form is None:
            words = ", ".join(f'"{form.shape}"' for form in self.forms)
            raise refusal(self.rule, f"give entry {number} one of the shapes {words}")
        found: dict[str, float | str] = {"shape": form.shape} if form.shape else {}
        unknown = [name for name in table if name not in form.keys and name != "shape"]
        if unknown:
            raise refusal(self.rule, f"take {shown(unknown[0])} out of entry {number}")
        for name, (quantity, default) in form.keys.items():
            stated = table.get(name, default)
            if stated is None:
                raise refusal(self.rule, f"give entry {number} its {name}")
            if not is_number(stated) or not quantity.takes(stated):
                what = quantity.remedy(stated) if is_number(stated) else number_remedy(stated)
                raise refusal(f"{name} of entry {number} {quantity.rule}", f"{what}; it is {shown(stated)}")
            found[name.removesuffix(f"_{_ending(quantity)}")] = quantity.converted(stated)
        return found


def _ending(quantity: Quantity) -> str:
    """How a key says this unit."""
    return {"N·m": "n_m"}.get(quantity.unit, quantity.unit)
