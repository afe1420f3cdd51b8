"""Drive parameters as JSON and as a plain C header; names carry the units."""

from __future__ import annotations

from collections.abc import Mapping

from pcbstator.output.files import json_text

HEAD = """\
/* Drive parameters of "{title}", predicted by pcbstator {version}, not measured.
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


def drive_json(parameters: Mapping[str, float | int | str], title: str, version: str) -> str:
    """The parameters as one JSON object."""
    return json_text({"title": title, "version": version} | dict(parameters))


def drive_header(parameters: Mapping[str, float | int | str], title: str, version: str) -> str:
    """The parameters as definitions of the C preprocessor, every number with its unit in the name."""
    shown = "".join(letter if " " <= letter <= "~" and letter not in '*/"\\' else " " for letter in title)
    lines = [f"#define DRIVE_{name.upper()} {_number(value)}" for name, value in parameters.items()]
    head = HEAD.format(title=shown, version=version)
    return head + "#ifndef DRIVE_H\n#define DRIVE_H\n\n" + "\n".join(lines) + "\n\n#endif\n"


def _number(value: float | int | str) -> str:
    """A number as C writes it: whole ones plain, others in single precision.

    >>> _number(12), _number(0.25), _number(1e-07)
    ('12', '0.25f', '1e-07f')
    """
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return f'"{value}"'
    text = f"{value:.9g}"
    return (text if "." in text or "e" in text else text + ".0") + "f"
