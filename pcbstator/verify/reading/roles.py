"""Which file is what: by a map file, by the job file, by the attributes in the files, by their names.

Names follow the common practice of board editors (no source).
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from pcbstator.findings import Finding
from pcbstator.verify.reading.gerber import file_attributes
from pcbstator.verify.reading.limits import MOST_LAYERS

GERBER, DRILL, NETLIST, JOB, OTHER = "gerber", "drill", "netlist", "job", "other"


@dataclass(frozen=True)
class Role:
    """What a file is. kind: copper, mask, profile, drill, netlist or ignore.

    layer: number of a copper layer where it is known. side: top, inner or bottom of a copper layer or mask. order: of
    inner layers whose number is not known. plated, first, last: of a drill file, where known. negative: the file draws
    what is absent. told_by: map file, job file, attribute or name.
    """

    kind: str
    layer: int | None = None
    side: str = ""
    order: float = 0.0
    plated: bool | None = None
    first: int | None = None
    last: int | None = None
    negative: bool = False
    told_by: str = "name"


def file_kind(name: str, text: str) -> str:
    """What kind of file it is, from what stands in it.

    >>> file_kind("a.txt", "M48\\nMETRIC\\n"), file_kind("b", "%FSLAX46Y46*%"), file_kind("c", "hello")
    ('drill', 'gerber', 'other')
    """
    if name.lower().endswith(".gbrjob"):
        return JOB
    head = text[:20_000]
    if re.search(r"^[ \t]*M48[ \t\r]*$", head, re.MULTILINE):
        return DRILL
    if re.search(r"%(FS|MO|AD|TF)|G04[^*]*\*|^G0?[123]\*|D0?[123]\*", head, re.MULTILINE):
        return GERBER
    if re.search(r"^(P\s+UNITS|3[12]7)", head, re.MULTILINE):
        return NETLIST
    if re.search(r"^(T\d+C|METRIC|INCH)", head, re.MULTILINE):
        return DRILL
    return OTHER


def function_role(function: tuple[str, ...], told_by: str, negative: bool = False) -> Role | None:
    """The role that a file function of X2 names; None for one that verification does not need.

    >>> role = function_role(("Copper", "L2", "Inr"), "attribute")
    >>> role.kind, role.layer, role.side
    ('copper', 2, 'inner')
    >>> role = function_role(("Plated", "1", "4", "PTH"), "job file")
    >>> role.kind, role.plated, role.first, role.last
    ('drill', True, 1, 4)
    """
    kind, fields = (function[0] if function else ""), function[1:]
    if kind == "Copper" and fields and re.fullmatch(r"L\d{1,3}", fields[0]):
        sides = {"Top": "top", "Bot": "bottom"}
        side = sides.get(fields[1], "inner") if len(fields) > 1 else ""
        return Role("copper", int(fields[0][1:]), side, negative=negative, told_by=told_by)
    if kind == "Soldermask" and fields:
        return Role("mask", side="top" if fields[0] == "Top" else "bottom", told_by=told_by)
    if kind == "Profile":
        return Role("profile", told_by=told_by)
    if kind in ("Plated", "NonPlated", "MixedPlating"):
        plated = {"Plated": True, "NonPlated": False}.get(kind)
        numbers = [int(field) for field in fields[:2] if field.isdecimal()]
        first, last = numbers if len(numbers) == 2 else (None, None)
        return Role("drill", plated=plated, first=first, last=last, told_by=told_by)
    return None


_IGNORED = Role("ignore")
_NAMES: tuple[tuple[str, Role], ...] = (
    (r"paste|silk|legend|overlay|courtyard|fab\b|assembly|adhesive|glue|comment|drawing|(drill|drl)[-_.]?map"
     r"|\.g[tb][po]$|\.(plc|pls|crc|crs|sst|ssb|spt|spb|gd1|gg1|gpt|gpb)$|v-?cuts?\b|keep", _IGNORED),
    (r"(mask|stop).*(bot|back|lower|\bb\b)|(bot|back)\w*[-_. ]?(mask|stop|soldermask)|\bb[-_. ]mask|\.gbs$|\.sts$",
     Role("mask", side="bottom")),
    (r"mask|\.gts$|\.stc$|tstop", Role("mask", side="top")),
    (r"edge|profile|outline|contour|boundary|dimension|\.(gko|gm1|gml|gm|oln|dim|rim)$", Role("profile")),
    (r"(\b|_)b[-_. ]?cu\b|\.(gbl|sol)$|copper[-_. ]?bot|bot(tom)?[-_. ]?(copper|layer|cu)|back[-_. ]?copper"
     r"|solder[-_. ]?side|\bbot(tom)?\b|\bback\b", Role("copper", side="bottom")),
    (r"(\b|_)f[-_. ]?cu\b|\.(gtl|cmp)$|copper[-_. ]?top|top[-_. ]?(copper|layer|cu)|front[-_. ]?copper"
     r"|component[-_. ]?side|\btop\b|\bfront\b", Role("copper", side="top")),
)  # fmt: skip
_INNER = re.compile(r"(?:(?:^|[-_. ])in(?:n?er|t)?[-_. ]?(\d{1,2})|\.g(\d{1,2})$|\.gi(\d{1,2})$)")
_NUMBERED = re.compile(r"(?:\b|_)(?:l|layer|copper|cu|ly|lyr|sig|signal)[-_. ]?0*(\d{1,2})(?!\d)|\.l(?:y)?(\d{1,2})$")


def name_role(name: str, kind: str) -> Role | None:
    """The role that the name of a file tells, as board editors usually name them; None where it tells none.

    >>> name_role("board-F_Cu.gbr", "gerber").side, name_role("b.G2", "gerber").order
    ('top', 2.0)
    >>> name_role("b-NPTH.drl", "drill").plated
    False
    """
    low = name.rsplit("/", 1)[-1].lower()
    if kind == DRILL:
        if re.search(r"npth|n(on|o|ot|un)?[-_. ]?plated|un[-_. ]?plated|non[-_. ]?plated|no[-_. ]?plat", low):
            return Role("drill", plated=False)
        return Role("drill", plated=True if re.search(r"pth|plated", low) else None)
    if kind == NETLIST:
        return Role("netlist")
    for pattern, role in _NAMES[:4]:
        if re.search(pattern, low):
            return role
    if found := _INNER.search(low):
        return Role("copper", side="inner", order=float(next(group for group in found.groups() if group)))
    if (found := _NUMBERED.search(low)) and not re.search(r"top|bot", low):
        return Role("copper", layer=int(found[1] or found[2]))
    return next((role for pattern, role in _NAMES[4:] if re.search(pattern, low)), None)


@dataclass(frozen=True)
class Job:
    """What a job file says: roles by file name, least numbers by their names, number of copper layers."""

    roles: Mapping[str, Role | None]
    rules: Mapping[str, float]
    layers: int | None = None


def read_job(text: str) -> Job | None:
    """A job file; None where it is none."""
    try:
        content = json.loads(text)
        files = content.get("FilesAttributes", [])
        roles = {}
        for entry in files[: MOST_LAYERS * 4]:
            function = tuple(str(entry.get("FileFunction", "")).split(","))
            negative = entry.get("FilePolarity") == "Negative"
            roles[str(entry["Path"]).replace("\\", "/")] = function_role(function, "job file", negative)
        rules: dict[str, float] = {}
        for group in content.get("DesignRules", []):
            for key, value in group.items():
                if isinstance(value, int | float) and 0 < value < 100:
                    rules[key] = min(float(value), rules.get(key, float(value)))
        count = content.get("GeneralSpecs", {}).get("LayerNumber")
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    return Job(roles, rules, count if isinstance(count, int) else None)


def found_roles(
    texts: Mapping[str, str], kinds: Mapping[str, str], told: Mapping[str, Role], job: Job | None
) -> tuple[dict[str, Role], list[Finding]]:
    """The role of every file of a board, and what was strange about them.

    told: from a map file, which outweighs all else; then a file's own attribute, the job file, the name.
    """
    roles: dict[str, Role] = {}
    findings: list[Finding] = []
    for name, text in texts.items():
        if name in told:
            roles[name] = told[name]
            continue
        by_job = job.roles.get(name.rsplit("/", 1)[-1]) if job else None
        own = _own_role(text, kinds[name])
        if own and by_job and own.kind == by_job.kind == "copper" and own.layer != by_job.layer:
            findings.append(_contradiction(name, own, by_job))
        role = own or by_job or name_role(name, kinds[name])
        if role is not None and role.kind == "drill" and role.plated is None:
            named = name_role(name, kinds[name])
            role = replace(role, plated=named.plated if named else None)
        if role is not None:
            roles[name] = role
        elif kinds[name] == GERBER:
            words = f"{name}: nothing says which layer it is, so it is left out; name it in a map file if it matters"
            findings.append(Finding("verify.file", "note", words, where=name))
    return roles, findings


def _own_role(text: str, kind: str) -> Role | None:
    """What a file says itself that it is."""
    if kind not in (GERBER, DRILL):
        return None
    attributes = file_attributes(text[:20_000])
    function = attributes.get(".FileFunction")
    if function is None:
        return None
    negative = attributes.get(".FilePolarity") == ("Negative",)
    return function_role(function, "attribute", negative) or _IGNORED


def _contradiction(name: str, own: Role, by_job: Role) -> Finding:
    return Finding(
        "verify.layer",
        "error",
        f"{name} is copper layer {by_job.layer} by the job file and layer {own.layer} by its own attribute: two layers "
        "may have been exchanged; it is read as the attribute says",
        where=f"layer {own.layer}",
    )
