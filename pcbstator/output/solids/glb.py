"""The bodies as one GLB file (glTF 2.0, binary): metres, y along the axis towards the rotor, as that format has it.

Every group is a node; those that turn with the rotor say so in ``extras.turns``, and turn about their own z.
"""

from __future__ import annotations

import json
import struct
from dataclasses import dataclass, field
from math import cos, sin, sqrt
from typing import Any

from numpy.typing import NDArray

from pcbstator.analysis.mechanical.bodies import Body, Group, Placed
from pcbstator.output.solids.looks import Look, channels, look_of
from pcbstator.output.solids.mesh import body_mesh

FLOAT, UNSIGNED = 5126, 5125  # componentType of the format
VERTICES, INDICES = 34962, 34963  # target of a buffer view
UPRIGHT = [-sqrt(0.5), 0.0, 0.0, sqrt(0.5)]  # quaternion that turns z up into y up


@dataclass
class _Model:
    """What the file will say, as it grows."""

    tables: dict[str, list[dict[str, Any]]] = field(
        default_factory=lambda: {name: [] for name in ("nodes", "meshes", "materials", "accessors", "bufferViews")}
    )
    data: bytearray = field(default_factory=bytearray)
    meshes: dict[Body, int] = field(default_factory=dict)
    materials: dict[Look, int] = field(default_factory=dict)

    def add(self, table: str, entry: dict[str, Any]) -> int:
        """Its number in the table."""
        self.tables[table].append(entry)
        return len(self.tables[table]) - 1

    def add_array(self, values: NDArray[Any], target: int) -> int:
        """The accessor of an array."""
        raw = values.tobytes()
        view = {"buffer": 0, "byteOffset": len(self.data), "byteLength": len(raw), "target": target}
        self.data += raw
        flat = target == INDICES
        entry = {"bufferView": self.add("bufferViews", view), "componentType": UNSIGNED if flat else FLOAT,
                 "count": values.size if flat else len(values), "type": "SCALAR" if flat else "VEC3"}  # fmt: skip
        if not flat:
            entry |= {"min": values.min(axis=0).tolist(), "max": values.max(axis=0).tolist()}
        return self.add("accessors", entry)

    def mesh(self, body: Body) -> int:
        """The mesh of a body, which all places of it share."""
        if body not in self.meshes:
            found = body_mesh(body)
            attributes = {
                "POSITION": self.add_array(found.places.astype("<f4"), VERTICES),
                "NORMAL": self.add_array(found.normals.astype("<f4"), VERTICES),
            }
            indices = self.add_array(found.corners.astype("<u4"), INDICES)
            part = {"attributes": attributes, "indices": indices, "material": self.material(look_of(body))}
            self.meshes[body] = self.add("meshes", {"name": body.name, "primitives": [part]})
        return self.meshes[body]

    def material(self, look: Look) -> int:
        """The material of a look."""
        if look not in self.materials:
            colour = [_linear(channel) for channel in channels(look.colour)]
            surface = {"baseColorFactor": [*colour, look.opacity], "metallicFactor": 0.4 if look.metal else 0.0,
                       "roughnessFactor": 0.5 if look.metal else 0.8}  # fmt: skip
            entry: dict[str, Any] = {"name": look.name, "pbrMetallicRoughness": surface}
            if look.opacity < 1:
                entry |= {"alphaMode": "BLEND", "doubleSided": True}
            self.materials[look] = self.add("materials", entry)
        return self.materials[look]

    def node(self, member: Placed | Group) -> int:
        """The node of a body or a group."""
        if isinstance(member, Group):
            entry: dict[str, Any] = {"name": member.name, "children": [self.node(each) for each in member.members]}
            return self.add("nodes", entry | ({"extras": {"turns": True}} if member.turns else {}))
        entry = {"name": member.name, "mesh": self.mesh(member.body)}
        if member.turn:
            entry["rotation"] = [0.0, 0.0, sin(member.turn / 2), cos(member.turn / 2)]
        if member.lift:
            entry["translation"] = [0.0, 0.0, member.lift]
        return self.add("nodes", entry)


def assembly_glb(whole: Group, version: str) -> bytes:
    """The file; the same design gives the same bytes. version: of this program."""
    model = _Model()
    top = model.node(whole)
    model.tables["nodes"][top]["rotation"] = UPRIGHT
    text = {
        "asset": {"version": "2.0", "generator": f"pcbstator {version}"},
        "scene": 0,
        "scenes": [{"name": whole.name, "nodes": [top]}],
        **model.tables,
        "buffers": [{"byteLength": len(model.data)}],
    }
    words = json.dumps(text, separators=(",", ":"), allow_nan=False).encode()
    words += b" " * (-len(words) % 4)
    length = 12 + 8 + len(words) + 8 + len(model.data)
    chunks = struct.pack("<I4s", len(words), b"JSON") + words + struct.pack("<I4s", len(model.data), b"BIN\0")
    return struct.pack("<4sII", b"glTF", 2, length) + chunks + bytes(model.data)


def _linear(channel: float) -> float:
    """A channel as the format has it, by the sRGB curve of IEC 61966-2-1."""
    return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4
