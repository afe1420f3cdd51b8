"""Flux density in the iron behind the magnets and in a plate on the board's far side, and what saturation does.

Between two poles the flux of half a pole runs along the plate. Inside the plate mu·(phi'' − k²·phi) = 0, so per mode
the flux that enters minus what leaks out behind is mu·k²·∫ phi dz, and the circumferential flux density, averaged over
the thickness t, is exactly

    B_theta = Σ_n sin(n·theta·p) · n·p/r · Σ_modes e(r)·(B_in − B_out)/k² / t.

Saturated steel is replaced by one permeability for the whole plate. B given as it runs there (along the angle, the
radius, and crowding towards the magnets), the steel's H makes mu = ∫B²/∫HB, which is too low because saturation would
flatten B; H given instead makes mu = ∫HB/∫H², too high. The geometric mean of these two bounds is taken. The field at
the board then is right to 1 %, while B in steel above 2 T, where it is really flatter, comes out up to 8 % too high.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from math import exp, log, sqrt

import numpy as np
from numpy.typing import NDArray

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.materials import MagnetisationCurve
from pcbstator.physics.field_layers import MagnetLayers, back_response, charge_response, layer_response, plate_leakage
from pcbstator.physics.magnet_ring import ODD_ORDERS, Footprint, RingSource, serving_source

FloatArray = NDArray[np.float64]

IRON_ORDERS = np.array(ODD_ORDERS)
STEPS = 40  # at most; 4 or 5 do in steel that hardly saturates, 9 where it carries 2 T
CLOSE = 1e-6  # of the permeability
ANGLES = np.arange(1, 13) / 24.0 * np.pi  # of a quarter period, from a pole's middle to midway between two
ANGLE_WEIGHTS = np.append(np.ones(11), 0.5)  # trapezoids, B = 0 at the pole's middle
AROUND = np.sin(np.multiply.outer(ANGLES, IRON_ORDERS))  # (A, n)


@dataclass(frozen=True, eq=False)
class IronField:
    """Circumferential flux density in an iron plate, averaged over its thickness.

    permeability: relative, as taken [1]. radii: over the magnets (R,) [m]. pattern: (ANGLES, R) [T], its last row
    midway between two poles. peak: the largest there [T]. half_pole_flux: enters the plate from half a pole [Wb].
    mean: that flux over thickness × radial length of the magnets [T].
    """

    permeability: float
    radii: FloatArray
    pattern: FloatArray
    peak: float
    half_pole_flux: float
    mean: float


@dataclass(frozen=True, eq=False)
class SaturatedIron:
    """The layers with the effective permeability of their steel, and the flux density in each plate there is."""

    layers: MagnetLayers
    back_iron: IronField | None
    plate: IronField | None


def curve_field_strength(flux_density: FloatArray, curve: MagnetisationCurve) -> FloatArray:
    """Field strength in steel.

    flux_density: any shape, 0 or more [T]. curve: of the steel [T, A/m].
    Returns the shape of flux_density [A/m]. Range: beyond the table the slope is that of air. Derived here.

    >>> from pcbstator.materials import mild_steel
    >>> curve_field_strength(np.array([0.931, 2.4 + 4e-7 * np.pi * 1e5]), mild_steel()).round(1).tolist()
    [795.8, 418310.0]
    """
    B, H = _table(curve)
    return np.asarray(np.interp(flux_density, B, H) + np.maximum(flux_density - B[-1], 0.0) / MU_0)


def curve_flux_density(field_strength: FloatArray, curve: MagnetisationCurve) -> FloatArray:
    """Flux density in steel.

    field_strength: any shape, 0 or more [A/m]. curve: of the steel [T, A/m].
    Returns the shape of field_strength [T]. Range: beyond the table the slope is that of air. Derived here.

    >>> from pcbstator.materials import mild_steel
    >>> curve_flux_density(np.array([795.8, 418310.0]), mild_steel()).round(4).tolist()
    [0.931, 2.5257]
    """
    B, H = _table(curve)
    return np.asarray(np.interp(field_strength, H, B) + np.maximum(field_strength - H[-1], 0.0) * MU_0)


@lru_cache(maxsize=16)
def _table(curve: MagnetisationCurve) -> FloatArray:
    """Flux densities and field strengths of a curve, one above the other."""
    table = np.array([curve.flux_density, curve.field_strength])
    table.flags.writeable = False
    return table


def back_iron_field(footprint: Footprint, pole_pairs: int, layers: MagnetLayers) -> IronField:
    """Flux density in the iron behind the magnets, of the permeability the layers give it.

    footprint: of one magnet [m, rad]. pole_pairs: p, 1 or more [-]. layers: with back_iron above 0 [m, T].
    Returns an IronField [T, Wb], to 0.7 %. No back iron: LawRangeError. The plate is taken as endless; one that ends
    with the magnets carries 2 (two rotors) to 5 % (one) more, and the field at the board over the magnets is the same
    within 0.3 %, 1 to 3 % of the peak higher 2 mm beyond their rim. Derived here.

    >>> from pcbstator.physics.magnet_ring import sector_footprint
    >>> ring = sector_footprint(0.034, 0.051, 0.8 * np.pi / 24)
    >>> iron = back_iron_field(ring, 12, MagnetLayers(0.003, 1.3, 1.05, back_iron=0.002, mirror_distance=0.0016))
    >>> round(iron.peak, 2), round(iron.mean, 2)
    (1.94, 2.09)
    """
    return _back_field(_source(footprint, pole_pairs, layers), pole_pairs, layers)


def plate_field(footprint: Footprint, pole_pairs: int, layers: MagnetLayers) -> IronField:
    """Flux density in an iron plate on the far side of the board, of the permeability the layers give it.

    footprint: of one magnet [m, rad]. pole_pairs: p, 1 or more [-]. layers: with a plate [m, T].
    Returns an IronField [T, Wb]. No plate: LawRangeError. Standing field: what the turning field induces in the plate
    is left out. Derived here.

    >>> from pcbstator.physics.magnet_ring import sector_footprint
    >>> ring = sector_footprint(0.034, 0.051, 0.8 * np.pi / 24)
    >>> layers = MagnetLayers(0.003, 1.3, 1.05, back_iron=0.002, plate_distance=0.003, plate_thickness=0.001)
    >>> round(plate_field(ring, 12, layers).peak, 2)
    1.78
    """
    return _plate_field(_source(footprint, pole_pairs, layers), pole_pairs, layers)


def saturated_iron(
    footprint: Footprint,
    pole_pairs: int,
    layers: MagnetLayers,
    curve: MagnetisationCurve,
    source: RingSource | None = None,
) -> SaturatedIron:
    """Effective permeability of the steel behind the magnets and of a plate facing them, and the field in both.

    footprint: of one magnet [m, rad]. pole_pairs: p, 1 or more [-]. layers: any permeability they give to a plate there
    is set aside [m, T]. curve: of the steel [T, A/m]. source: made beforehand, as serving_source takes it [m].
    Returns SaturatedIron [T, Wb]; without iron the layers as they came. The fundamental at the board comes within 1 %
    of a non-linear field solution, 2 % where the steel takes more than 8 % of it. Derived here.

    >>> from pcbstator.materials import mild_steel
    >>> from pcbstator.physics.magnet_ring import sector_footprint
    >>> ring = sector_footprint(0.034, 0.051, 0.8 * np.pi / 24)
    >>> steel = saturated_iron(ring, 12, MagnetLayers(0.003, 1.3, 1.05, 0.002, mirror_distance=0.0016), mild_steel())
    >>> round(steel.layers.back_iron_permeability), round(steel.back_iron.peak, 2)
    (192, 1.9)
    """
    has_plate = layers.plate_distance is not None and layers.plate_thickness > 0.0
    if layers.back_iron == 0.0 and not has_plate:
        return SaturatedIron(layers, None, None)
    source = _source(footprint, pole_pairs, layers, source)
    back = plate = None
    for _ in range(2 if layers.back_iron > 0.0 and has_plate else 1):  # each plate hardly feels the other's change
        if layers.back_iron > 0.0:
            back = _field_in_steel(
                lambda mu: _back_field(source, pole_pairs, replace(layers, back_iron_permeability=mu)),  # noqa: B023
                layers.back_iron, pole_pairs, curve, back,
            )
            layers = replace(layers, back_iron_permeability=back.permeability)
        if has_plate:
            plate = _field_in_steel(
                lambda mu: _plate_field(source, pole_pairs, replace(layers, plate_permeability=mu)),  # noqa: B023
                layers.plate_thickness, pole_pairs, curve, plate,
            )
            layers = replace(layers, plate_permeability=plate.permeability)
    return SaturatedIron(layers, back, plate)


def _source(
    footprint: Footprint, pole_pairs: int, layers: MagnetLayers, source: RingSource | None = None
) -> RingSource:
    reach = np.array([min(layers.magnet_thickness, layers.facing_distance)])
    return serving_source(source, footprint, pole_pairs, footprint.breakpoints, reach, IRON_ORDERS)


def _back_field(source: RingSource, pole_pairs: int, layers: MagnetLayers) -> IronField:
    if layers.back_iron == 0.0:
        raise LawRangeError("there is no back iron: give it a thickness")
    axial, charged = back_response(source.wave_numbers, layers)
    entering = layers.remanence * source.combined(axial, charged)
    return _iron_field(source, pole_pairs, entering, layers.back_iron, layers.back_iron_permeability)


def _plate_field(source: RingSource, pole_pairs: int, layers: MagnetLayers) -> IronField:
    if layers.plate_distance is None or layers.plate_thickness == 0.0:
        raise LawRangeError("no plate faces the magnets: give plate_distance and plate_thickness")
    k, place = source.wave_numbers, np.array([layers.plate_distance])
    axial, charged = (law(k, place, layers)[:, 0] for law in (layer_response, charge_response))
    entering = layers.remanence * source.combined(axial, charged)
    return _iron_field(source, pole_pairs, entering, layers.plate_thickness, layers.plate_permeability)


def _iron_field(
    source: RingSource, pole_pairs: int, entering: FloatArray, thickness: float, permeability: float
) -> IronField:
    """From the modal amplitudes (n, N) of B at the plate's face: what enters on half a pole leaves along the plate."""
    k, radii, reading = source.wave_numbers, *source.over_magnets
    kept = entering * (1.0 - plate_leakage(k, thickness, permeability))
    m = IRON_ORDERS * pole_pairs
    midway = np.where(IRON_ORDERS % 4 == 1, 1.0, -1.0)  # sin(n·pi/2)
    nodal = source.at_nodes(np.stack([kept / k**2, kept], axis=1))
    along = nodal[:, 0] @ reading.T * m[:, None] / radii / thickness
    pattern = np.abs(AROUND @ along)
    whole = nodal[:, 1] @ source.modes.root_mass**2  # ∫ B r dr
    flux = abs(float(np.sum(midway / m * whole)))
    mean = flux / (thickness * float(radii[-1] - radii[0]))
    return IronField(permeability, radii, pattern, float(pattern[-1].max()), flux, mean)


def _field_in_steel(
    field_at: Callable[[float], IronField],
    thickness: float,
    pole_pairs: int,
    curve: MagnetisationCurve,
    before: IronField | None,
) -> IronField:
    """The field at the permeability that this steel has in it: secants of a falling function of its logarithm.

    before: found when the other plate was not yet known; the search begins there.
    """
    B, H = _table(curve)[:, 1:]
    low, high = 0.0, log(float((B / H).max()) / MU_0)
    last = high if before is None else log(before.permeability)
    place, off = last, 0.0
    for step in range(STEPS):
        field = field_at(exp(place))
        excess = log(_secant_permeability(field, thickness, pole_pairs, curve)) - place
        low, high = (place, high) if excess > 0 else (low, place)
        slope = -1.0 if step == 0 else (excess - off) / (place - last)
        last, off = place, excess
        place = place - excess / slope if slope < 0 else (low + high) / 2
        place = place if low <= place <= high else (low + high) / 2
        if abs(place - last) < CLOSE:
            break
    return field


def _secant_permeability(field: IronField, thickness: float, pole_pairs: int, curve: MagnetisationCurve) -> float:
    """Mean of the two bounds in the plate: B or H ~ pattern(theta, r)·cosh(k·depth), k = p/r at the mean radius."""
    kt = pole_pairs * thickness / float(field.radii.mean())
    depth = np.array([0.1127, 0.5, 0.8873])  # Gauss points
    crowding = kt * np.cosh(kt * depth) / np.sinh(kt)
    weight = np.array([5.0, 8.0, 5.0])[:, None, None] * ANGLE_WEIGHTS[:, None] * field.radii
    B = crowding[:, None, None] * field.pattern + 1e-9
    H = curve_field_strength(B, curve)
    given_flux = float(np.vdot(weight, B * B) / np.vdot(weight, B * H))
    H = B / (MU_0 * field.permeability)
    B = curve_flux_density(H, curve)
    given_potential = float(np.vdot(weight, B * H) / np.vdot(weight, H * H))
    return sqrt(given_flux * given_potential) / MU_0
