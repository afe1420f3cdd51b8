"""The field below a magnet plate, one wave number at a time: magnet, back iron, and what faces the magnet.

      back      air, an ideal iron plane, or an iron plate of finite thickness and permeability
    ──────────  z = h
      magnet    thickness h, recoil permeability mu_r, magnetised along the axis (sheet charge per remanence f(k) on its
                faces) or in the plane (charge inside)
    ──────────  z = 0, the magnet face; distance s counts downwards from here
      gap       the board stands here
    ──────────  distance D: nothing, a plane of zero potential (the mid-plane of a double rotor whose facing magnets
                attract, or ideal iron), or a plate of finite thickness and permeability

With potential phi ~ J_m(k r) and B = mu_0·k·Y·phi going out of a face, every layer is an admittance Y per k: air 1,
ideal iron infinite. Layers are taken as endless in the plane, and the space between magnets as having mu_r too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
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

    def with_gap(self, more: float) -> MagnetLayers:
        """The same with what faces the magnets further away [m]."""
        return replace(
            self,
            mirror_distance=None if self.mirror_distance is None else self.mirror_distance + more,
            plate_distance=None if self.plate_distance is None else self.plate_distance + more,
        )

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


@dataclass(frozen=True, eq=False)
class _Slab:
    """The magnet between its neighbours, per wave number; z = 1/Y of the back (t) and of what lies below (b).

    Two sources act in it: sheet charges ±M on its faces, and a charge rho through the thickness, given as q = rho/k.
    With phi = (homogeneous) + rho/(mu_r·k²), continuity of phi and B at both faces gives for B along +z

        B(0) = { [z_t·(1 − sech) + T/mu_r]·M − [z_t·T + (1 − sech)/mu_r]·q } / Δ
        B(h) = { [z_b·(1 − sech) + T/mu_r]·M + [z_b·T + (1 − sech)/mu_r]·q } / Δ
        Δ = z_t·z_b·mu_r·T + z_t + z_b + T/mu_r,   T = tanh(k·h), sech = 1/cosh(k·h).
    """

    k: FloatArray
    mu_r: float
    T: FloatArray
    rise: FloatArray  # 1 − sech(k·h)
    z_t: FloatArray
    image: FloatArray  # of the magnet face in what faces it
    facing: FloatArray  # reflectance of what faces it
    D: float

    @cached_property
    def pressed(self) -> FloatArray:
        """(1 − image)·(z_t·mu_r·T + 1) + (1 + image)·(z_t + T/mu_r) = Δ·(1 + image), free of 0/0 at an ideal plane."""
        direct, returned = self.z_t * self.mu_r * self.T + 1.0, self.z_t + self.T / self.mu_r
        return (1.0 - self.image) * direct + (1.0 + self.image) * returned

    @cached_property
    def axial(self) -> FloatArray:
        """Amplitude of e^(−ks) below the face per sheet charge M."""
        return (self.z_t * self.rise + self.T / self.mu_r) / self.pressed

    @cached_property
    def charged(self) -> FloatArray:
        """Amplitude of e^(−ks) below the face per q = rho/k."""
        return -(self.z_t * self.T + self.rise / self.mu_r) / self.pressed

    @cached_property
    def lifted(self) -> FloatArray:
        """Amplitude of e^(−ks) below the face per potential that the back is lifted by."""
        return (self.rise - 1.0) / self.pressed

    @cached_property
    def from_plate(self) -> tuple[FloatArray, FloatArray]:
        """Reflectance of the magnet as seen from the gap, for potentials; and the amplitude of e^(−k(D − s)) that a
        lifted plate makes per potential. With Y of the magnet's face they are (1 − Y)/(1 + Y) and
        1/[1 + z + (1 − z)·reflectance·e^(−2kD)].
        """
        inward, across = 1.0 + self.z_t * self.mu_r * self.T, self.z_t + self.T / self.mu_r  # Y = inward/across
        seen = (across - inward) / (across + inward)
        z = (1.0 - self.facing) / (1.0 + self.facing)
        return seen, 1.0 / (1.0 + z + (1.0 - z) * seen * np.exp(-2.0 * self.k * self.D))

    def below(self, amplitude: FloatArray, distances: FloatArray) -> FloatArray:
        """The amplitude (…, N) carried down to ``distances`` (Z,), with what comes back from below: (…, Z, N)."""
        wave = np.exp(-self.k[..., None, :] * distances[:, None])
        if isfinite(self.D):
            back = np.exp(-self.k[..., None, :] * (2.0 * self.D - distances[:, None]))
            wave = wave + self.facing[..., None, :] * back
        return amplitude[..., None, :] * wave


def _slab(k: FloatArray, layers: MagnetLayers) -> _Slab:
    """Admittances and images around the magnet for each wave number."""
    D = layers.facing_distance
    back = plate_reflectance(k, layers.back_iron, layers.back_iron_permeability)
    decay = np.exp(-k * layers.magnet_thickness)
    rise = (1.0 - decay) ** 2 / (1.0 + decay**2)
    if not isfinite(D):
        facing = image = np.zeros_like(k)
    else:
        mirror = layers.plate_distance is None
        thickness = 1.0 if mirror else layers.plate_thickness
        facing = plate_reflectance(k, thickness, inf if mirror else layers.plate_permeability)
        image = facing * np.exp(-2.0 * k * D)
    T = np.tanh(k * layers.magnet_thickness)
    return _Slab(k, layers.recoil_permeability, T, rise, (1.0 - back) / (1.0 + back), image, facing, D)


def _check_distances(distances: FloatArray, layers: MagnetLayers) -> None:
    D = layers.facing_distance
    if distances.size and not (float(distances.min()) >= 0.0 and float(distances.max()) <= D * (1.0 + 1e-9)):
        raise LawRangeError(f"distances below the magnet face must lie within 0 … {D:g} m, got {distances!r}")


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
    _check_distances(distances, layers)
    slab = _slab(k, layers)
    return slab.below(slab.axial, distances)


def charge_response(k: FloatArray, distances: FloatArray, layers: MagnetLayers) -> FloatArray:
    """Axial flux density per volume charge in the magnet, for each wave number and distance.

    The charge −div M of a magnetisation in the plane is the same through the thickness; it is given as q = rho/k.
    k: (…, N) wave numbers, above 0 [1/m]. distances: (Z,) below the magnet face, 0 … the facing plane [m].
    layers: across the magnet plate [m, T]. Returns (…, Z, N) [T/T], upwards; below a positive charge it is negative.
    Outside the range: LawRangeError. Derived here from phi = rho/(mu_r·k²) + (homogeneous) and continuity at each face.

    >>> import numpy as np
    >>> charge_response(np.array([100.0]), np.array([0.001]), MagnetLayers(0.003, 1.3)).round(6)  # as strong, but down
    array([[-0.117259]])
    """
    _check_distances(distances, layers)
    slab = _slab(k, layers)
    return slab.below(slab.charged, distances)


def back_potential_response(k: FloatArray, distances: FloatArray, layers: MagnetLayers) -> FloatArray:
    """Axial flux density per potential by which the iron behind the magnets is lifted, per wave number and distance.

    Iron that saturates or ends is more than a plate of one permeability; the potential that it has beyond such a plate
    lies between magnet and plate, given as mu_0·k·phi. k: (…, N) wave numbers, above 0 [1/m]. distances: (Z,) below the
    magnet face, 0 … the facing plane [m]. layers: across the magnet plate [m, T].
    Returns (…, Z, N) [T/T], upwards. Outside the range: LawRangeError. Derived here as layer_response.

    >>> import numpy as np
    >>> back_potential_response(np.array([100.0]), np.array([0.001]), MagnetLayers(0.003, 1.3)).round(6)  # −e^−k(h+s)/2
    array([[-0.33516]])
    """
    _check_distances(distances, layers)
    slab = _slab(k, layers)
    return slab.below(slab.lifted, distances)


def plate_potential_response(k: FloatArray, distances: FloatArray, layers: MagnetLayers) -> FloatArray:
    """Axial flux density per potential by which the plate facing the magnets is lifted; as back_potential_response.

    k: (…, N) wave numbers, above 0 [1/m]. distances: (Z,) below the magnet face, 0 … the plate [m].
    layers: with a plate facing the magnets [m, T]. Returns (…, Z, N) [T/T], upwards.
    Outside the range: LawRangeError. Derived here: the wave goes up, and comes back from the magnet.

    >>> import numpy as np
    >>> plate = MagnetLayers(0.003, 1.3, plate_distance=0.004, plate_thickness=0.001, plate_permeability=1.0)
    >>> plate_potential_response(np.array([100.0]), np.array([0.001]), plate).round(6)  # e^−k(D−s)/2
    array([[0.370409]])
    """
    _check_distances(distances, layers)
    if layers.plate_distance is None:
        raise LawRangeError("no plate faces the magnets: give plate_distance and plate_thickness")
    slab = _slab(k, layers)
    seen, risen = (part[..., None, :] for part in slab.from_plate)
    k, D = k[..., None, :], slab.D
    rising, returned = np.exp(-k * (D - distances[:, None])), np.exp(-k * (D + distances[:, None]))
    return np.asarray(risen * (rising - seen * returned))


def back_surroundings(k: FloatArray, layers: MagnetLayers) -> tuple[FloatArray, FloatArray]:
    """What the iron behind the magnets looks at: the admittance of magnet and gap, and what a lifted plate sends.

    k: (…, N) wave numbers, above 0 [1/m]. layers: across the magnet plate, back iron set aside [m, T].
    Returns two (…, N): Y of everything below the magnet's back [-]; axial flux density there, upwards, per potential of
    a plate facing the magnets where the back is held at zero [T/T], 0 without one. Derived here as layer_response.

    >>> import numpy as np
    >>> [part.round(6).tolist() for part in back_surroundings(np.array([100.0]), MagnetLayers(0.003, 1.3))]
    [[1.0], [0.0]]
    """
    slab = _slab(k, replace(layers, back_iron=1.0, back_iron_permeability=inf))
    opened, closed = 1.0 - slab.image, 1.0 + slab.image
    below = (closed + slab.mu_r * slab.T * opened) / (opened + closed * slab.T / slab.mu_r)
    if layers.plate_distance is None:
        return below, np.zeros_like(k)
    seen, risen = slab.from_plate
    face = risen * np.exp(-k * slab.D) * (1.0 + seen)  # potential of the magnet's face
    return below, slab.mu_r * face * (1.0 - slab.rise) / slab.T


def plate_surroundings(k: FloatArray, layers: MagnetLayers) -> FloatArray:
    """The admittance that a plate facing the magnets looks at: gap, magnet and back.

    k: (…, N) wave numbers, above 0 [1/m]. layers: with plate_distance [m, T]. Returns (…, N) [-].
    No plate: LawRangeError. Derived here as layer_response.

    >>> import numpy as np
    >>> layers = MagnetLayers(0.003, 1.3, plate_distance=0.004)
    >>> plate_surroundings(np.array([100.0]), layers).round(6).tolist()
    [1.0]
    """
    if layers.plate_distance is None:
        raise LawRangeError("no plate faces the magnets: give plate_distance and plate_thickness")
    slab = _slab(k, layers)
    returned = slab.from_plate[0] * np.exp(-2.0 * k * slab.D)
    return np.asarray((1.0 - returned) / (1.0 + returned))


def face_response(k: FloatArray, layers: MagnetLayers) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Axial flux density at both faces of the magnet per sheet charge M and per volume charge q = rho/k.

    k: (…, N) wave numbers, above 0 [1/m]. layers: across the magnet plate [m, T].
    Returns four (…, N) [T/T], upwards: at the board's face per M, per q, at the back per M, per q.
    Range: k above 0. Derived here as layer_response.

    >>> import numpy as np
    >>> [round(float(part[0]), 6) for part in face_response(np.array([100.0]), MagnetLayers(0.003, 1.3))]
    [0.129591, -0.129591, 0.129591, 0.129591]
    """
    slab = _slab(k, layers)
    return slab.axial * (1.0 + slab.image), slab.charged * (1.0 + slab.image), *_at_back(slab)


def back_response(k: FloatArray, layers: MagnetLayers) -> tuple[FloatArray, FloatArray]:
    """Axial flux density at the back of the magnet per sheet charge M and per volume charge q = rho/k.

    k: (…, N) wave numbers, above 0 [1/m]. layers: across the magnet plate [m, T].
    Returns two (…, N) [T/T], upwards: per M, per q. Range: k above 0. Derived here as layer_response.

    >>> import numpy as np
    >>> [round(float(part[0]), 6) for part in back_response(np.array([100.0]), MagnetLayers(0.003, 1.3))]
    [0.129591, 0.129591]
    """
    return _at_back(_slab(k, layers))


def _at_back(slab: _Slab) -> tuple[FloatArray, FloatArray]:
    """Axial flux density at the back per M and per q."""
    opened, closed = 1.0 - slab.image, 1.0 + slab.image  # z_b = opened/closed
    back = (opened * slab.rise + closed * slab.T / slab.mu_r) / slab.pressed
    return back, (opened * slab.T + closed * slab.rise / slab.mu_r) / slab.pressed


def force_response(k: FloatArray, layers: MagnetLayers) -> tuple[tuple[FloatArray, ...], tuple[FloatArray, ...]]:
    """Axial force between the magnet plate and what faces it, per mode, as factors of the sources.

    k: (…, N) wave numbers, above 0 [1/m]. layers: across the magnet plate, with a mirror or plate facing [m, T].
    Returns (falling, rising). B_z² − B_t² in the gap is the product of both waves, each a sum of factors (…, N) [T/T]
    times the sheet charge M, the volume charge q = rho/k, the potential of the back and, with a plate, that of the
    plate.
    Nothing facing the magnets: LawRangeError. Derived here: in the gap B_z ~ d·e^−ks + u·e^−k(2D − s) and B_t ~ the
    difference, so B_z² − B_t² = 4·d·u·e^−2kD whatever s.

    >>> import numpy as np
    >>> falling, rising = force_response(np.array([100.0]), MagnetLayers(0.003, 1.3, mirror_distance=0.002))
    >>> round(float(falling[0][0]), 6), round(float(rising[0][0]), 6)  # (1 − e^−kh)·e^−kD
    (0.2122, 0.2122)
    """
    if not isfinite(layers.facing_distance):
        raise LawRangeError(
            "nothing faces the magnets, so there is no axial force: give mirror_distance or plate_distance"
        )
    slab = _slab(k, layers)
    decay = 2.0 * np.exp(-k * slab.D)
    falling = [decay * part for part in (slab.axial, slab.charged, slab.lifted)]
    rising = [slab.facing * part for part in falling]
    if layers.plate_distance is not None:
        seen, risen = slab.from_plate
        falling.append(-decay * seen * risen * np.exp(-k * slab.D))
        rising.append(2.0 * risen + slab.facing * falling[-1])
    return tuple(falling), tuple(rising)
