"""Results as frozen records in SI; every field names the key, with its unit, under which it is given out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.copper.clearance import Gap
from pcbstator.copper.connections.slip_ring import SlipRingGaps
from pcbstator.findings import Finding


def result(key: str, meaning: str, scale: float = 1.0, default: Any = None) -> Any:
    """A field that is given out as ``key``, times ``scale``; None, or an empty tuple, means that it does not apply."""
    return field(default=default, metadata={"key": key, "meaning": meaning, "scale": scale})


def inside(default: Any = None) -> Any:
    """A field for further computation that is not given out."""
    return field(default=default, repr=False)


@dataclass(frozen=True, kw_only=True)
class WindingResult:
    """What is wound, in counts."""

    phases: int = result("phases", "phases")
    coils: int = result("coils", "coils")
    poles: int = result("poles", "poles")
    factor: float = result("factor", "winding factor of ideal coils, fundamental")
    turns_per_coil: int = result("turns_per_coil_and_layer", "turns per coil and layer")
    series_turns: int = result("series_turns_per_phase", "turns in series in each path of a phase")
    layout: tuple[str, ...] = result("layout", "phase and sense of every coil")
    parallel_paths: int = result("parallel_paths", "parallel paths of a phase")


@dataclass(frozen=True, kw_only=True)
class CopperResult:
    """What metal there is."""

    phase_length: float = result("phase_length_m", "conductor length of one path from terminal to star point or end")
    mass: float = result("mass_g", "mass of all copper of the winding", 1e3)
    min_track_gap: float | None = result(
        "min_track_gap_mm", "least distance between copper that is not joined there", 1e3
    )
    via_count: int = result("via_count", "vias")
    by_layer: tuple[dict[str, float], ...] = result(
        "copper_by_layer", "area of copper on every layer, and its part of the board", default=()
    )
    boards: int | None = result("boards", "equal boards in the stack")
    board_turns: tuple[float, ...] | None = result("board_turns_deg", "angle by which each of them is turned")
    tiles: int | None = result("tiles", "equal arcs into which the ring is cut")
    tile_kinds: tuple[dict[str, Any], ...] | None = result("tile_kinds", "tiles that are made alike, with their count")
    tile_jumpers: int | None = result("tile_jumpers", "wires to solder across the cuts between tiles")
    closest: Gap | None = inside()


@dataclass(frozen=True, kw_only=True)
class ElectricalResult:
    """What the terminals see."""

    phase_resistance: float = result(
        "phase_resistance_ohm", "resistance with which a phase heats under balanced sine currents, at 20 C"
    )
    line_resistance: float | None = result(
        "line_resistance_ohm", "resistance between neighbouring terminals at 20 C, mean"
    )
    phase_resistances: tuple[float, ...] = result("phase_resistances_ohm", "the phase resistance of every phase")
    line_resistances: Mapping[str, float] | None = result(
        "line_resistances_ohm", "resistance between each pair of terminals at 20 C, as a meter reads it"
    )
    star_resistances: Mapping[str, float] | None = result(
        "star_resistances_ohm", "resistance from each terminal to terminal N at 20 C, as a meter reads it"
    )
    zero_sequence_resistance: float | None = result(
        "zero_sequence_resistance_ohm", "resistance of a phase to the current around the delta at 20 C"
    )
    path_shares: tuple[tuple[float, ...], ...] | None = result(
        "path_shares", "part of the phase current in every parallel path of each phase, at standstill"
    )
    phase_inductance: float = result("phase_inductance_h", "self inductance of a phase, mean")
    mutual_inductance: float = result("mutual_inductance_h", "mutual inductance of two phases, mean")
    synchronous_inductance: float = result("synchronous_inductance_h", "inductance of a phase in balanced operation")
    inductance_matrix: tuple[tuple[float, ...], ...] = result("inductance_matrix_h", "self and mutual inductances")


@dataclass(frozen=True, kw_only=True)
class MagneticResult:
    """What the magnets do in the copper."""

    gap_field_peak: float = result("gap_field_peak_t", "fundamental peak of B_z at layer 1, mean copper radius")
    flux_linkage_peak: float = result("flux_linkage_peak_wb", "fundamental peak of a phase's flux linkage (psi)")
    emf_constant: float = result("emf_constant_v_s_per_rad", "phase EMF peak per mechanical rad/s")
    torque_constant: float = result("torque_constant_n_m_per_a", "torque per peak phase ampere, sine drive")
    motor_constant: float = result("motor_constant_n_m_per_sqrt_w", "torque per root of copper loss at 20 C")
    speed_constant: float | None = result("speed_constant_rpm_per_v", "speed per volt of line-to-line peak")
    effective_factor: float = result("effective_winding_factor", "winding factor of the real copper, in psi")
    emf_harmonics: tuple[dict[str, float], ...] = result("emf_harmonics", "phase EMF by order over its fundamental")
    emf_distortion: float = result("emf_thd_ratio", "total harmonic distortion of the phase EMF")
    line_emf_distortion: float | None = result("line_emf_thd_ratio", "total harmonic distortion of the line EMF")
    torque_ripple: float = result("torque_ripple_ratio", "torque ripple in sine drive, peak to peak over mean")
    six_step_ripple: float = result("six_step_ripple_ratio", "torque ripple with block currents, likewise")
    orders: NDArray[np.int64] = inside()
    linkages: NDArray[np.complex128] = inside()  # (phases, orders) [Wb]
    waves: Any = inside()  # predict.waves.Waves


@dataclass(frozen=True, kw_only=True)
class ThermalResult:
    """What copper, board and magnets stand. Three views that are never mixed: a lonely trace by the standards, the
    board's heat balance, the magnets' limit. Currents are rms phase currents."""

    ipc2221_current: float | None = result(
        "ipc2221_phase_current_rms_a", "rms phase current for the stated rise of the worst single track (IPC-2221)"
    )
    ipc2221_via_current: float | None = result(
        "ipc2221_via_phase_current_rms_a", "the same for a single via that carries a phase or path"
    )
    ipc2152_current: float | None = result(
        "ipc2152_phase_current_rms_a", "rms phase current for that rise of the worst single track (fit of IPC-2152)"
    )
    trace_rise: float | None = result("ipc2221_rise_k", "temperature rise of those figures")
    by_layer: tuple[dict[str, float], ...] = result(
        "ipc2221_by_layer", "IPC-2221 for the worst track of every layer", default=()
    )
    board_current: float | None = result(
        "board_phase_current_rms_a", "rms phase current at which the board's hottest place reaches its limit"
    )
    magnet_current: float | None = result(
        "magnet_phase_current_rms_a", "rms phase current at which the rotor reaches the magnets' limit"
    )
    continuous_current: float | None = result(
        "continuous_phase_current_rms_a", "rms phase current without end: the least of the currents above"
    )
    limited_by: str | None = result("limited_by", "what sets it")
    continuous_torque: float | None = result("continuous_torque_n_m", "torque at that current, magnets as warm as then")
    runaway_current: float | None = result(
        "runaway_phase_current_rms_a", "rms phase current above which no steady temperature up to 300 C exists"
    )
    board_limit_c: float | None = result("board_limit_c", "highest temperature of the board")
    magnet_limit_c: float | None = result("magnet_limit_c", "highest temperature of the magnets")
    board_temperature_c: float | None = result("board_temperature_c", "hottest place of the board at that current")
    board_mean_c: float | None = result("board_mean_temperature_c", "mean of the board's rings then")
    surface_temperature_c: float | None = result("surface_temperature_c", "hottest place of its face in the air then")
    rotor_temperature_c: float | None = result("rotor_temperature_c", "the warmer rotor then")
    hot_resistance: float | None = result("hot_phase_resistance_ohm", "resistance of a phase then")
    copper_loss: float | None = result("continuous_copper_w", "copper loss then")
    eddy_loss: float | None = result(
        "continuous_eddy_w", "eddies, circulating currents, those around a delta and steel beyond the board then"
    )
    thermal_resistance: float | None = result(
        "thermal_resistance_k_per_w", "rise of the hottest place over ambient, per watt of all losses then"
    )
    time_constant: float | None = result(
        "time_constant_s", "time in which the hottest place does 63 % of its rise at that current"
    )
    peak_1_cold: float | None = result(
        "intermittent_phase_current_1_s_cold_rms_a", "rms phase current for 1 s, all at ambient before"
    )
    peak_10_cold: float | None = result("intermittent_phase_current_10_s_cold_rms_a", "the same for 10 s")
    peak_60_cold: float | None = result("intermittent_phase_current_60_s_cold_rms_a", "the same for 60 s")
    peak_1_warm: float | None = result(
        "intermittent_phase_current_1_s_warm_rms_a",
        "rms phase current for 1 s, at half the rise of continuous work before",
    )
    peak_10_warm: float | None = result("intermittent_phase_current_10_s_warm_rms_a", "the same for 10 s")
    peak_60_warm: float | None = result("intermittent_phase_current_60_s_warm_rms_a", "the same for 60 s")
    motion_board_c: float | None = result("motion_board_c", "hottest board in the motion, repeated for ever")
    motion_rotor_c: float | None = result("motion_rotor_c", "hottest rotor in it")
    motion_current_factor: float | None = result(
        "motion_current_factor", "by which all its currents could grow until board or magnets meet their limits"
    )
    duty_current: float | None = result(
        "duty_phase_current_rms_a", "rms phase current while on, for the duty of [cooling]"
    )
    touch_current: float | None = result(
        "touch_phase_current_rms_a", "rms phase current from which the board burns skin (60 C)"
    )
    tg_current: float | None = result(
        "tg_phase_current_rms_a", "rms phase current that takes it to laminate_tg_c in the end"
    )
    solder_current: float | None = result(
        "solder_phase_current_rms_a", "rms phase current that takes it to 183 C in the end"
    )
    blister_current: float | None = result(
        "blister_phase_current_rms_a", "rms phase current that takes cold copper to laminate_tg_c within 1 s"
    )
    profile: tuple[dict[str, float], ...] = result(
        "temperature_profile", "temperature over radius at the continuous current", default=()
    )
    assumptions: tuple[str, ...] = result("assumptions", "what the heat balance takes for granted", default=())
    heat: Any = inside()  # predict.thermal.HeatState
    out_of_range: str = inside("")


@dataclass(frozen=True, kw_only=True)
class MechanicalResult:
    """Forces and masses of the rotor's magnets and steel."""

    axial_force: float | None = result(
        "axial_force_n", "pull between the rotors, or of the rotor to the stator's steel"
    )
    axial_stiffness: float | None = result(
        "axial_stiffness_n_per_mm", "growth of the pull as the gap closes: the bearing must be stiffer", 1e-3
    )
    magnet_flux: float | None = result("magnet_working_flux_density_t", "lowest flux density inside a magnet")
    knee_flux: float | None = result(
        "magnet_knee_flux_density_t", "flux density below which a magnet of this grade and temperature loses strength"
    )
    magnet_mass: float = result("magnet_mass_g", "all magnets", 1e3)
    rotor_mass: float = result("rotor_mass_g", "all magnets and the steel behind them", 1e3)
    rotor_inertia: float = result("rotor_inertia_kg_m2", "inertia of magnets and steel about the axis")
    rim_speed: float | None = result("rim_speed_m_per_s", "speed of the rim at the highest speed of [operation]")
    centrifugal_force: float | None = result("magnet_centrifugal_n", "force that throws one magnet outwards then")
    glue_stress: float | None = result("glue_stress_mpa", "mean shear stress of its glue joint then", 1e-6)
    back_iron_flux: float | None = result(
        "back_iron_flux_density_t", "mean flux density midway between two poles in the steel behind the magnets"
    )
    back_iron_wanted: float | None = result("back_iron_for_1p5_t_mm", "thickness at which it would be 1.5 T", 1e3)
    stator_iron_flux: float | None = result("stator_iron_flux_density_t", "the same in the steel beyond the board")
    stator_iron_wanted: float | None = result("stator_iron_for_1p5_t_mm", "thickness at which it would be 1.5 T", 1e3)


@dataclass(frozen=True, kw_only=True)
class SlipRingResult:
    """What the slip-ring board stands and loses; brushes, their contact and their wear are not in it."""

    rings: int = result("rings", "rings")
    board_inner_diameter: float = result("board_inner_diameter_mm", "bore of the slip-ring board", 1e3)
    board_outer_diameter: float = result("board_outer_diameter_mm", "outline of the slip-ring board", 1e3)
    vias_per_ring: int = result("vias_per_ring", "vias of each ring")
    lead_width: float = result("lead_width_mm", "width of the leads", 1e3)
    ring_resistance: float = result("ring_resistance_ohm", "largest ring at 20 C, the brush opposite its vias")
    lead_resistance: float = result("lead_resistance_ohm", "vias and lead at 20 C, the largest of the rings")
    path_resistance: float = result("path_resistance_ohm", "from brush to terminal, the largest of the rings")
    path_resistances: tuple[float, ...] = result("path_resistances_ohm", "the same for every ring")
    loss: float = result("loss_w", "heat in the copper of all rings at their current, brushes at the worst place")
    ring_allowed_current: float = result("ring_allowed_current_rms_a", "rms current of a ring by IPC-2221")
    lead_allowed_current: float = result("lead_allowed_current_rms_a", "rms current of a lead by IPC-2221")
    vias_allowed_current: float = result("vias_allowed_current_rms_a", "rms current of a ring's vias, shared equally")
    allowed_current: float = result("allowed_current_rms_a", "the least of these three")
    via_allowed_current: float = result("via_allowed_current_rms_a", "rms current of one via, IPC-2221 on its barrel")
    via_worst_current: float = result(
        "via_worst_current_rms_a", "rms current of the most loaded via, the brush opposite"
    )
    hole_free_width: float = result("hole_free_width_mm", "of a ring beside its vias: a brush meets no hole", 1e3)
    creepage_needed: float | None = result("creepage_needed_mm", "between bare rings, IPC-2221 Table 6-1, B2", 1e3)
    ring_gap: float | None = result("ring_gap_mm", "between rings, as drawn", 1e3)
    terminal_spacing_needed: float | None = result(
        "terminal_spacing_needed_mm", "from a terminal to other nets, B2 and A6", 1e3
    )
    terminal_gap: float | None = result("terminal_gap_mm", "from a terminal to other nets, as drawn", 1e3)
    lead_spacing_needed: float | None = result("lead_spacing_needed_mm", "between leads under the mask, B4", 1e3)
    lead_gap: float | None = result("lead_gap_mm", "between leads, as drawn", 1e3)
    gaps: SlipRingGaps | None = inside()
    edges: tuple[float, float] = inside()  # copper to bore and to outline [m]


@dataclass(frozen=True, kw_only=True)
class Prediction:
    """Everything that is known before a board is ordered."""

    title: str
    design_file: str
    version: str
    winding: WindingResult
    copper: CopperResult
    electrical: ElectricalResult
    magnetic: MagneticResult | None  # None where the field law does not hold, as ``out_of_range`` says
    thermal: ThermalResult
    mechanical: MechanicalResult | None = None
    slip_ring: SlipRingResult | None = None
    motion: Any = None  # predict.job_records.MotionResult
    drive: Any = None  # predict.job_records.DriveResult
    losses: tuple[dict[str, Any], ...] = ()
    tolerance: dict[str, dict[str, float]] | None = None
    findings: tuple[Finding, ...] = ()
    out_of_range: str = ""

    def sections(self) -> Iterator[tuple[str, Any]]:
        """Name and record of every group of results."""
        for item in fields(self):
            value = getattr(self, item.name)
            if hasattr(value, "__dataclass_fields__"):
                yield item.name, value

    def to_dict(self) -> dict[str, Any]:
        """The object of ``predict --json``: numbers in the unit of their key, nothing that does not apply."""
        head: dict[str, Any] = {"title": self.title, "design_file": self.design_file, "version": self.version}
        for name, section in self.sections():
            head[name] = {key: value for key, _, value in rows(section)}
        if self.losses:
            head["losses"] = list(self.losses)
        if self.tolerance:
            head["tolerance"] = self.tolerance
        if self.magnetic is not None:
            head["waves"] = self.magnetic.waves.to_dict()
        head["findings"] = [finding.to_dict() for finding in self.findings]
        return head

    def _repr_html_(self) -> str:
        from html import escape

        lines = []
        for name, section in self.sections():
            lines += [f"<tr><th colspan=2>{escape(name)}</th></tr>"] + [
                f"<tr><td title='{escape(meaning, quote=True)}'>{escape(key)}</td><td>{value:.5g}</td></tr>"
                for key, meaning, value in rows(section)
                if isinstance(value, (int, float))
            ]
        return f"<table><caption>{escape(self.title)}</caption>{''.join(lines)}</table>"


def rows(section: Any) -> Iterator[tuple[str, str, Any]]:
    """Key, meaning and plain value of every result in a group that applies."""
    for item in fields(section):
        value = getattr(section, item.name)
        if "key" not in item.metadata or value is None or value == ():
            continue
        scale = item.metadata["scale"]
        yield item.metadata["key"], item.metadata["meaning"], _plain(value if scale == 1.0 else value * scale)


def numbers(group: str, record: type, values: Mapping[str, Any]) -> dict[str, float]:
    """Some fields of a group of results as they are given out: dotted key and number, nothing that does not apply."""
    found = {}
    for name, key, scale in _keyed(record):
        value = values.get(name)
        if isinstance(value, (int, float, np.number)):
            found[f"{group}.{key}"] = float(value) * scale
    return found


@cache
def _keyed(record: type) -> tuple[tuple[str, str, float], ...]:
    """Name, key and scale of every field of a group that is given out."""
    keyed = [item for item in fields(record) if "key" in item.metadata]
    return tuple((item.name, item.metadata["key"], item.metadata["scale"]) for item in keyed)


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value.item() if isinstance(value, np.generic) else value
