"""What to do about what logs show, by the size of its effect, in plain words."""

from __future__ import annotations

from math import degrees

from pcbstator.analysis.drive.gains import chosen_gains, shaft_of
from pcbstator.bench.logs.known import ONCE, TWICE, Known
from pcbstator.bench.logs.result import Advice, CorrectionTable, LogRow

WORTH_A_TABLE = 2.0  # times less error with it
OTHER_INERTIA = 0.1  # part by which it must differ for other gains
OTHER_FRICTION = 0.25
FRICTION = ("running_friction", "coast_friction")
ORDERS = ("sensor_once", "sensor_twice", "current_offset", "current_gain", "dead_time", "magnets", "unnamed")


def advised(rows: list[LogRow], tables: list[CorrectionTable], known: dict[tuple[str, str], Known]) -> list[Advice]:
    """Gains first, since the loops carry all else; then by the angle that each takes out. known: by board and rotor."""
    found = [_table(table) for table in tables if table.rms_before > WORTH_A_TABLE * table.rms_after]
    for row in rows:
        if tables and row.about.endswith((ONCE, TWICE)):
            continue  # the sensor's own curve says more
        words = _of_row(row, known[row.board, row.rotor])
        if words is not None:
            found.append(words)
    return sorted(found, key=lambda each: -(each.effect if each.effect is not None else 1e9))


def _table(table: CorrectionTable) -> Advice:
    words = (
        f"put the table of {len(table.values)} corrections of {table.log} into the controller: rms error "
        f"{table.rms_before:.2g} to {table.rms_after:.2g} degrees"
    )
    return Advice("table", words, table.largest_before)


def _of_row(row: LogRow, known: Known) -> Advice | None:
    if row.key == "inertia":
        return _gains(row, known)
    if not row.far and not _other_friction(row):
        return None
    if row.key == "friction_spot":
        return _spot(row, known)
    if row.key.startswith(ORDERS):
        return _order(row)
    return _plain(row, known)


def _gains(row: LogRow, known: Known) -> Advice | None:
    """The loops for the measured inertia, where it differs for sure."""
    job, apart = known.job, row.value / known.inertia - 1
    if job is None or row.unit != "kg·m²" or row.assumed != known.inertia:
        return None
    if abs(apart) < OTHER_INERTIA or abs(row.value - known.inertia) < 3 * row.sigma:
        return None
    old, shaft = job.gains, shaft_of(job.machine, job.load, job.values, job.ratio)
    whole = row.value / job.ratio**2
    new = chosen_gains(job.machine, job.drive, whole, shaft.anti_resonance)
    real = old.speed_bandwidth * shaft.whole / whole
    words = (
        f"new gains for {100 * apart:+.0f} % inertia ({row.log}): speed gain {old.speed[0]:.3g} to {new.speed[0]:.3g} "
        f"N·m·s/rad, its integral {old.speed[1]:.3g} to {new.speed[1]:.3g} N·m/rad, position gain {old.position:.3g} "
        f"to {new.position:.3g} 1/s; with the old ones the speed loop has {real:.3g} Hz instead of "
        f"{old.speed_bandwidth:.3g}"
    )
    return Advice("gains", words)


def _other_friction(row: LogRow) -> bool:
    """Whether the friction is another than assumed for sure, though a bearing may well have it."""
    if row.key not in FRICTION or not row.assumed:
        return False
    apart = abs(row.value - row.assumed)
    return apart > 3 * row.sigma and apart > OTHER_FRICTION * row.assumed


def _spot(row: LogRow, known: Known) -> Advice:
    held = degrees(row.value / known.job.loop_values.stiffness) if known.job else None
    words = (
        f"{row.about}, {1e3 * row.value:.2g} mN·m: clean the ring bearing there; if it stays, turn the bearing so that "
        "the spot lies where nothing stops, or replace it"
    )
    return Advice("ring bearing", words, held)


def _order(row: LogRow) -> Advice:
    size = f"{row.value:.2g} degrees, {row.about}"
    ways = {
        "sensor_once": "shim or shift the sensor's ring by what the sensor against a reference shows, or use a table",
        "sensor_twice": "centre the chip over its magnet and shim out the tilt, or use a table",
        "current_offset": "measure the offsets of the current sensors with the driver on and no current at each start, "
        "and subtract them",
        "current_gain": "set the gains of the current sensors alike: one direct current through each pair of phases in "
        "turn; if it stays, compare the phases' EMF",
        "dead_time": "compensate the dead time in the driver; what stays is the EMF, which a table of current over "
        "the electrical angle takes out",
        "magnets": "compare the magnets with a Hall sensor and exchange the odd one, or use a table of current over "
        "the turn",
        "unnamed": "look for what turns that often: balls and cage of the bearing, a gear, the cable",
    }
    if "off centre, towards" in row.words or "off the axis" in row.words:  # the sensor's own curve says by how much
        return Advice(row.key, f"{size}: {row.words}; shift it back, or use the table", row.value)
    way = next(words for key, words in ways.items() if row.key.startswith(key))
    return Advice(row.key, f"{size}: {way}", row.value)


def _plain(row: LogRow, known: Known) -> Advice | None:
    more = row.assumed is not None and row.value > row.assumed
    if row.key in ("play", "play_and_friction", "lost_motion") and more:
        words = "preload the bearing, or shim it, until no side play is felt; then approach targets from one side only"
        return Advice("preload", f"{row.value:.2g} degrees, {row.about}: {words}", row.value)
    if row.key == "friction_dead_band" and more:
        words = "more integral of the speed loop, a longer rest, or less preload and grease"
        return Advice("friction", f"{row.value:.2g} degrees, {row.about}: {words}", row.value)
    if row.key == "sensor_at_target":
        words = "set the sensor's zero, and take its curve against a reference over a turn"
        return Advice("sensor", f"{row.value:.2g} degrees, {row.about}: {words}", abs(row.value))
    if row.key in FRICTION and row.assumed is not None:
        held = degrees((row.value - row.assumed) / known.job.loop_values.stiffness) if known.job else None
        words = "write it into bearing.friction_n_m, so that it is fed forward and counted"
        if more:
            words += "; if it is far above what the bearing's maker says: less preload, thinner grease, no tilt"
        told = f"{1e3 * row.value:.3g} mN·m {row.about} ({row.log}), assumed {1e3 * row.assumed:.3g}"
        return Advice("friction", f"{told}: {words}", None if held is None else abs(held))
    if row.key in ("viscous_friction", "coast_drag"):
        way = "write it into bearing.viscous_n_m_s_per_rad"
        way += "; grease that drags by more than this calls for a thinner one" if more else ""
        return Advice("friction", f"{1e3 * row.value:.3g} mN·m·s/rad, {row.about} ({row.log}): {way}", 0.0)
    if row.key == "unbalance":
        at = known.job.loop_values.stiffness if known.job else None
        words = "balance the load, or write it into load.unbalance_n_m"
        return Advice("unbalance", f"{1e3 * row.value:.2g} mN·m once a turn: {words}",
                      None if at is None else degrees(row.value / at))  # fmt: skip
    return None
