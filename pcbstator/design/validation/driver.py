"""Rules between the keys of a driver: its losses, its wires, and its place inside the ring."""

from __future__ import annotations

from pcbstator.errors import Complaint


def one_switching_loss(time: float, loss: float) -> Complaint | None:
    if time == 0 or loss == 0:
        return None
    rule = f"must be left out beside drive.switching_time_ns = {time:g}, from which the loss is found"
    return Complaint("drive.switching_loss_w", rule, f"{loss:g}", "state one of both")


def switching_time(time: float, pwm: float) -> Complaint | None:
    if time * 1e-6 * pwm * 2 <= 0.5:
        return None
    rule = f"must leave half of a period of {pwm:g} kHz"
    return Complaint("drive.switching_time_ns", rule, f"{time:g}", "lower it or drive.pwm_khz")


def cable(length: float, section: float | None) -> Complaint | None:
    if length > 0 and section is None:
        rule = f"is required with drive.cable_length_mm = {length:g}"
        return Complaint("drive.cable_section_mm2", rule, "nothing", "state the copper of a wire, such as 0.5")
    return None


def driver_contact(area: float | None, contact: float) -> Complaint | None:
    if area is not None or contact == 0:
        return None
    rule = f"is required with drive.driver_to_board_w_per_k = {contact:g}"
    return Complaint("drive.driver_area_mm2", rule, "nothing", "state the driver's faces in the air")


def driver_limit(area: float | None, limit: float, ambient: float) -> Complaint | None:
    if area is None or limit > ambient:
        return None
    rule = f"must be above cooling.ambient_c = {ambient:g}"
    return Complaint("drive.driver_limit_c", rule, f"{limit:g}", "use a driver for more heat")
