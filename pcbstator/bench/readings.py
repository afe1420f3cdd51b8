"""What a bench file may hold: a record for every kind of reading. SI and radians inside, temperatures in degrees C.

The default uncertainties, one standard deviation, are those of instruments of the usual hobby class: common practice,
no source.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import PrivateAttr, model_validator

from pcbstator.bench.kinds import Pair, Positive, henries, hertz, newtons, ohms, volts
from pcbstator.design.quantities import (
    Count,
    QuantityList,
    Record,
    Text,
    YesNo,
    amperes,
    celsius,
    degrees,
    key,
    micrometres,
    millimetres,
    percent,
    refusal,
    revolutions_per_minute,
)  # fmt: skip

if TYPE_CHECKING:
    from pcbstator.bench.recorded import Table

GRAVITY = 9.80665  # m/s2, the standard value (BIPM, CGPM 1901)
FREQUENCY = 0.002  # uncertainty of a frequency that an oscilloscope counts; common practice, no source
SPEED = 0.01  # of a speed that a hand-held tachometer counts; common practice, no source

Line = Annotated[str, Text(60)]
Terminals = Annotated[tuple[str, str], Pair()]
File = Annotated[str, Text(200)]
INERTIA = Positive("kg m2", 1.0, 1e-9, 1e3, why="leave it out where nothing is added")
GRAMS = Positive("g", 1e3, 1e-3, 1e6, why="write the size, without a sign")


class Reading(Record):
    """What every reading may say beside its value. name: where the file gives none, kind, terminals and number."""

    kind: ClassVar[str] = ""
    columns: ClassVar[tuple[tuple[str, ...], ...]] = ()  # of its CSV file: each one of these
    default: ClassVar[float] = 0.05

    name: Line = key("name", "what it is called in the comparison", "-", otherwise="kind, terminals and number")
    board: Line = key("board", "serial number of the board", "1")
    rotor: Line = key("rotor", "serial number of the rotor", "1")
    stated: Annotated[float, percent(0.001, 100.0)] | None = key(
        "uncertainty_percent", "one standard deviation", None, otherwise="that of the usual instrument"
    )

    @property
    def uncertainty(self) -> float:
        """One standard deviation over the value."""
        return self.default if self.stated is None else self.stated

    @property
    def pair(self) -> str:
        """The two terminals as one word, empty where it is between none."""
        return "".join(getattr(self, "between", ()))


class TableReading(Reading):
    """A reading that is a file of rows beside the bench file."""

    table_csv: File = key("table_csv", "CSV file beside the bench file", example="log.csv")
    decimal: Literal["point", "comma"] | None = key("decimal", "decimal mark of the file", None, otherwise="as found")
    _table: Table | None = PrivateAttr(None)

    @property
    def table(self) -> Table:
        """The rows; there once the bench is loaded."""
        if self._table is None:
            raise ValueError("the file has not been read")
        return self._table


class Resistance(Reading):
    """Resistance between two terminals. lead: of the meter's leads, where it is still in the reading."""

    kind = "resistance"
    default = 0.01

    between: Terminals = key("between", "the two terminals", example=["A", "B"])
    resistance: Annotated[float, ohms()] = key("ohm", "as the meter shows it", example=3.2)
    temperature_c: Annotated[float, celsius(-60.0, 250.0)] = key("copper_c", "temperature of the copper", example=22.0)
    leads: Annotated[float, ohms()] | None = key(
        "leads_ohm", "resistance of the meter's own leads, where it is still in the reading", None,
        otherwise="none: four wires, or subtracted",
    )  # fmt: skip

    @property
    def value(self) -> float:
        """Resistance [ohm] without the leads."""
        return self.resistance - (self.leads or 0.0)

    @model_validator(mode="after")
    def _leads_less(self) -> Resistance:
        if self.value <= 0:
            raise refusal("must be less than the reading", "measure the shorted leads again", at="leads_ohm",
                          value=f"{self.leads:g} of {self.resistance:g} ohm")  # fmt: skip
        return self


class Inductance(Reading):
    """Inductance between two terminals."""

    kind = "inductance"
    default = 0.03  # beside the meter's 0.1 to 1 %, what a right prediction misses: see docs/bench.md

    between: Terminals = key("between", "the two terminals", example=["A", "B"])
    value: Annotated[float, henries()] = key("henry", "as the meter shows it", example=0.0001)
    frequency: Annotated[float, Positive("kHz", 1e-3, 0.01, 1e4, why="write the meter's frequency")] = key(
        "frequency_khz", "frequency of the meter", example=1.0
    )
    rotor_angle: Annotated[float, degrees(-360.0, 360.0, 0.0)] | None = key(
        "rotor_deg", "angle of the rotor, mechanical", None
    )


class Emf(Reading):
    """EMF between two terminals of a motor that is turned. One of three keys says how the size was read."""

    kind = "emf"
    default = 0.02
    columns = (("time",), ("voltage",))

    between: Terminals = key("between", "the two terminals", example=["A", "B"])
    peak: Annotated[float, volts()] | None = key("peak_v", "from zero to the crest", None)
    peak_to_peak: Annotated[float, volts()] | None = key("peak_to_peak_v", "from trough to crest", None)
    rms: Annotated[float, volts()] | None = key("rms_v", "as a true-rms meter shows it", None)
    frequency: Annotated[float, hertz(0.01, 1e5)] | None = key("frequency_hz", "of the wave: electrical", None)
    speed: Annotated[float, revolutions_per_minute(0.01, 1e6)] | None = key("speed_rpm", "of the rotor", None)
    magnet_c: Annotated[float, celsius(-60.0, 250.0)] = key("magnet_c", "temperature of the magnets", 20.0)
    table_csv: File | None = key("table_csv", "a recorded wave instead: CSV file beside the bench file", None)
    decimal: Literal["point", "comma"] | None = key("decimal", "decimal mark of the file", None, otherwise="as found")
    _table: Table | None = PrivateAttr(None)

    @model_validator(mode="after")
    def _one_size(self) -> Emf:
        sizes = {
            "peak_v": self.peak,
            "peak_to_peak_v": self.peak_to_peak,
            "rms_v": self.rms,
            "table_csv": self.table_csv,
        }
        given = [name for name, value in sizes.items() if value is not None]
        if len(given) != 1:
            rule = "must have one of " + ", ".join(sizes)
            raise refusal(rule, "keep the one that was read", value=" and ".join(given) or "nothing")
        if self.frequency is None and self.speed is None and self.table_csv is None:
            rule = "must say how fast it turned"
            raise refusal(rule, "add frequency_hz of the wave, or speed_rpm, or both", value="neither")
        return self

    @property
    def value(self) -> float:
        """The size [V] as it was read."""
        if self._table is not None:
            return float(self._table.facts["peak"])
        return next(value for value in (self.peak, self.peak_to_peak, self.rms) if value is not None)

    @property
    def measured_frequency(self) -> float | None:
        """Electrical frequency [Hz] of the reading or of the recorded wave."""
        return float(self._table.facts["frequency"]) if self._table is not None else self.frequency

    @property
    def over_peak(self) -> float:
        """What was read over the peak of a sine wave."""
        return 2.0 if self.peak_to_peak is not None else sqrt(0.5) if self.rms is not None else 1.0


class StaticTorque(Reading):
    """Largest torque over a slow turn with direct current from the first terminal to the second."""

    kind = "static_torque"
    default = 0.05

    between: Terminals = key("between", "in and out", example=["A", "B"])
    current: Annotated[float, amperes(1e-3, 1e3)] = key("current_a", "direct current", example=0.5)
    lever: Annotated[float, millimetres(1.0, 2000.0)] = key("lever_mm", "from the axis to the scale", example=100.0)
    mass: Annotated[float, GRAMS] | None = key("grams", "largest reading of the scale", None)
    force: Annotated[float, newtons(1e-5, 1e4)] | None = key("newton", "largest reading of the scale", None)
    free: Annotated[float, GRAMS] | None = key("free_grams", "reading without current", None)

    @model_validator(mode="after")
    def _one_size(self) -> StaticTorque:
        if (self.mass is None) == (self.force is None):
            raise refusal("must have one of grams and newton", "keep the one that was read",
                          value="nothing" if self.mass is None else "both")  # fmt: skip
        if self.value <= 0:
            raise refusal("must be less than with current", "subtract it yourself and leave it out", at="free_grams")
        return self

    @property
    def value(self) -> float:
        """Torque [N m] of the current alone."""
        force = self.force if self.force is not None else (self.mass or 0.0) * GRAVITY
        return (force - (self.free or 0.0) * GRAVITY) * self.lever


class NoLoad(Reading):
    """Current of a terminal at a steady speed with nothing on the shaft."""

    kind = "no_load"
    default = 0.05

    speed: Annotated[float, revolutions_per_minute(0.01, 1e6)] = key("speed_rpm", "of the rotor", example=600.0)
    peak: Annotated[float, amperes(1e-5, 1e3)] | None = key("terminal_peak_a", "peak current of a terminal", None)
    rms: Annotated[float, amperes(1e-5, 1e3)] | None = key("terminal_rms_a", "rms current of a terminal", None)

    @model_validator(mode="after")
    def _one_size(self) -> NoLoad:
        if (self.peak is None) == (self.rms is None):
            raise refusal("must have one of terminal_peak_a and terminal_rms_a", "keep the one that was read",
                          value="nothing" if self.peak is None else "both")  # fmt: skip
        return self

    @property
    def value(self) -> float:
        """Peak current [A] of a terminal."""
        return self.peak if self.peak is not None else sqrt(2) * (self.rms or 0.0)


class CoastDown(TableReading):
    """Speed over time of a rotor that is left alone."""

    kind = "coast_down"
    columns = (("time",), ("speed",))

    added_inertia: Annotated[float, INERTIA] | None = key(
        "added_inertia_kg_m2", "a body of known inertia on the rotor", None
    )
    with_load: Annotated[bool, YesNo()] = key("with_load", "the load is on the rotor", False)


class WarmUp(TableReading):
    """Resistance, or voltage and current, over time with a held direct current."""

    kind = "warm_up"
    columns = (("time",), ("resistance", "voltage"))

    between: Terminals = key("between", "in and out", ("A", "B"))
    ambient_c: Annotated[float, celsius(-60.0, 150.0)] = key("ambient_c", "temperature of the air", example=22.0)
    current: Annotated[float, amperes(1e-3, 1e3)] | None = key(
        "current_a", "the held direct current", None, otherwise="in a column current_a"
    )


class Field(Reading):
    """Largest field of a lone rotor across its face, over the middle of a pole."""

    kind = "field"
    default = 0.03

    value: Annotated[float, Positive("mT", 1e3, 0.01, 3000.0, why="write its size, without a sign")] = key(
        "peak_mt", "largest reading over a pole, its size", example=250.0
    )
    distance: Annotated[float, millimetres(0.3, 100.0)] = key(
        "distance_mm", "from the magnet's face to the sensor's chip", example=2.0
    )
    radius: Annotated[float, millimetres(0.5, 1000.0)] = key("radius_mm", "from the axis to the chip", example=42.0)


class Pull(Reading):
    """Pull between the rotor and the steel that the design has, at a gap."""

    kind = "pull"
    default = 0.05

    value: Annotated[float, newtons(1e-3, 1e5)] = key("newton", "largest force of the scale", example=60.0)
    gap: Annotated[float, millimetres(0.05, 50.0)] = key("gap_mm", "from magnet to laminate", example=0.8)


class Gap(Reading):
    """Air gap by feeler gauge, from the magnet's face to the laminate."""

    kind = "gap"

    value: Annotated[float, millimetres(0.02, 50.0)] = key("mm", "what just goes in", example=0.8)
    angle: Annotated[float, degrees(-360.0, 360.0, 0.0)] | None = key("angle_deg", "where on the turn", None)

    @property
    def uncertainty(self) -> float:
        """One standard deviation over the value: a leaf of the gauge, 0.03 mm."""
        return 0.03e-3 / self.value if self.stated is None else self.stated


class Thickness(Reading):
    """Thickness of a part by calliper or micrometer."""

    kind = "thickness"

    of: Literal["board", "magnet", "back_iron"] = key("of", "the part", example="board")
    value: Annotated[float, millimetres(0.05, 100.0)] = key("mm", "its thickness", example=1.6)

    @property
    def uncertainty(self) -> float:
        """One standard deviation over the value: a calliper's 0.02 mm."""
        return 0.02e-3 / self.value if self.stated is None else self.stated


class FinishedCopper(Reading):
    """Thickness of a layer's copper, from a coupon or a cut."""

    kind = "finished_copper"
    default = 0.03

    layer: Annotated[int, Count(range(1, 65))] = key("layer", "copper layer, 1 towards the rotor", example=1)
    value: Annotated[float, micrometres(1.0, 1000.0)] = key("um", "thickness of its copper", example=45.0)


class Sensor(TableReading):
    """The motor's sensor against a reference, over a turn."""

    kind = "sensor"
    columns = (("reference",), ("sensor",))


class SlowTurn(TableReading):
    """Angle, and current where there is one, over time at a slow steady speed."""

    kind = "slow_turn"
    columns = (("time",), ("angle",))


Angles = Annotated[tuple[float, ...], QuantityList(degrees(-1e6, 1e6, 0.0), 10_000)]


class Approach(Reading):
    """Stops at one target, from below and from above."""

    kind = "approach"

    target: Annotated[float, degrees(-1e6, 1e6, 0.0)] = key("target_deg", "the target", example=90.0)
    from_below: Angles = key("from_below_deg", "where it stopped, coming from smaller angles", example=[89.99, 89.98])
    from_above: Angles = key("from_above_deg", "where it stopped, coming from larger angles", example=[90.02, 90.03])
    sensor_below: Angles | None = key(
        "sensor_below_deg", "what the drive's own sensor said at the stops from below", None, example=[89.99, 89.99]
    )
    sensor_above: Angles | None = key(
        "sensor_above_deg", "what the drive's own sensor said at the stops from above", None, example=[90.01, 90.01]
    )

    @model_validator(mode="after")
    def _both_sides(self) -> Approach:
        if (self.sensor_below is None) != (self.sensor_above is None):
            missing = "sensor_below_deg" if self.sensor_below is None else "sensor_above_deg"
            raise refusal("must be there where the other side is", "add it, or leave out both", at=missing)
        return self


class SmallSteps(Reading):
    """Small equal steps up, then down: how far each moved."""

    kind = "small_steps"

    step: Annotated[float, degrees(1e-6, 90.0)] = key("step_deg", "the step that was asked for", example=0.1)
    up: Angles = key("up_deg", "how far it moved at each step up, in their order", example=[0.02, 0.1, 0.1])
    down: Angles = key("down_deg", "how far at each step down, written with a minus", example=[-0.01, -0.1, -0.1])


class Move(TableReading):
    """A move with its current: time, angle, peak of the terminal current with the sign of its torque."""

    kind = "move"
    columns = (("time",), ("angle",), ("terminal_peak",))
