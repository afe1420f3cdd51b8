"""The envelope, the magnets among themselves, magnets against coils."""

from __future__ import annotations

from math import atan2, hypot, inf, pi, sin
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.check.limits import at_least, at_most
from pcbstator.copper import Copper
from pcbstator.design import BlockMagnet, DiscMagnet
from pcbstator.findings import Finding

if TYPE_CHECKING:
    from pcbstator.design import Design, SizedDesign
    from pcbstator.design.records import Envelope

LEAST_MATCH = 0.7  # part of the magnets' radial length that should face the coils


def magnet_radii(design: Design) -> tuple[float, float]:
    """Least and largest distance [m] of magnet material from the axis."""
    magnet = design.rotor.magnet
    if isinstance(magnet, DiscMagnet):
        return (magnet.circle_diameter - magnet.diameter) / 2, (magnet.circle_diameter + magnet.diameter) / 2
    if isinstance(magnet, BlockMagnet):
        near = (magnet.circle_diameter - magnet.length) / 2
        return near, hypot(near + magnet.length, magnet.width / 2)
    return magnet.inner_diameter / 2, magnet.outer_diameter / 2


def envelope_findings(design: SizedDesign, copper: Copper) -> list[Finding]:
    """Findings about sizes; values in mm."""
    return _envelope(design, copper) + _overlap(design) + _match(design, copper)


def _envelope(design: SizedDesign, copper: Copper) -> list[Finding]:
    envelope, board = design.envelope, design.board
    if envelope is None:
        return []
    near, far = magnet_radii(design)
    findings: list[Finding] = []
    for name, inner, outer in (
        ("board", board.inner_diameter, 2 * copper.shape.reach),
        ("ring of magnets", 2 * near, 2 * far),
        *_plate(design),
    ):
        if envelope.bore_diameter is not None and inner < inf:
            findings += at_least(
                "envelope.bore",
                1e3 * inner,
                1e3 * envelope.bore_diameter,
                f"the {name} begins at a diameter of {{value}} mm, inside the bore of {{limit}} mm",
                where=name,
            )
        if envelope.outer_diameter is not None:
            findings += at_most(
                "envelope.outer",
                1e3 * outer,
                1e3 * envelope.outer_diameter,
                f"the {name} reaches a diameter of {{value}} mm, beyond the {{limit}} mm of the envelope",
                where=name,
            )
        if inner < inf:
            findings += _bearing(envelope, name, inner, outer)
    if envelope.height is not None:
        findings += at_most(
            "envelope.height",
            1e3 * total_height(design),
            1e3 * envelope.height,
            "board, gap, magnets and iron take {value} mm, more than the {limit} mm of the envelope",
        )
    return findings


def _plate(design: SizedDesign) -> list[tuple[str, float, float]]:
    """The rotor plate. Where it goes into the bore, it goes to the bearing, which is there for it."""
    plate = design.rotor.plate
    return [] if plate is None else [("rotor plate", inf, plate.outer_diameter)]


def _bearing(envelope: Envelope, name: str, inner: float, outer: float) -> list[Finding]:
    """The machine lies within the bearing or around it."""
    near, far = envelope.bearing_inner_diameter, envelope.bearing_outer_diameter
    if near is None or far is None or outer <= near:
        return []
    words = f"the {name} lies from {1e3 * inner:.4g} to {1e3 * outer:.4g} mm, where the bearing is up to {{limit}} mm"
    return at_least(
        "envelope.bearing", 1e3 * inner, 1e3 * far, f"{words}: within the bearing, or around it", where=name
    )


def total_height(design: Design) -> float:
    """From the far face of the stator to the back of the rotor, its plate included, or of both rotors [m]."""
    rotor = design.rotor
    sides = 2 if rotor.arrangement == "double" else 1
    behind = rotor.back_iron
    if rotor.plate is not None:
        behind += 0.0 if rotor.plate.material == "steel" else rotor.plate.thickness - rotor.plate.pocket
    return design.stator_thickness + sides * (rotor.air_gap + rotor.magnet.thickness + behind)


def magnet_spacing(design: Design) -> float:
    """Distance between neighbouring magnets at their tightest radius [m]; negative where they overlap."""
    rotor, magnet = design.rotor, design.rotor.magnet
    step = 2 * pi / rotor.poles
    if isinstance(magnet, DiscMagnet):
        return magnet.circle_diameter * sin(step / 2) - magnet.diameter
    if isinstance(magnet, BlockMagnet):
        near = (magnet.circle_diameter - magnet.length) / 2
        corner = max(near, 0.0)
        half = atan2(magnet.width / 2, corner) if corner > 0 else pi
        return 2 * hypot(corner, magnet.width / 2) * (step / 2 - half)
    return magnet.inner_diameter / 2 * step * (1 - magnet.arc_ratio)


def _overlap(design: SizedDesign) -> list[Finding]:
    """Neighbouring magnets must not share space."""
    space = magnet_spacing(design)
    findings = at_least(
        "magnets.overlap",
        1e3 * space,
        0.0,
        "the distance between neighbouring magnets is {value} mm: use fewer poles, smaller magnets or a larger circle",
    )
    return findings or at_least(
        "magnets.crowded",
        1e3 * space,
        0.2,
        "neighbouring magnets leave {value} mm between them; below {limit} mm nothing is left for glue and tolerance",
        "warning",
    )


def _match(design: SizedDesign, copper: Copper) -> list[Finding]:
    """Magnets and coils should face each other."""
    near, far = magnet_radii(design)
    radii = np.concatenate([np.hypot(*track.points.T) for track, _ in copper.template_tracks])
    inner, outer = float(radii.min()), float(radii.max())
    shared = max(0.0, min(far, outer) - max(near, inner))
    return at_least(
        "magnets.annulus",
        shared / (far - near),
        LEAST_MATCH,
        "only {value} of the magnets' radial length faces coils "
        f"({1e3 * near:.1f} to {1e3 * far:.1f} mm against {1e3 * inner:.1f} to {1e3 * outer:.1f} mm from the axis)"
        "; {limit} or more uses them well",
        "warning",
    )
