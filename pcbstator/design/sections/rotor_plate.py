"""The plate that carries the magnets of a rotor: what it is made of, its outline, and how it is held."""

from __future__ import annotations

from typing import Annotated, Literal

from pcbstator import materials
from pcbstator.design.quantities import LARGEST, Quantity, Record, celsius, key, millimetres
from pcbstator.design.sections.mechanical_features import HoleCircle

OTHER = "other"


class RotorPlate(Record):
    """A disc or ring behind the magnets and their steel; of steel, it is that steel."""

    material: Literal["steel", "aluminium", "acrylic", "wood", "printed", "other"] = key(
        "material",
        'of the plate; "printed": PLA, solid; "other": what follows is then required',
        example="aluminium",
    )
    stated_conductivity: Annotated[float, Quantity("W/(m K)", 1.0, 0.01, 1000)] | None = key(
        "conductivity_w_per_mk", "conductivity for heat", None, example=0.2, otherwise="of the material"
    )
    stated_max_c: Annotated[float, celsius(0, 500)] | None = key(
        "max_c", "hottest the plate may get for years", None, example=60.0, otherwise="of the material"
    )
    stated_density: Annotated[float, Quantity("kg/m3", 1.0, 10, 30_000)] | None = key(
        "density_kg_m3", "mass per volume", None, example=1200.0, otherwise="of the material"
    )
    stated_modulus: Annotated[float, Quantity("GPa", 1e-9, 1e-3, 1000)] | None = key(
        "modulus_gpa", "modulus of elasticity", None, example=3.0, otherwise="of the material"
    )
    thickness: Annotated[float, millimetres(0.2, 100)] = key("thickness_mm", "along the axis", example=5.0)
    outer_diameter: Annotated[float, millimetres(2, LARGEST)] = key(
        "outer_diameter_mm", "outline of the plate", example=72.0
    )
    inner_diameter: Annotated[float, millimetres(0, LARGEST)] = key(
        "inner_diameter_mm", "bore of the plate, 0 for a disc without one", 0.0
    )
    pocket: Annotated[float, millimetres(0, 50)] = key(
        "pocket_depth_mm", "by which magnets, or their steel, are let into the plate", 0.0
    )
    stated_held: Annotated[float, millimetres(1, LARGEST)] | None = key(
        "held_diameter_mm", "circle on which the plate is held", None, example=36.0,
        otherwise="that of the first holes, else the bore",
    )  # fmt: skip
    held: Literal["supported", "clamped"] = key(
        "held", "there: free to lean, or clamped so stiffly that it cannot", "supported"
    )
    holes: tuple[HoleCircle, ...] = key("holes", "fixing holes of the plate", ())

    @property
    def values(self) -> materials.PlateMaterial:
        """What it is made of, with what the file says of it."""
        known = None if self.material == OTHER else materials.plate_material(self.material)
        return materials.stated_material(
            known, self.stated_conductivity, self.stated_max_c, self.stated_density, self.stated_modulus
        )

    @property
    def held_diameter(self) -> float:
        """Circle on which it is held [m]."""
        if self.stated_held is not None:
            return self.stated_held
        return next((holes.circle_diameter for holes in self.holes if holes.circle_diameter), self.inner_diameter)
