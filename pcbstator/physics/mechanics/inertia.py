"""Inertia of plain bodies about the axis of the drive, their own centre off it or on it."""

from __future__ import annotations


def disc_inertia(mass: float, diameter: float, offset: float = 0.0) -> float:
    """Inertia of a disc or cylinder, its axis along that of the drive.

    mass: [kg]; diameter: [m]; offset: of its centre from the axis [m]. Returns [kg m2]. Source: handbook, from
    memory: m d²/8, Steiner's theorem.

    >>> round(disc_inertia(0.3, 0.18), 9)
    0.001215
    """
    return mass * (diameter**2 / 8 + offset**2)


def ring_inertia(mass: float, inner_diameter: float, outer_diameter: float, offset: float = 0.0) -> float:
    """Inertia of a hollow cylinder, its axis along that of the drive.

    mass: [kg]; inner_diameter, outer_diameter: [m]; offset: of its centre from the axis [m]. Returns [kg m2].
    Source: handbook, from memory: m (d² + D²)/8, Steiner's theorem.

    >>> round(ring_inertia(0.1, 0.06, 0.08), 9)
    0.000125
    """
    return mass * ((inner_diameter**2 + outer_diameter**2) / 8 + offset**2)


def bar_inertia(mass: float, length: float, width: float = 0.0, offset: float = 0.0) -> float:
    """Inertia of a bar or plate that lies across the axis.

    mass: [kg]; length, width: across the axis [m]; offset: of its centre from the axis [m]. Returns [kg m2].
    Source: handbook, from memory: m (l² + w²)/12, Steiner's theorem.

    >>> round(bar_inertia(0.12, 0.2), 9), round(bar_inertia(0.12, 0.2, offset=0.1), 9)
    (0.0004, 0.0016)
    """
    return mass * ((length**2 + width**2) / 12 + offset**2)


def point_inertia(mass: float, radius: float) -> float:
    """Inertia of a small body far from the axis.

    mass: [kg]; radius: [m]. Returns [kg m2]. Source: definition, m r², derived here.

    >>> point_inertia(2.0, 0.5)
    0.5
    """
    return mass * radius**2
