"""The field below a magnet plate, one wave number at a time: magnet, back iron, and what faces the magnet.

      back      air, an ideal iron plane, or an iron plate of finite thickness and permeability
    ──────────  z = h
      magnet    thickness h, recoil permeability mu_r, magnetised along the axis with sheet charge per remanence f(k)
    ──────────  z = 0, the magnet face; distance s counts downwards from here
      gap       the board stands here
    ──────────  distance D: nothing, a plane of zero potential (the mid-plane of a double rotor whose facing magnets
                attract, or ideal iron), or a plate of finite thickness and permeability

With potential phi ~ J_m(k r) and B = mu_0·k·Y·phi going out of a face, every layer is an admittance Y per k: air 1,
ideal iron infinite. Layers are taken as endless in the plane, and the space between magnets as having mu_r too.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class MagnetLayers:
    """The layers across a magnet plate, in [m] and [T]; permeabilities are relative.

    back_iron: thickness of the iron behind the magnets, 0 for none; of infinite permeability it is an ideal plane
    however thin. mirror_distance: from the magnet face to a plane of zero potential, None for open space;
    plate_distance, plate_thickness, plate_permeability: a real plate there instead.
    """

    magnet_thickness: float
    remanence: float
    recoil_permeability: float = 1.0
    back_iron: float = 0.0
    back_iron_permeability: float = inf
    mirror_distance: float | None = None
    plate_distance: float | None = None
    plate_thickness: float = 0.0
    plate_permeability: float = inf

    def __post_init__(self) -> None:
        """Refuse what no layer can be."""
        positive = {"magnet_thickness": self.magnet_thickness}
        facing = {"mirror_distance": self.mirror_distance, "plate_distance": self.plate_distance}
        positive |= {name: distance for name, distance in facing.items() if distance is not None}
        for name, value in positive.items():
            if not (value > 0.0 and isfinite(value)):
                raise LawRangeError(f"{name} must be above 0 and finite, got {value!r}")
        for name in ("back_iron", "plate_thickness"):
            if not getattr(self, name) >= 0.0:
                raise LawRangeError(f"{name} must be 0 or more, got {getattr(self, name)!r}")
        for name in ("recoil_permeability", "back_iron_permeability", "plate_permeability"):
            if not getattr(self, name) >= 1.0:
                raise LawRangeError(f"{name} must be 1 or more, got {getattr(self, name)!r}")
        if not isfinite(self.recoil_permeability) or not isfinite(self.remanence):
            raise LawRangeError("remanence and recoil_permeability must be finite")
        if self.mirror_distance is not None and self.plate_distance is not None:
            raise LawRangeError("give mirror_distance or plate_distance, not both")

    @property
    def facing_distance(self) -> float:
        """Distance from the magnet face to what faces it [m]; infinite for open space."""
        found = self.mirror_distance if self.mirror_distance is not None else self.plate_distance
        return inf if found is None else found


def plate_reflectance(k: FloatArray, thickness: float, permeability: float) -> FloatArray:
    """Reflectance (Y − 1)/(Y + 1) of an iron plate with air behind: 0 for air, 1 for ideal iron.

    k: wave numbers [1/m], any shape. thickness: [m], 0 or more. permeability: relative, 1 or more or infinite [-].
    Returns the ratio of the image to its source, shape of k [-].
    Derived here: Y = mu·(1 + mu·T)/(mu + T), T = tanh(k·t).

    >>> import numpy as np
    >>> plate_reflectance(np.array([500.0]), 0.002, 1000.0).round(4)
    array([0.9974])
    """
    if thickness == 0.0:
        return np.zeros_like(k)
    if permeability == inf:
        return np.ones_like(k)
    T = np.tanh(k * thickness)
    return T * (permeability**2 - 1.0) / (2.0 * permeability + T * (permeability**2 + 1.0))


def layer_response(k: FloatArray, distances: FloatArray, layers: MagnetLayers) -> FloatArray:
    """Axial flux density per sheet-charge amplitude of the remanence, for each wave number and distance.

    k: (…, N) wave numbers, above 0 [1/m]. distances: (Z,) below the magnet face, 0 … the facing plane [m].
    layers: across the magnet plate [m, T]. Returns (…, Z, N) [T/T], positive along the magnetisation.
    Outside the range: LawRangeError.
    Derived here from continuity of phi and B at each face; with ideal iron on both sides it is the usual
    sinh(kh)·cosh(k(D − s)) / [mu_r·cosh(kh)·sinh(kD) + sinh(kh)·cosh(kD)].

    >>> import numpy as np
    >>> layer_response(np.array([100.0]), np.array([0.001]), MagnetLayers(0.003, 1.3)).round(6)  # (1 − e^−kh)·e^−ks / 2
    array([[0.117259]])
    """
    D = layers.facing_distance
    if distances.size and not (float(distances.min()) >= 0.0 and float(distances.max()) <= D * (1.0 + 1e-9)):
        raise LawRangeError(f"distances below the magnet face must lie within 0 … {D:g} m, got {distances!r}")
    mu_r = layers.recoil_permeability
    back = plate_reflectance(k, layers.back_iron, layers.back_iron_permeability)
    z_t = (1.0 - back) / (1.0 + back)  # 1/Y of the back side
    decay = np.exp(-k * layers.magnet_thickness)
    T, sech = np.tanh(k * layers.magnet_thickness), 2.0 * decay / (1.0 + decay**2)
    drive = z_t * (1.0 - sech) + T / mu_r
    direct = np.exp(-k[..., None, :] * distances[:, None])
    if not isfinite(D):
        face = drive / (z_t * (mu_r * T + 1.0) + 1.0 + T / mu_r)
        return face[..., None, :] * direct
    facing = 1.0 if layers.plate_distance is None else plate_reflectance(
        k, layers.plate_thickness, layers.plate_permeability
    )
    image = facing * np.exp(-2.0 * k * D)
    # Y_b = (1 + image)/(1 − image); both sides of the fraction times (1 − image), which may be tiny
    face = drive / ((1.0 - image) * (z_t * mu_r * T + 1.0) + (1.0 + image) * (z_t + T / mu_r))
    returned = (facing * np.ones_like(k))[..., None, :] * np.exp(-k[..., None, :] * (2.0 * D - distances[:, None]))
    return face[..., None, :] * (direct + returned)
