"""Keys of the design file that say what readings found of a motor's parts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import exp

from pcbstator import materials
from pcbstator.bench.built.estimate import Parts
from pcbstator.bench.built.result import Setting
from pcbstator.bench.causes.evidence import Hypothesis
from pcbstator.bench.causes.faults import WEIGHTS
from pcbstator.bench.causes.words import is_it
from pcbstator.design import SizedDesign

CORRELATED = 0.5  # from which two quantities are only known together
SAME = 5e-4  # of a value: less is no change
FIGURES = 4  # of a written value: more than any reading has


def written(value: float) -> float:
    """A value with as many figures as a file needs.

    >>> written(0.93123456)
    0.9312
    """
    return float(f"{value:.{FIGURES}g}")


def part_settings(design: SizedDesign, parts: Parts, base: dict[str, float]) -> Iterator[Setting]:
    """Keys of the quantities that the readings say something of. base: values that a property found sets beforehand."""
    for at, name in enumerate(parts.names):
        if not parts.told[at]:
            continue
        value = float(parts.values[at])
        reason = f"{parts.readings[at]}: {is_it(name, '', value, float(parts.spread[at]))}{_with(parts, at)}"
        for key, before, after in _changed(design, name, value, base):
            if _same(before, after) and key not in base:
                continue
            yield Setting(key, after, before, reason)


def _same(before: object, after: object) -> bool:
    """Whether a number stays what it was."""
    return isinstance(before, float) and isinstance(after, float) and abs(after - before) < SAME * abs(before)


def _with(parts: Parts, at: int) -> str:
    """Which others it is known together with only."""
    alike = parts.covariance[at] / (parts.spread[at] * parts.spread)
    others = [
        name.replace("_", " ")
        for k, name in enumerate(parts.names)
        if k != at and abs(alike[k]) > CORRELATED and name != "copper_temperature"
    ]
    return f", known only together with {' and '.join(others)}" if others else ""


def moved_keys(design: SizedDesign, name: str, value: float) -> dict[str, object]:
    """Keys of a design with a quantity moved by so much, as ``Allowance`` has it, not rounded."""
    return {key: after for key, _, after in _changed(design, name, value, {}, float)}


def _changed(
    design: SizedDesign,
    name: str,
    value: float,
    base: dict[str, float],
    written: Callable[[float], float] = written,
) -> Iterator[tuple[str, object, object]]:
    """Key, value before and after."""
    board, rotor, magnet, factor = design.board, design.rotor, design.rotor.magnet, exp(value)

    def times(key: str, before: float) -> tuple[str, object, object]:
        return key, written(before), written(base.get(key, before) * factor)

    if name == "remanence":
        yield from _remanence(design, factor, written)
    elif name == "air_gap":
        yield "rotor.air_gap_mm", written(1e3 * rotor.air_gap), written(1e3 * (rotor.air_gap + value))
    elif name == "outer_copper":
        yield times("board.outer_copper_um", 1e6 * board.outer_copper)
    elif name == "inner_copper":
        yield times("board.inner_copper_um", 1e6 * board.inner_copper)
    elif name == "etch":  # the pitch of the turns stays
        more = 1e3 * board.track_width * (factor - 1)
        yield times("board.track_width_mm", 1e3 * board.track_width)
        yield "board.track_gap_mm", written(1e3 * board.track_gap), written(1e3 * board.track_gap - more)
    elif name == "layer_distance":
        yield times("board.thickness_mm", 1e3 * board.thickness)
    elif name == "magnet_thickness":
        yield times("rotor.magnet.thickness_mm", 1e3 * magnet.thickness)
    elif name == "friction" and design.bearing is not None:
        yield times("bearing.friction_n_m", design.bearing.friction)


def _remanence(
    design: SizedDesign, factor: float, written: Callable[[float], float]
) -> Iterator[tuple[str, object, object]]:
    """A grade gives way to the number, but for the heat that it stands."""
    magnet = design.rotor.magnet
    yield "rotor.magnet.remanence_t", written(magnet.remanence), written(magnet.remanence * factor)
    if magnet.grade is None:
        return
    yield "rotor.magnet.grade", magnet.grade, None
    if design.cooling is not None and design.cooling.stated_magnet_max_c is None:
        limit = materials.magnet_limit(magnet.grade.strip())
        yield "cooling.magnet_max_c", None, limit


def property_settings(design: SizedDesign, lead: Hypothesis) -> tuple[Setting, ...] | None:
    """Keys of a cause that is a property of the motor and not a fault to repair; None where it is a fault."""
    board, name = design.board, lead.name
    if name == "copper_weight":
        outer, inner = next((outer, inner) for outer, inner, words in WEIGHTS if words == lead.where)
        foils = (("outer", outer, board.outer_copper), ("inner", inner, board.inner_copper))
        return tuple(
            Setting(f"board.{side}_copper_um", written(1e6 * factor * foil), written(1e6 * foil),
                    is_it(name, lead.where))
            for side, factor, foil in foils if factor != 1.0
        )  # fmt: skip
    if name == "connection":
        other = {"star": "delta", "delta": "star"}[design.winding.connection]
        return (Setting("winding.connection", other, design.winding.connection, is_it(name, lead.where)),)
    if name == "steel_missing":
        return (Setting("rotor.back_iron_mm", 0.0, written(1e3 * design.rotor.back_iron), is_it(name, "")),)
    return None
