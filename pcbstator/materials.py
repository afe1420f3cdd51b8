"""Copper, board laminate and magnets: values with their sources, kept as data in ``materials.toml``."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from pcbstator.errors import LawRangeError

BELOW_TG = 20.0  # K that a board stays below its glass transition (common practice, no source)
REFERENCE_TEMPERATURE_C = 20.0  # every value of materials.toml that depends on temperature holds here


@dataclass(frozen=True)
class Copper:
    """Copper at 20 C: resistivity [ohm m], its coefficient [1/K] and density [kg/m3]."""

    resistivity: float
    resistance_coefficient: float
    density: float


@dataclass(frozen=True)
class Laminate:
    """FR-4: conductivities [W/(m K)], density [kg/m3], emissivity of the solder mask [1], rated temperature [C]."""

    conductivity_through: float
    conductivity_in_plane: float
    density: float
    mask_emissivity: float
    rated_temperature_c: float


@dataclass(frozen=True)
class Neodymium:
    """What all sintered NdFeB grades share: coefficients [1/K], recoil permeability [1], density [kg/m3],
    resistivity [ohm m] and the field of the knee over the intrinsic coercivity [1]."""

    remanence_coefficient: float
    coercivity_coefficient: float
    recoil_permeability: float
    density: float
    resistivity: float
    knee_ratio: float
    lowest_temperature_c: float


@dataclass(frozen=True)
class MagnetGrade:
    """A grade at 20 C: mean remanence [T] and its range, least intrinsic coercivity [A/m], highest temperature [C]."""

    name: str
    remanence: float
    remanence_least: float
    remanence_most: float
    coercivity: float
    highest_temperature_c: float


@dataclass(frozen=True)
class MagnetisationCurve:
    """Points of a first magnetisation curve, both ascending from 0: flux densities [T] and field strengths [A/m].

    Between the points it is straight, beyond the last it rises as in air.
    """

    flux_density: tuple[float, ...]
    field_strength: tuple[float, ...]


@cache
def _tables() -> dict[str, Any]:
    return tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))


def _value(material: str, key: str) -> float:
    """A value, or the mean of its range."""
    entry = _tables()[material][key]
    return float(entry["value"]) if "value" in entry else sum(entry["range"]) / 2


@cache
def copper() -> Copper:
    """Annealed copper.

    >>> copper().resistivity
    1.7241e-08
    """
    return Copper(
        resistivity=_value("copper", "resistivity_ohm_m"),
        resistance_coefficient=_value("copper", "resistance_coefficient_per_k"),
        density=_value("copper", "density_kg_m3"),
    )


@cache
def laminate() -> Laminate:
    """Board laminate of epoxy and woven glass (FR-4).

    >>> laminate().conductivity_through
    0.343
    """
    return Laminate(
        conductivity_through=_value("laminate", "conductivity_through_w_m_k"),
        conductivity_in_plane=_value("laminate", "conductivity_in_plane_w_m_k"),
        density=_value("laminate", "density_kg_m3"),
        mask_emissivity=_value("laminate", "mask_emissivity"),
        rated_temperature_c=_value("laminate", "rated_temperature_c"),
    )


@cache
def neodymium() -> Neodymium:
    """What all sintered NdFeB magnets share.

    >>> neodymium().density
    7500.0
    """
    return Neodymium(
        remanence_coefficient=_value("neodymium", "remanence_coefficient_per_k"),
        coercivity_coefficient=_value("neodymium", "coercivity_coefficient_per_k"),
        recoil_permeability=_value("neodymium", "recoil_permeability"),
        density=_value("neodymium", "density_kg_m3"),
        resistivity=_value("neodymium", "resistivity_ohm_m"),
        knee_ratio=_value("neodymium", "knee_ratio"),
        lowest_temperature_c=_value("neodymium", "lowest_temperature_c"),
    )


def grade_names() -> tuple[str, ...]:
    """The numbers of the known grades, each of which may carry M, H, SH or UH."""
    return tuple(key for key in _tables()["neodymium"]["remanence_t"] if key != "source")


def magnet_grade(name: str) -> MagnetGrade:
    """The grade called ``name``.

    name: a number as in N42, and M, H, SH or UH where the magnet stands more heat. Result: remanence [T], coercivity
    [A/m] and highest temperature [C]. An unknown name is a LawRangeError that lists the known ones. Source: several
    makers' tables, in materials.toml.

    >>> magnet_grade("N42SH").highest_temperature_c
    150.0
    """
    tables = _tables()["neodymium"]
    parts = re.fullmatch(r"(N[0-9]{2})(M|H|SH|UH)?", name)
    if parts is None or parts[1] not in grade_names():
        raise LawRangeError(
            f"magnet grade {name[:20]!r} is not known; "
            f"known are {', '.join(grade_names())}, each plain or with M, H, SH or UH"
        )
    number, letters = parts[1], parts[2] or "plain"
    limits = tables["classes"][letters]
    if letters == "plain":
        limits = tables["exceptions"].get(number, limits)
    least, most = tables["remanence_t"][number]
    return MagnetGrade(
        name=name,
        remanence=(least + most) / 2,
        remanence_least=least,
        remanence_most=most,
        coercivity=limits["coercivity_a_m"],
        highest_temperature_c=limits["highest_temperature_c"],
    )


@cache
def steel_density() -> float:
    """Density of mild steel [kg/m3].

    >>> steel_density()
    7860.0
    """
    return _value("mild_steel", "density_kg_m3")


def steel_loss_values() -> tuple[float, float, float]:
    """Resistivity of plain steel [ohm m], its hysteresis loss per cycle at 1 T [J/m3] and the exponent of that [1].

    >>> steel_loss_values()
    (1.4e-07, 750.0, 1.6)
    """
    names = "resistivity_ohm_m", "hysteresis_j_m3", "hysteresis_exponent"
    resistivity, loop, exponent = (_value("mild_steel", name) for name in names)
    return resistivity, loop, exponent


def board_limit(tg_c: float) -> float:
    """Temperature that a board of this glass transition stands for years [C].

    tg_c: [C]. Source: common practice, in materials.toml.

    >>> board_limit(150.0), board_limit(170.0), board_limit(110.0)
    (105.0, 130.0, 90.0)
    """
    rated = "class_temperature_c" if tg_c >= _value("laminate", "class_tg_c") else "rated_temperature_c"
    return min(_value("laminate", rated), tg_c - BELOW_TG)


def magnet_limit(grade: str | None) -> float:
    """Highest temperature of magnets of this grade, or of unknown ones [C].

    >>> magnet_limit("N42SH"), magnet_limit(None)
    (150.0, 80.0)
    """
    return magnet_grade(grade).highest_temperature_c if grade else _value("neodymium", "unknown_limit_c")


@dataclass(frozen=True)
class HeatValues:
    """What heat meets: conductivity of copper [W/(m K)], heat capacities [J/(kg K)], emissivity of rotors [1]."""

    copper_conductivity: float
    copper_capacity: float
    laminate_capacity: float
    magnet_capacity: float
    steel_capacity: float
    rotor_emissivity: float


@cache
def heat_values() -> HeatValues:
    """Values for heat.

    >>> heat_values().copper_conductivity
    390.0
    """
    return HeatValues(
        copper_conductivity=_value("copper", "conductivity_w_m_k"),
        copper_capacity=_value("copper", "heat_capacity_j_kg_k"),
        laminate_capacity=_value("laminate", "heat_capacity_j_kg_k"),
        magnet_capacity=_value("neodymium", "heat_capacity_j_kg_k"),
        steel_capacity=_value("mild_steel", "heat_capacity_j_kg_k"),
        rotor_emissivity=_value("neodymium", "emissivity"),
    )


@dataclass(frozen=True)
class PlateMaterial:
    """What a rotor plate is made of: conductivity [W/(m K)], highest temperature [C], density [kg/m3], modulus of
    elasticity [Pa], Poisson's ratio [1], heat capacity [J/(kg K)], emissivity [1].
    """

    conductivity: float
    max_c: float
    density: float
    modulus: float
    poisson: float
    capacity: float
    emissivity: float


@cache
def plate_material(name: str) -> PlateMaterial:
    """A material of rotor plates by its name.

    name: steel, aluminium, acrylic, wood or printed. Source: each in materials.toml.

    >>> plate_material("acrylic").conductivity, plate_material("acrylic").max_c
    (0.19, 70.0)
    """
    keys = (
        "conductivity_w_m_k", "max_c", "density_kg_m3", "modulus_pa", "poisson_ratio", "heat_capacity_j_kg_k",
        "emissivity",
    )  # fmt: skip
    return PlateMaterial(*(_value(f"plate_{name}", key) for key in keys))


def stated_material(
    known: PlateMaterial | None,
    conductivity: float | None,
    max_c: float | None,
    density: float | None,
    modulus: float | None,
) -> PlateMaterial:
    """A material with what is stated of it; known: None where it is none of the list. Other values as of plastics."""
    found = known or plate_material("acrylic")
    stated = {"conductivity": conductivity, "max_c": max_c, "density": density, "modulus": modulus}
    return replace(found, **{name: value for name, value in stated.items() if value is not None})


@dataclass(frozen=True)
class Rolling:
    """A body in a rolling contact: modulus of elasticity [Pa], Poisson's ratio [1], resistivity at 20 C [ohm m]."""

    modulus: float
    poisson: float
    resistivity: float


@cache
def ball(name: str) -> Rolling:
    """What balls are made of.

    name: steel, stainless or brass. Source: each in materials.toml.

    >>> ball("steel").resistivity
    2.2e-07
    """
    return Rolling(*(_value(f"ball_{name}", key) for key in ("modulus_pa", "poisson_ratio", "resistivity_ohm_m")))


@cache
def raceway(key: str) -> float:
    """A value of copper foil over laminate as a race of balls, in SI; key: as in materials.toml, less its unit.

    >>> raceway("yield")
    250000000.0
    """
    return _value("raceway", key if key.endswith("ratio") else f"{key}_pa")


@cache
def glue_limit() -> float:
    """Temperature that the glue of magnets stands for years [C].

    >>> glue_limit()
    80.0
    """
    return _value("glue", "max_c")


@cache
def mild_steel() -> MagnetisationCurve:
    """Magnetisation of low-carbon steel, the usual plate behind magnets.

    >>> mild_steel().flux_density[7], mild_steel().field_strength[7]
    (0.931, 795.8)
    """
    points = _tables()["mild_steel"]["magnetisation"]
    return MagnetisationCurve(tuple(points["flux_density_t"]), tuple(points["field_strength_a_m"]))


def remanence(grade: str, temperature_c: float) -> float:
    """Remanence of a magnet of this grade, falling in a straight line with temperature.

    grade: as in N42 or N42SH. temperature_c: of the magnet [C]. Result: the mean of the makers' range [T]. Holds from
    -100 C to the highest temperature of the grade; outside it a LawRangeError, because a magnet kept hotter loses
    strength for good. Source: several makers' tables, in materials.toml.

    >>> round(remanence("N42", 20.0), 3), round(remanence("N42", 60.0), 3)
    (1.3, 1.244)
    """
    magnet = _grade_at(grade, temperature_c)
    return magnet.remanence * (1 + neodymium().remanence_coefficient * (temperature_c - REFERENCE_TEMPERATURE_C))


def knee_field_strength(grade: str, temperature_c: float) -> float:
    """Opposing field at which a magnet of this grade begins to lose strength for good.

    grade: as in N42 or N42SH. temperature_c: of the magnet [C]. Result: [A/m], positive: the grade's least intrinsic
    coercivity, falling in a straight line with temperature (mean of the makers' coefficients), times the squareness.
    Range as for ``remanence``. Source: several makers' tables and common practice, in materials.toml.

    >>> round(knee_field_strength("N42", 20.0) / 1e3), round(knee_field_strength("N42", 80.0) / 1e3)
    (860, 548)
    """
    magnet, shared = _grade_at(grade, temperature_c), neodymium()
    coercivity = magnet.coercivity * (1 + shared.coercivity_coefficient * (temperature_c - REFERENCE_TEMPERATURE_C))
    return shared.knee_ratio * coercivity


def _grade_at(grade: str, temperature_c: float) -> MagnetGrade:
    """The grade, if it stands the temperature."""
    magnet, shared = magnet_grade(grade), neodymium()
    if not shared.lowest_temperature_c <= temperature_c <= magnet.highest_temperature_c:
        raise LawRangeError(
            f"grade {grade} holds from {shared.lowest_temperature_c:g} to {magnet.highest_temperature_c:g} C, "
            f"not at {temperature_c:g} C"
        )
    return magnet
