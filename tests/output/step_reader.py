"""Reads STEP files with the solid modeller alone, in a process of its own: ``python step_reader.py FILE ...``.

Prints one JSON list with an entry per file: ``solids``, each with the names from the assembly down to the place, the
name of the part, volume [mm3], density [g/mm3], bounding box [mm], colour,
opacity and round walls; ``overlaps``: volume [mm3] that two
groups of parts have in common; ``distances`` [mm] from magnets to boards.
"""

from __future__ import annotations

import json
import sys
from itertools import combinations

from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Builder
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.BRepGProp import BRepGProp
from OCP.collections import Sequence_TDF_Label
from OCP.GeomAbs import GeomAbs_SurfaceType
from OCP.GProp import GProp_GProps
from OCP.Quantity import Quantity_ColorRGBA
from OCP.STEPCAFControl import STEPCAFControl_Reader
from OCP.TCollection import TCollection_ExtendedString
from OCP.TDataStd import TDataStd_Name
from OCP.TDF import TDF_Label
from OCP.TDocStd import TDocStd_Document
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Compound
from OCP.XCAFDoc import XCAFDoc_ColorType, XCAFDoc_DocumentTool, XCAFDoc_MaterialTool, XCAFDoc_ShapeTool

SURFACE = XCAFDoc_ColorType.XCAFDoc_ColorSurf


def read(path: str) -> dict:
    document = TDocStd_Document(TCollection_ExtendedString("read"))
    reader = STEPCAFControl_Reader()
    reader.SetMatMode(True)
    assert reader.ReadFile(path).name == "IFSelect_RetDone"
    assert reader.Transfer(document)
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    roots = Sequence_TDF_Label()
    tool.GetFreeShapes(roots)
    assert roots.Length() == 1
    found: list[tuple[dict, object]] = []
    walk(document, roots.Value(1), TopLoc_Location(), [name(roots.Value(1))], found)
    groups: dict[str, list] = {}
    for solid, shape in found:
        groups.setdefault(group(solid), []).append(shape)
    together = {key: compound(shapes) for key, shapes in groups.items() if key != "spaces"}
    pairs = [(a, b) for a, b in combinations(together, 2) if not box(together[a]).IsOut(box(together[b]))]
    faced = [(a, b) for a, b in combinations(together, 2) if "magnets" in a and b in ("stator/board", "stator/tile")]
    return {
        "solids": [solid for solid, _ in found],
        "overlaps": {f"{a}/{b}": common(together[a], together[b]) for a, b in pairs},
        "distances": {f"{a}/{b}": BRepExtrema_DistShapeShape(together[a], together[b]).Value() for a, b in faced},
    }


def group(solid: dict) -> str:
    """Parts that belong together: every group by kind, spaces apart."""
    path, place = solid["path"][1:-1], solid["path"][-1].split(",")[0]
    kind = "magnets" if place.startswith("magnet") else place.rstrip("0123456789 ")
    return "spaces" if path[0] == "spaces" else "/".join([*path, kind])


def walk(document, label, location, path, found):
    if XCAFDoc_ShapeTool.IsAssembly_s(label):
        parts = Sequence_TDF_Label()
        XCAFDoc_ShapeTool.GetComponents_s(label, parts)
        for number in range(1, parts.Length() + 1):
            part, refers = parts.Value(number), TDF_Label()
            XCAFDoc_ShapeTool.GetReferredShape_s(part, refers)
            place = location.Multiplied(XCAFDoc_ShapeTool.GetLocation_s(part))
            walk(document, refers, place, [*path, name(part)], found)
        return
    shape = XCAFDoc_ShapeTool.GetShape_s(label).Moved(location)
    found.append((told(document, label, shape, path), shape))


def told(document, label, shape, path) -> dict:
    props, limits, colour = GProp_GProps(), box(shape), Quantity_ColorRGBA()
    BRepGProp.VolumeProperties_s(shape, props)
    has = XCAFDoc_DocumentTool.ColorTool_s(document.Main()).GetColor(
        XCAFDoc_ShapeTool.GetShape_s(label), SURFACE, colour
    )
    rgb = colour.GetRGB()
    return {
        "path": path,
        "part": name(label),
        "kind": shape.ShapeType().name,
        "sound": BRepCheck_Analyzer(shape).IsValid(),
        "volume": props.Mass(),
        "density": XCAFDoc_MaterialTool.GetDensityForShape_s(label),
        "box": [*limits.CornerMin().Coord(), *limits.CornerMax().Coord()],
        "colour": [rgb.Red(), rgb.Green(), rgb.Blue()] if has else None,
        "opacity": colour.Alpha(),
        "round": rounds(shape),
    }


def rounds(shape) -> list[list[float]]:
    """Middle and radius [mm] of every round wall: holes, bores and edges."""
    faces, found = TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_FACE), set()
    while faces.More():
        surface = BRepAdaptor_Surface(TopoDS.Face(faces.Current()))
        if surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Cylinder:
            cylinder = surface.Cylinder()
            middle = cylinder.Location()
            found.add((round(middle.X(), 6) + 0.0, round(middle.Y(), 6) + 0.0, round(cylinder.Radius(), 6)))
        faces.Next()
    return sorted(map(list, found))


def name(label) -> str:
    attribute = TDataStd_Name()
    assert label.FindAttribute(TDataStd_Name.GetID_s(), attribute)
    return attribute.Get().ToExtString()


def box(shape):
    """Exact bounds."""
    limits = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, limits, False, False)
    return limits


def compound(shapes):
    builder, whole = BRep_Builder(), TopoDS_Compound()
    builder.MakeCompound(whole)
    for shape in shapes:
        builder.Add(whole, shape)
    return whole


def common(a, b) -> float:
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(BRepAlgoAPI_Common(a, b).Shape(), props)
    return props.Mass()


if __name__ == "__main__":
    found = [read(path) for path in sys.argv[1:]]
    sys.stdout.write("\n" + json.dumps(found))
