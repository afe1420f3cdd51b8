"""Every key of a design file, read off the records: for messages, for the starter file and for the table of keys."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import Any, TypeGuard, get_args

from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from pcbstator.design.quantities import Kind, Record
from pcbstator.design.records import Design
from pcbstator.design.rules import WHAT, RuleSet
from pcbstator.design.sections.rotor import Magnet

SHAPES: dict[str, type[Record]] = {
    get_args(shape.model_fields["shape"].annotation)[0]: shape for shape in get_args(Magnet)
}
MAGNET = "rotor.magnet"

# Keys of earlier versions, by what they are called now; docs/changelog.md lists them.
RENAMED = {
    "winding.link_rim": "winding.connection_ring",
    "board.link_width_mm": "board.interconnect_width_mm",
    "board.vias_per_joint": "board.vias_per_transition",
    "board.joint_drill_mm": "board.jumper_drill_mm",
    "board.joint_pad_mm": "board.jumper_pad_mm",
    "operation.currents_a": "operation.phase_currents_peak_a",
    "drive.current_limit_a": "drive.current_limit_peak_a",
    "load.friction_n_m": "bearing.friction_n_m",
    "load.standstill_friction_n_m": "bearing.standstill_friction_n_m",
    "load.standstill_fades_rpm": "bearing.standstill_fades_rpm",
    "load.viscous_n_m_s_per_rad": "bearing.viscous_n_m_s_per_rad",
    "load.friction_spots": "bearing.friction_spots",
    "drive.bearing_play_mm": "bearing.radial_play_mm",
    "slip_ring.current_a": "slip_ring.current_rms_a",
}


@dataclass(frozen=True)
class Key:
    """A key of the file.

    shape: the magnet shape that it belongs to, empty where it belongs to all. kind: of its values; None where it
    has one of ``words``, or is a rule set.
    """

    section: str
    name: str
    unit: str
    rule: str
    meaning: str
    required: bool
    default: Any
    otherwise: str
    example: Any
    shape: str
    kind: Kind | None = None
    words: tuple[str, ...] = ()

    @cached_property
    def path(self) -> str:
        """The dotted name, such as ``winding.turns``."""
        return f"{self.section}.{self.name}" if self.section else self.name


@dataclass(frozen=True)
class Section:
    """A table of the file with its keys in their order; ``many``: a list of such tables."""

    path: str
    required: bool
    meaning: str
    keys: tuple[Key, ...]
    many: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Names that may stand in this table: keys and tables within it."""
        inner = [path.rpartition(".")[2] for path in sections() if path and path.rpartition(".")[0] == self.path]
        return tuple(dict.fromkeys([key.name for key in self.keys] + inner))


@cache
def sections() -> dict[str, Section]:
    """All sections by their dotted path; the top of the file has the empty path."""
    found = list(_sections_of(Design, "", True, "top of the file"))
    return {section.path: section for section in found}


@cache
def keys() -> dict[str, tuple[Key, ...]]:
    """All keys by their dotted path; several where magnet shapes share a name."""
    found: dict[str, tuple[Key, ...]] = {}
    for section in sections().values():
        for key in section.keys:
            found[key.path] = (*found.get(key.path, ()), key)
    return found


def keys_of(section: Section, shape: object) -> tuple[Key, ...]:
    """The keys of a section that hold for a magnet of this shape."""
    return tuple(key for key in section.keys if key.shape in ("", shape))


def record_keys(section: str, record: type[Record]) -> tuple[Key, ...]:
    """The keys of a record without tables in it."""
    return tuple(_key(section, field) for field in record.model_fields.values())


def _sections_of(record: type[Record], path: str, required: bool, meaning: str) -> Iterator[Section]:
    """This record's section, then those within it."""
    own, inner = [], []
    for field in record.model_fields.values():
        name = str(field.alias)
        below = f"{path}.{name}" if path else name
        tables = [part for part in (field.annotation, *get_args(field.annotation)) if is_record(part)]
        if name == "magnet":
            inner.append(_magnet_section(below, field))
        elif tables and tables[0] is not RuleSet:
            found = list(_sections_of(tables[0], below, field.is_required(), str(field.description)))
            inner += [replace(found[0], many=Ellipsis in get_args(field.annotation)), *found[1:]]
        else:
            own.append(_key(path, field))
            if tables:
                limits = record_keys(below, RuleSet)
                inner.append(Section(below, False, "limits of the board manufacturer, instead of a name", limits))
    yield Section(path, required, meaning, tuple(own))
    yield from inner


def _magnet_section(path: str, field: FieldInfo) -> Section:
    """The magnet's section: the shape, the keys of each shape, then what all shapes share."""
    rule = _one_of(tuple(SHAPES))
    shape_key = Key(
        path, "shape", "", rule, "shape of one magnet", True, None, "", "sector", "", words=tuple(SHAPES)
    )  # fmt: skip
    shared = set.intersection(*(set(record.model_fields) for record in SHAPES.values())) - {"shape"}
    special = [
        _key(path, info, shape)
        for shape, record in SHAPES.items()
        for name, info in record.model_fields.items()
        if name not in shared and name != "shape"
    ]
    common = [_key(path, info) for name, info in SHAPES["sector"].model_fields.items() if name in shared]
    return Section(path, field.is_required(), str(field.description), (shape_key, *special, *common))


def is_record(part: object) -> TypeGuard[type[Record]]:
    """Whether this is the type of a record."""
    return isinstance(part, type) and issubclass(part, Record)


def _key(section: str, field: FieldInfo, shape: str = "") -> Key:
    """What a record's field says about its key."""
    kind = next((part for part in _metadata(field) if isinstance(part, Kind)), None)
    extra = field.json_schema_extra
    default = None if field.default is PydanticUndefined else field.default
    example = (field.examples or [None])[0]
    words = tuple(word for word in get_args(field.annotation) if isinstance(word, str))
    return Key(
        section=section,
        name=str(field.alias),
        unit=str(getattr(kind, "unit", "")),
        rule=str(getattr(kind, "rule", "")) or _one_of(words),
        meaning=str(field.description),
        required=field.is_required(),
        default=default,
        otherwise=str(extra["otherwise"]) if isinstance(extra, dict) else "",
        example=default if example is None else example,
        shape=shape,
        kind=kind,
        words=words,
    )


def _metadata(field: FieldInfo) -> Iterator[object]:
    """The annotations of a field, also where it may be left out (``Annotated[...] | None``)."""
    yield from field.metadata
    for part in get_args(field.annotation):
        yield from getattr(part, "__metadata__", ())


def _one_of(words: tuple[str, ...]) -> str:
    """The rule of a key that has one of these words; that of a rule set where there are none."""
    quoted = [f'"{word}"' for word in words]
    if not quoted:
        return WHAT
    return f"must be {quoted[0]}" if len(quoted) == 1 else "must be one of " + ", ".join(quoted)


def nearest(path: str, shape: object = "") -> str:
    """What to do about the unknown key ``path``: its new name, or the nearest known one; in a magnet, of those that its
    shape has.
    """
    if path in RENAMED:
        return f"it is called {RENAMED[path]} now"
    section, _, name = path.rpartition(".")
    here = sections()[section].names if section in sections() else ()
    if shape:
        here = tuple(key.name for key in keys_of(sections()[section], shape))
    close = difflib.get_close_matches(name, here, n=1, cutoff=0.7)
    if close:
        return f"did you mean {_dotted(section, close[0])}?"
    elsewhere = {known.rpartition(".")[2]: known for known in reversed([*sections(), *keys()]) if known}
    close = difflib.get_close_matches(name, elsewhere, n=1, cutoff=0.7)
    if close:
        return f"did you mean {elsewhere[close[0]]}?"
    far = difflib.get_close_matches(name, here, n=1, cutoff=0.0)
    listed = ", ".join(here)
    return f"the nearest known key is {_dotted(section, far[0])}; known here: {listed}" if far else "take it away"


def _dotted(section: str, name: str) -> str:
    return f"{section}.{name}" if section else name
