"""The results that a study may speak of: every number that ``predict`` gives, and what the study adds to them."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import fields
from functools import cache
from typing import Any

from pcbstator.analysis.drive.records import DriveResult, MotionResult
from pcbstator.analysis.electrical.records import CopperResult, ElectricalResult, SlipRingResult, WindingResult
from pcbstator.analysis.fields import rows
from pcbstator.analysis.magnetic.records import MagneticResult
from pcbstator.analysis.mechanical.ball_contact import BallResult
from pcbstator.analysis.mechanical.records import MechanicalResult
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.design.sections.requirement import Requirement
from pcbstator.findings import Verdict

SECTIONS: dict[str, type] = {
    "winding": WindingResult,
    "copper": CopperResult,
    "electrical": ElectricalResult,
    "magnetic": MagneticResult,
    "thermal": ThermalResult,
    "mechanical": MechanicalResult,
    "slip_ring": SlipRingResult,
    "slip_ring_balls": BallResult,
    "motion": MotionResult,
    "drive": DriveResult,
}
OWN = {
    "occupied.height_mm": "from the far face of the stator to the back of the rotor",
    "occupied.least_diameter_mm": "bore of the board or of the ring of magnets, the smaller one",
    "occupied.largest_diameter_mm": "outline of the board or of the ring of magnets, the larger one",
    "occupied.magnet_spacing_mm": "least distance between neighbouring magnets",
    "cost.board": "price of the boards of one machine, in the currency of the prices",
    "cost.magnets": "price of its magnets",
    "cost.total": "both together",
    "findings.errors": "findings that forbid to make it",
    "findings.warnings": "findings that advise against it",
    "findings.notes": "remarks",
}
NEARLY = 1e-3  # part of a limit by which a requirement is missed at least that is not met for another reason
UNMET, WORST = "requirement.unmet", "requirement.least_margin_ratio"
VERDICTS = {
    UNMET: "requirements that are not met, or of which that cannot be said",
    WORST: "what is left to the limit of the requirement that is kept least, as a part of the limit",
    **{
        f"requirement.{field.alias}": f"predicted for the requirement {field.alias}"
        for field in Requirement.model_fields.values()
    },
}
LIMITING = (
    "board",
    "magnet",
    "continuous",
    "runaway",
    "duty",
    "touch",
    "tg",
    "solder",
    "blister",
    "ipc2221",
    "ipc2152",
)
RENAMED = {
    "thermal.motion_board_c": "motion.cycle_board_temperature_c",
    "thermal.motion_rotor_c": "motion.cycle_rotor_temperature_c",
    "thermal.motion_current_factor": "motion.cycle_heat_growth_ratio",
    "copper.wires_across_cuts": "copper.tile_jumpers",
    "mechanical.axial_pull_n": "mechanical.axial_force_n",
    "thermal.ipc2221_via_current_a": "thermal.ipc2221_via_phase_current_rms_a",
    "motion.peak_current_a": "motion.terminal_current_peak_a",
    "motion.rms_current_a": "motion.heating_terminal_current_peak_a",
    "motion.loop_current_rms_a": "motion.loop_phase_current_rms_a",
    "drive.current_ripple_a": "drive.terminal_ripple_peak_to_peak_a",
    "drive.current_ripple_at_job_a": "drive.terminal_ripple_at_job_peak_to_peak_a",
    "drive.stall_fault_current_a": "drive.stall_terminal_current_peak_a",
    "drive.short_circuit_current_a": "drive.short_circuit_terminal_current_peak_a",
    "slip_ring.via_worst_current_a": "slip_ring.via_worst_current_rms_a",
    **{f"room.{size}_mm": f"occupied.{size}_mm"
       for size in ("height", "least_diameter", "largest_diameter", "magnet_spacing")},
    **{f"thermal.{limit}_current_a": f"thermal.{limit}_phase_current_rms_a" for limit in LIMITING},
    **{f"thermal.peak_current_{time}_{start}_a": f"thermal.intermittent_phase_current_{time}_{start}_rms_a"
       for time in ("1_s", "10_s", "60_s") for start in ("cold", "warm")},
    **{f"slip_ring.{part}allowed_current_a": f"slip_ring.{part}allowed_current_rms_a"
       for part in ("", "ring_", "lead_", "vias_", "via_")},
}  # fmt: skip
UNITS = (
    ("_v_per_a_s", "V/(A·s)"), ("_v_per_a", "V/A"), ("_m_per_s", "m/s"), ("_per_s", "1/s"),
    ("_n_m_per_rad", "N·m/rad"), ("_deg_per_count", "°/count"), ("_n_m_per_sqrt_w", "N·m/√W"),
    ("_n_m_per_a", "N·m/A"), ("_v_s_per_rad", "V·s/rad"), ("_rpm_per_v", "rpm/V"),
    ("_k_per_w", "K/W"), ("_kg_m2", "kg·m²"), ("_n_m_s_per_rad", "N·m·s/rad"), ("_n_per_mm", "N/mm"),
    ("_n_m", "N·m"), ("_ohm", "Ω"), ("_ratio", ""), ("_percent", "%"), ("_rpm", "rpm"), ("_khz", "kHz"),
    ("_hz", "Hz"), ("_deg", "°"), ("_mpa", "MPa"), ("_mm2", "mm²"), ("_mm", "mm"), ("_um", "µm"), ("_wb", "Wb"),
    ("_c", "°C"),
    ("_a", "A"), ("_w", "W"), ("_g", "g"), ("_h", "H"), ("_k", "K"), ("_s", "s"), ("_t", "T"), ("_n", "N"),
    ("_j", "J"), ("_m", "m"), ("_v", "V"), ("_percent", "%"),
)  # fmt: skip


@cache
def result_keys() -> dict[str, str]:
    """Every result that is one number, by its dotted key, with its meaning."""
    found = {
        f"{section}.{item.metadata['key']}": str(item.metadata["meaning"])
        for section, record in SECTIONS.items()
        for item in fields(record)
        if "key" in item.metadata and str(item.type) in ("float", "int", "float | None", "int | None")
    }
    return found | OWN | VERDICTS


def is_result(key: str) -> bool:
    """Whether a study may speak of this result; a finding's own code counts: ``findings.copper.gap``."""
    return key in result_keys() or (key.startswith("findings.") and len(key) > len("findings."))


def nearest_result(key: str) -> str:
    """What to do about an unknown result.

    >>> nearest_result("room.height_mm"), nearest_result("thermal.board_temperature")
    ('it is called occupied.height_mm now', 'did you mean thermal.board_temperature_c?')
    """
    if key in RENAMED:
        return f"it is called {RENAMED[key]} now"
    known = [*result_keys()]
    close = difflib.get_close_matches(key, known, n=1, cutoff=0.6)
    if not close:  # perhaps only the section is wrong
        last = {name.rpartition(".")[2]: name for name in known}
        close = [last[name] for name in difflib.get_close_matches(key.rpartition(".")[2], last, n=1, cutoff=0.6)]
    return f"did you mean {close[0]}?" if close else "docs/nomenclature.md lists all results"


def unit_of(key: str) -> str:
    """The unit of a key of a design or a result, by its ending.

    >>> unit_of("thermal.board_temperature_c"), unit_of("board.track_width_mm"), unit_of("winding.turns")
    ('°C', 'mm', '')
    """
    return next((unit for ending, unit in UNITS if key.endswith(ending)), "")


def words_of(key: str) -> str:
    """A key as a reader sees it: its last part without the unit, and the unit.

    >>> words_of("magnetic.torque_constant_n_m_per_a")
    'torque constant, N·m/A'
    """
    ending, unit = next(((e, u) for e, u in UNITS if key.endswith(e)), ("", ""))
    section, _, name = key.rpartition(".")
    named = name.removesuffix(ending).replace("_", " ")
    if section.partition(".")[0] in ("cost", "findings", "requirement"):  # whose last parts say little by themselves
        named = f"{section.replace('.', ' ')} {named}"
    return f"{named}, {unit}" if unit else named


def verdict_results(found: Sequence[Verdict]) -> dict[str, float]:
    """The verdict as results: the predicted value of every requirement, how many are not met, the least margin; what
    cannot be said misses its limit by all of it.
    """
    values = {f"requirement.{one.name}": one.value for one in found if one.value is not None}
    margins = [-1.0 if one.margin is None or one.verdict == "cannot be said" else one.margin for one in found]
    # A value that is within its limit may still be forbidden: a move in time that the torque cannot follow.
    margins = [
        min(margin, -NEARLY) if one.verdict == "not met" else margin for one, margin in zip(found, margins, strict=True)
    ]
    values[UNMET] = float(sum(one.verdict != "met" for one in found))
    return values | ({WORST: min(margins)} if margins else {})


def flat_results(prediction: Any) -> dict[str, float]:
    """Every single number of a prediction by its dotted key, and the counts of its findings."""
    found: dict[str, float] = {}
    for name, section in prediction.sections():
        for key, _, value in rows(section):
            if isinstance(value, int | float) and not isinstance(value, bool):
                found[f"{name}.{key}"] = float(value)
    found |= verdict_results(prediction.requirement)
    for severity in ("error", "warning", "note"):
        found[f"findings.{severity}s"] = float(sum(f.severity == severity for f in prediction.findings))
    for finding in prediction.findings:
        code = f"findings.{finding.code}"
        found[code] = found.get(code, 0.0) + 1
    return found
