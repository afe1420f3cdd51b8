"""Drive parameters as JSON and as a plain C header; names carry the units."""

from __future__ import annotations

from collections.abc import Mapping

from pcbstator.output.files import json_text

HEAD = """\
/* Drive parameters of "{title}", {origin}.
 * Names end in the unit. Electrical values are those of a phase of the equivalent star,
 * currents and voltages are peaks, angles and speeds those of the motor's shaft.
 * The loops that these gains belong to, every sample_time_s:
 *   observer   e = measured - angle; angle += T (speed + 2 f e); speed += T (a_ref + f f e)
 *   position   s = speed_ref + position_kp (angle_ref - angle) - speed
 *   speed      torque = inertia a_ref + friction sign(speed_ref) + viscous speed_ref + speed_kp s + S
 *              S += T speed_ki s, not at the torque limit, nor at rest within the dead band
 *   current    d = torque / torque_constant - i; v = current_kp d + I + speed terms; I += T current_ki d
 * Begin with a small current limit, and a hand on the switch of the supply. */
"""
COMMISSIONED = """\
 * The sensor was tested: angle = sensor_sense (reading - table at reading), in radians,
 *   electrical angle = pole_pairs angle - electrical_zero, 0 with the rotor's field along phase A.
"""
TABLE = """\
 * sensor_table is taken off the sensor's reading: even over a turn of it, straight lines between.
"""
MARK = " * Begin with"  # the line before which more is said
IN_A_LINE = 8
Values = Mapping[str, float | int | str | list[float]]


def drive_json(parameters: Values, title: str, version: str) -> str:
    """The parameters as one JSON object."""
    return json_text({"title": title, "version": version} | dict(parameters))


def drive_header(parameters: Values, title: str, version: str, origin: str = "") -> str:
    """The parameters as definitions of the C preprocessor, every number with its unit in the name; origin: where they
    come from, where they are not predicted alone.
    """
    lines = [f"#define DRIVE_{name.upper()} {_number(value)}" for name, value in parameters.items()]
    known = _in_comment(origin) or f"predicted by pcbstator {version}, not measured"
    head = HEAD.format(title=_in_comment(title), origin=known)
    for key, words in (("electrical_zero_rad", COMMISSIONED), ("sensor_table_rad", TABLE)):
        head = head.replace(MARK, words + MARK) if key in parameters else head
    return head + "#ifndef DRIVE_H\n#define DRIVE_H\n\n" + "\n".join(lines) + "\n\n#endif\n"


def _in_comment(words: str) -> str:
    return "".join(letter if " " <= letter <= "~" and letter not in '*/"\\' else " " for letter in words)


def _number(value: float | int | str | list[float]) -> str:
    """A number as C writes it: whole ones plain, others in single precision.

    >>> _number(12), _number(0.25), _number(1e-07)
    ('12', '0.25f', '1e-07f')
    """
    if isinstance(value, list):
        numbers = [_number(float(each)) for each in value]
        lines = [", ".join(numbers[k : k + IN_A_LINE]) for k in range(0, len(numbers), IN_A_LINE)]
        return "{ \\\n  " + ", \\\n  ".join(lines) + " }"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return f'"{value}"'
    text = f"{value:.9g}"
    return (text if "." in text or "e" in text else text + ".0") + "f"
