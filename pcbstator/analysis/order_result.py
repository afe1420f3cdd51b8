"""What to buy, as ranges: every bound is computed, and says from what."""

from __future__ import annotations

from dataclasses import dataclass

from pcbstator.analysis.fields import Bounds, result


@dataclass(frozen=True, kw_only=True)
class OrderResult:
    """Ranges in the unit of their key. Currents are those of a terminal, at the motor."""

    continuous: Bounds | None = result(
        "driver_terminal_current_rms_a", "rms current of a terminal that the driver must give for any length of time"
    )
    peak: Bounds | None = result(
        "driver_terminal_current_peak_a", "peak current of a terminal that the driver must give"
    )
    supply: Bounds | None = result("supply_v", "direct voltage of the supply")
    supply_current: Bounds | None = result("supply_current_peak_a", "largest direct current of the supply")
    sense_range: Bounds | None = result(
        "sense_range_terminal_current_peak_a", "largest terminal current, of either sign, that the sensors must read"
    )
    sense_bits: Bounds | None = result("sense_bits", "bits of the current measurement over its range, both signs")
    pwm: Bounds | None = result("pwm_khz", "switching frequency of the driver")
    control: Bounds | None = result("control_khz", "rate of the control loops")
    wire: Bounds | None = result("wire_section_mm2", "copper of each wire from driver to stator")
    gauge: Bounds | None = result(
        "wire_gauge_awg", "American wire gauge of these wires, thick ones have low numbers; least: the thickest"
    )
    counts: Bounds | None = result("sensor_counts", "positions per turn of the motor that the sensor tells apart")
    offset: Bounds | None = result("sensor_offset_mm", "distance of the sensor from the place where it belongs")
    place: str | None = result("sensor_place", "where the sensor can sit")
    screw: Bounds | None = result("screw_diameter_mm", "metric screws for the board's holes, by their thread")
    screw_length: Bounds | None = result("screw_length_mm", "length of these screws under the head")
    screw_material: str | None = result("screw_material", "what these screws may be made of")
