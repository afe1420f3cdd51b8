"""What drawn motors do: ripple, unequal phases and paths, modulation, forces; with the part of each cause."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.electrical.conductors import Conductors, phase_angle
from pcbstator.analysis.fields import inside, result
from pcbstator.analysis.magnetic.as_built import Draw, Errors, OneMagnet, one_magnet, sine_torques
from pcbstator.analysis.magnetic.records import MagneticResult
from pcbstator.analysis.magnetic.rotor_field import magnet_layers
from pcbstator.analysis.mechanical.records import MechanicalResult
from pcbstator.design.sections.build import Build

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Spread = dict[str, Any]

AT_ONCE = 250  # motors whose waves are held at a time
MOST_DRAWS = 100  # for the parts of causes, each a mean over as many motors and a whole turn, and for the slow turn
BOUGHT = (0, 4, 8)  # magnets more than are needed, to sort them by strength
LOTS = 400  # of such magnets that are drawn


@dataclass(frozen=True, kw_only=True)
class BuildResult:
    """The motor as built: each a table with the median, what 95 % of drawn motors keep, and the part of each cause."""

    torque_ripple: Spread = result(
        "torque_ripple_ratio",
        "torque ripple of drawn motors over a turn of the rotor, peak to peak over mean, sine currents that follow the "
        "fundamental of phase A",
    )
    emf_unbalance: Spread = result(
        "emf_unbalance_ratio",
        "largest distance of a phase's fundamental EMF from the mean of all phases, turned into one, over that mean",
    )
    modulation: Spread = result(
        "modulation_ratio",
        "half of the change of the EMF's amplitude over a turn of the rotor, over its mean: the worst phase",
    )
    path_unbalance: Spread | None = result(
        "path_emf_unbalance_ratio",
        "largest distance of a path's fundamental EMF from the mean of its phase's parallel paths, over that mean",
    )
    circulating_current: Spread | None = result(
        "circulating_path_current_rms_a",
        "largest rms current between the parallel paths of a phase at the highest speed of the job, by resistance",
    )
    tilting_moment: Spread | None = result(
        "tilting_moment_n_m", "moment that tilts the rotor, from unequal attraction of the iron that faces the magnets"
    )
    sideways_force: Spread | None = result(
        "sideways_force_n", "force that draws the two rotors of a double one back in line where they are off centre"
    )
    draws: int = result("draws", "motors that were drawn")
    pays: str | None = result("cause_that_pays", "key of [build] whose cause makes most of the torque ripple")
    pays_ripple: float | None = result(
        "ripple_with_half_of_it_ratio", "torque ripple that 95 % of motors keep with that spread halved"
    )
    sorting: tuple[dict[str, float], ...] = result(
        "sorted_magnets",
        "magnets to buy and sort by strength, the spread of the remanence among the best that is left, and the torque "
        "ripple that 95 % of motors then keep",
        default=(),
    )
    drawn: Callable[[int], ComplexArray] | None = inside()  # linkages of one drawn motor, phases by orders of the turn
    rotor: int = inside(0)  # number of the drawn motor with the torque ripple that 95 % keep
    waves: FloatArray | None = (
        inside()
    )  # torque over its mean, less one, over a turn: the first drawn motors by samples


def built_results(
    design: SizedDesign,
    conductors: Conductors,
    magnetic: MagneticResult,
    mechanical: MechanicalResult | None,
    top_speed: float,
) -> BuildResult:
    """Draws motors with the spreads of ``[build]``, or its defaults; top_speed: of the rotor at its job [rad/s].

    Raises LawRangeError where the field of one magnet cannot be found.
    """
    build = design.build
    if build is None:
        raise ValueError("only a design with [build] is drawn")
    magnet, draw, causes, motors = _drawn(design, build, conductors, magnetic)
    ripple, modulation, phasors = motors.waves()
    found: dict[str, Any] = {
        "torque_ripple": _spread(ripple, motors.torque_parts()),
        "modulation": _spread(modulation, motors.modulation_parts()),
        "emf_unbalance": _spread(_unbalance(phasors), motors.unbalance_parts()),
        "draws": build.draws,
    }
    if found["torque_ripple"]["parts"]:
        pays = max(found["torque_ripple"]["parts"], key=found["torque_ripple"]["parts"].__getitem__)
        found |= {"pays": pays, "pays_ripple": found["torque_ripple"]["p95"] * motors.gain(ripple, {pays: 0.5})}
    if "remanence_spread_percent" in causes:
        found["sorting"] = _sorting(design, build, motors, ripple)
    found |= _paths(design, conductors, draw, magnet, causes, top_speed)
    if mechanical is not None and mechanical.axial_force:
        found |= _forces(draw, causes, mechanical)
    rotor = int(np.argsort(ripple)[int(0.95 * (build.draws - 1))])
    return BuildResult(**found, drawn=motors.drawn, rotor=rotor, waves=motors.torque_waves())


def drawn_torque_waves(design: SizedDesign, conductors: Conductors, magnetic: MagneticResult) -> FloatArray | None:
    """``BuildResult.waves`` alone; None without ``[build]``. Raises LawRangeError as ``built_results`` does."""
    if design.build is None:
        return None
    *_, motors = _drawn(design, design.build, conductors, magnetic)
    return motors.torque_waves()


def _drawn(
    design: SizedDesign, build: Build, conductors: Conductors, magnetic: MagneticResult
) -> tuple[OneMagnet, Draw, dict[str, Errors], _Motors]:
    """What one magnet links, the draws, the errors that every cause makes, and the motors with them."""
    magnet = one_magnet(design, conductors, magnet_layers(design))
    draw = Draw(design, build, magnet.orders)
    causes = draw.causes()
    return magnet, draw, causes, _Motors(magnetic, design.rotor.poles // 2, magnet, causes, build.draws)


class _Motors:
    """Linkages of the phases of all drawn motors: the perfect ones, and what every cause adds."""

    def __init__(
        self, magnetic: MagneticResult, pole_pairs: int, magnet: OneMagnet, causes: Mapping[str, Errors], draws: int
    ) -> None:
        self.pole_pairs, self.draws = pole_pairs, draws
        self.orders = np.arange(1, max(int(magnetic.orders[-1]) * pole_pairs, len(magnet.orders)) + 1)
        self.perfect = np.zeros((len(magnetic.linkages), len(self.orders)), complex)
        self.perfect[:, magnetic.orders * pole_pairs - 1] = magnetic.linkages
        self.added = {name: errors.linkages(magnet.phases) for name, errors in causes.items()}
        self.followed = len(magnet.orders)

    def linkages(self, some: slice, factors: Mapping[str, float]) -> ComplexArray:
        """Of some of the motors (draws, phases, orders) [Wb]; factors: on causes, 1 where none is named."""
        count = len(range(*some.indices(self.draws)))
        total = np.repeat(self.perfect[None], count, axis=0)
        for name, rows in self.added.items():
            total[:, :, : self.followed] += factors.get(name, 1.0) * rows[some]
        return total

    def drawn(self, number: int) -> ComplexArray:
        """Of one motor: (phases, orders 1, 2, 3 … of the turn) [Wb]."""
        return np.asarray(self.linkages(slice(number % self.draws, number % self.draws + 1), {})[0])

    def gain(self, ripple: FloatArray, factors: Mapping[str, float]) -> float:
        """By how much the ripple that 95 % keep changes with factors on causes: the same motors before and after."""
        few = self.linkages(slice(AT_ONCE), factors)
        torque = sine_torques(few, self.orders, self.pole_pairs)
        return _kept(np.ptp(torque, axis=1) / torque.mean(axis=1)) / _kept(ripple[:AT_ONCE])

    def waves(self) -> tuple[FloatArray, FloatArray, ComplexArray]:
        """Torque ripple (draws,), modulation (draws,), and fundamentals (draws, phases) [Wb], each turned into the
        first phase.
        """
        parts = [self._waves(slice(k, k + AT_ONCE)) for k in range(0, self.draws, AT_ONCE)]
        ripple, modulation, phasors = (np.concatenate(part) for part in zip(*parts, strict=True))
        return ripple, modulation, phasors

    def _waves(self, some: slice) -> tuple[FloatArray, FloatArray, ComplexArray]:
        total = self.linkages(some, {})
        torque = sine_torques(total, self.orders, self.pole_pairs)
        return np.ptp(torque, axis=1) / torque.mean(axis=1), self._modulation(total), self._phasors(total)

    def _phasors(self, linkages: ComplexArray) -> ComplexArray:
        phases = linkages.shape[1]
        delays = np.array([phase_angle(index, phases) for index in range(phases)])
        return np.asarray(linkages[:, :, self.pole_pairs - 1] * np.exp(-1j * delays))

    def _modulation(self, linkages: ComplexArray) -> FloatArray:
        """Of the envelope of the EMF: the orders about the fundamental, each turned back by it."""
        p = self.pole_pairs
        near = np.arange(1, 2 * p)
        samples = 8 * p
        spectrum = np.zeros((*linkages.shape[:2], samples), complex)
        spectrum[..., (near - p) % samples] = near * linkages[..., near - 1]
        envelope = np.abs(np.fft.fft(spectrum))
        return np.asarray((np.ptp(envelope, axis=2) / 2 / envelope.mean(axis=2)).max(axis=1))

    def torque_waves(self) -> FloatArray:
        """Torque over its mean, less one, over a turn of the rotor: of the first motors (draws, samples)."""
        torque = sine_torques(self.linkages(slice(MOST_DRAWS), {}), self.orders, self.pole_pairs)
        return np.asarray(torque / torque.mean(axis=1, keepdims=True) - 1)

    def torque_parts(self) -> dict[str, float]:
        """Part of every cause in the mean square of the torque's departure from its mean over a turn."""
        some = slice(MOST_DRAWS)
        alone = {name: dict.fromkeys(self.added, 0.0) | {name: 1.0} for name in self.added}
        none = dict.fromkeys(self.added, 0.0)
        usual = sine_torques(self.linkages(slice(1), none), self.orders, self.pole_pairs)
        squares = {}
        for name, factors in alone.items():
            torque = sine_torques(self.linkages(some, factors), self.orders, self.pole_pairs)
            change = torque / torque.mean(axis=1, keepdims=True) - usual / usual.mean()
            squares[name] = float((change**2).mean())
        return _shares(squares)

    def modulation_parts(self) -> dict[str, float]:
        """Part of every cause in the mean square of the envelope's departure from its mean."""
        p = self.pole_pairs
        near = np.array([order for order in range(1, 2 * p) if order != p])
        return _shares({
            name: float((near**2 * np.abs(rows[..., near - 1]) ** 2).mean()) for name, rows in self.added.items()
        })  # fmt: skip

    def unbalance_parts(self) -> dict[str, float]:
        """Part of every cause in the mean square of the phases' distances from their mean."""
        rows = {name: _apart(self._phasors(rows)) for name, rows in self.added.items()}
        return _shares({name: float((np.abs(row - row.mean(axis=0)) ** 2).mean()) for name, row in rows.items()})


def _unbalance(phasors: ComplexArray) -> FloatArray:
    return np.asarray((np.abs(_apart(phasors)) / np.abs(phasors.mean(axis=1, keepdims=True))).max(axis=1))


def _apart(phasors: ComplexArray) -> ComplexArray:
    return np.asarray(phasors - phasors.mean(axis=1, keepdims=True))


def _shares(squares: Mapping[str, float]) -> dict[str, float]:
    """Parts of a sum, causes being independent; none where there is nothing to share."""
    total = sum(squares.values())
    return {name: square / total for name, square in squares.items()} if total > 0 else {}


def _spread(values: FloatArray, parts: Mapping[str, float]) -> Spread:
    return {"median": float(np.median(values)), "p95": _kept(values), "parts": dict(parts)}


def _kept(values: FloatArray) -> float:
    """What 95 % of the motors keep."""
    return float(np.quantile(values, 0.95))


def _sorting(design: SizedDesign, build: Build, motors: _Motors, ripple: FloatArray) -> tuple[dict[str, float], ...]:
    """How much closer together the magnets are that are left when the strongest and weakest are put aside."""
    needed = design.rotor.poles * (2 if design.rotor.arrangement == "double" else 1)
    generator, found = np.random.default_rng(build.seed), []
    for more in BOUGHT:
        lots = np.sort(generator.normal(size=(LOTS, needed + more)), axis=1)
        spreads = np.stack([lots[:, k : k + needed].std(axis=1) for k in range(more + 1)])
        part = float(spreads.min(axis=0).mean())
        gain = motors.gain(ripple, {"remanence_spread_percent": part}) if more else 1.0
        spread = 100 * part * build.remanence_spread
        found.append(
            {"magnets": needed + more, "remanence_spread_percent": spread, "ripple_p95_ratio": gain * _kept(ripple)}
        )
    return tuple(found)


def _paths(
    design: SizedDesign,
    conductors: Conductors,
    draw: Draw,
    magnet: OneMagnet,
    causes: Mapping[str, Errors],
    top_speed: float,
) -> dict[str, Any]:
    """How unequal the parallel paths of a phase are, and the current that this drives around in them."""
    count, phases = len(magnet.paths["itself"]), len(magnet.phases["itself"])
    each = count // phases
    if each < 2:
        return {}
    pole_pairs = design.rotor.poles // 2
    near = slice(max(pole_pairs - 3, 0), pole_pairs + 2)
    column = pole_pairs - 1 - near.start
    rows = {name: table[:, near] for name, table in magnet.paths.items()}
    perfect = sum(
        rows[table][:, column] * sums[pole_pairs - 1]
        for table, sums in (("itself", draw.perfect), ("tilted_along", draw.perfect_along))
    )
    added = {name: errors.near(near).linkages(rows)[:, :, column] for name, errors in causes.items()}

    def apart(linkages: ComplexArray) -> ComplexArray:
        """Each path less the mean of its phase: (draws, phases, paths)."""
        grouped = linkages.reshape(-1, phases, each)
        return np.asarray(grouped - grouped.mean(axis=2, keepdims=True))

    total = perfect + sum(added.values())
    mean = float(np.abs(np.asarray(perfect).reshape(phases, each).mean(axis=1)).mean())
    worst = np.abs(apart(total)).max(axis=(1, 2))
    parts = _shares({name: float((np.abs(apart(one)) ** 2).mean()) for name, one in added.items()})
    driven = pole_pairs * top_speed / sqrt(2) / (conductors.phase_resistance * each)
    found = {"path_unbalance": _spread(worst / mean, parts)}
    return found | {"circulating_current": _spread(worst * driven, parts)} if top_speed > 0 else found


def _forces(draw: Draw, causes: Mapping[str, Errors], mechanical: MechanicalResult) -> dict[str, Any]:
    """Tilting moment of unequal attraction, and the force between two rotors that are out of line.

    Each magnet's attraction goes with the square of its strength and grows as it comes nearer: F·(1 + 2e − k·z/F),
    e: its part of remanence (with two rotors each gives half of that), k: axial stiffness. Two rings of attracting
    magnets a little out of line by d lose the part (p·d/r)²/4 of their energy F²/k (derived here).
    """
    pull, stiffness = mechanical.axial_force or 0.0, mechanical.axial_stiffness or 0.0
    ring, found = draw.ring, {}
    moments = {}
    for name, errors in causes.items():
        change: FloatArray | None = None
        if errors.remanence is not None:
            change = 2.0 / draw.rotors * errors.remanence.sum(axis=1)
        if errors.lift is not None and pull > 0:
            change = -stiffness / pull * errors.lift.sum(axis=1)
        if change is not None:
            moments[name] = pull * ring.radius / len(ring.places) * (change @ np.exp(1j * ring.places))
    if moments:
        parts = _shares({name: float((np.abs(one) ** 2).mean()) for name, one in moments.items()})
        found["tilting_moment"] = _spread(np.abs(sum(moments.values())), parts)
    aside = causes["rotor_eccentric_mm"].aside if "rotor_eccentric_mm" in causes else None
    if aside is not None and stiffness > 0:
        force = pull**2 / stiffness * (draw.design.rotor.poles / 2 / ring.radius) ** 2 / 2 * np.abs(aside)
        found["sideways_force"] = _spread(np.asarray(force), {"rotor_eccentric_mm": 1.0})
    return found
