"""The bodies as one STEP file (ISO 10303-242): an assembly of named, coloured parts with exact arcs, in mm.

The only file that knows the solid modeller, an optional library; its names are given to it as they come.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from pcbstator.analysis.mechanical.bodies import Ball, Body, Group, Placed, Prism
from pcbstator.copper.geometry.contour import Arc, Contour, Place
from pcbstator.errors import MissingLibraryError, OutputError, install_words
from pcbstator.output.solids.looks import channels, look_of

MM = 1e3  # mm in a metre
TIME = "1970-01-01T00:00:00"  # the same design gives the same bytes
SCHEMA = "AP242DIS"
FILE = "motor.step"
SYSTEM = "libgl1 and libx11-6"  # of the display, which it links but does not use here
STYLES = "MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION"


def require_library() -> None:
    """Raises MissingLibraryError where the solid modeller is not there, or lacks what it needs of the system."""
    without = "with --no-step the model for a page is written without it"
    try:
        import OCP.gp  # noqa: F401
    except ModuleNotFoundError:
        words = f"a STEP file needs the library cadquery-ocp-novtk: {install_words('solids')}; {without}"
        raise MissingLibraryError(words) from None
    except ImportError as error:
        words = f"the solid modeller cannot be loaded: {error}; on Debian it needs the packages {SYSTEM}; {without}"
        raise MissingLibraryError(words) from None


def assembly_step(whole: Group, version: str) -> bytes:
    """The file; the same design gives the same bytes. version: of this program.

    Raises MissingLibraryError without the solid modeller.
    """
    require_library()
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDocStd import TDocStd_Document

    document = TDocStd_Document(TCollection_ExtendedString("XmlXCAF"))
    _Parts(document).group(whole)
    return _written(document, whole.name, version)


class _Parts:
    """The parts of a document as they are added: each body once, whatever the number of its places."""

    def __init__(self, document: Any) -> None:
        from OCP.XCAFDoc import XCAFDoc_DocumentTool as Tools

        main = document.Main()
        self.shapes = Tools.ShapeTool_s(main)
        self.colours, self.materials = Tools.ColorTool_s(main), Tools.MaterialTool_s(main)
        self.labels: dict[Body, Any] = {}

    def group(self, group: Group) -> Any:
        """The label of an assembly of its members."""
        from OCP.TopLoc import TopLoc_Location

        label = self.shapes.NewShape()
        _name(label, group.name)
        for member in group.members:
            if isinstance(member, Group):
                place = self.shapes.AddComponent(label, self.group(member), TopLoc_Location())
            else:
                place = self.shapes.AddComponent(label, self.body(member.body), _location(member))
            _name(place, member.name)
        self.shapes.UpdateAssemblies()
        return label

    def body(self, body: Body) -> Any:
        """The label of a part."""
        from OCP.Quantity import Quantity_Color, Quantity_ColorRGBA, Quantity_TypeOfColor
        from OCP.TCollection import TCollection_HAsciiString as Text
        from OCP.XCAFDoc import XCAFDoc_ColorType

        if body not in self.labels:
            label = self.shapes.AddShape(_solid(body), False)
            _name(label, body.name)
            look = look_of(body)
            colour = Quantity_Color(*channels(look.colour), Quantity_TypeOfColor.Quantity_TOC_sRGB)
            self.colours.SetColor(label, Quantity_ColorRGBA(colour, look.opacity), XCAFDoc_ColorType.XCAFDoc_ColorSurf)
            if body.density is not None:
                words = (
                    Text(body.material),
                    Text(""),
                    body.density / 1e3,
                    Text("density"),
                    Text("POSITIVE_RATIO_MEASURE"),
                )
                self.materials.SetMaterial(label, *words)  # it takes g/cm3
            self.labels[body] = label
        return self.labels[body]


def _name(label: Any, name: str) -> None:
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name

    TDataStd_Name.Set_s(label, TCollection_ExtendedString(name, True))


def _location(placed: Placed) -> Any:
    """Turned about the axis, then lifted."""
    from OCP.gp import gp, gp_Trsf, gp_Vec
    from OCP.TopLoc import TopLoc_Location

    turn, lift = gp_Trsf(), gp_Trsf()
    turn.SetRotation(gp.OZ_s(), placed.turn)
    lift.SetTranslation(gp_Vec(0.0, 0.0, MM * placed.lift))
    return TopLoc_Location(lift.Multiplied(turn))


def _solid(body: Body) -> Any:
    """A body as a solid, cuts taken away."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeSphere
    from OCP.collections import List_TopoDS_Shape
    from OCP.gp import gp_Pnt
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer

    if isinstance(body.shape, Ball):
        middle = gp_Pnt(MM * body.shape.radius, 0.0, MM * body.shape.height)
        return BRepPrimAPI_MakeSphere(middle, MM * body.shape.diameter / 2).Solid()
    whole = _prism(body.shape)
    if not body.cuts:
        return whole
    tools, from_it = List_TopoDS_Shape(), List_TopoDS_Shape()
    from_it.Append(whole)
    for cut in body.cuts:
        tools.Append(_prism(cut))
    work = BRepAlgoAPI_Cut()
    work.SetArguments(from_it)
    work.SetTools(tools)
    work.Build()
    found = TopExp_Explorer(work.Shape(), TopAbs_ShapeEnum.TopAbs_SOLID)
    if not work.IsDone() or not found.More():
        raise OutputError(f"{body.name}: nothing is left of it, or its holes cannot be cut; look at check's findings")
    solid = found.Current()
    found.Next()
    return work.Shape() if found.More() else solid


def _prism(prism: Prism) -> Any:
    """A straight solid over an outline."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.gp import gp_Vec

    face = BRepBuilderAPI_MakeFace(_wire(prism.outline, prism.low))
    if prism.bore is not None:
        bore = _wire(prism.bore, prism.low)
        bore.Reverse()
        face.Add(bore)
    return BRepPrimAPI_MakePrism(face.Face(), gp_Vec(0.0, 0.0, MM * (prism.high - prism.low))).Shape()


def _wire(contour: Contour, height: float) -> Any:
    """An outline at a height, counter-clockwise; a circle is one edge."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeWire
    from OCP.GC import GC_MakeArcOfCircle
    from OCP.gp import gp, gp_Ax2, gp_Circ, gp_Pnt

    def point(place: Place) -> Any:
        return gp_Pnt(MM * place[0], MM * place[1], MM * height)

    def circle(middle: Place, radius: float, left: bool = True) -> Any:
        return gp_Circ(gp_Ax2(point(middle), gp.DZ_s() if left else gp.DZ_s().Reversed()), MM * radius)

    wire = BRepBuilderAPI_MakeWire()
    if contour.round is not None:
        wire.Add(BRepBuilderAPI_MakeEdge(circle(*contour.round)).Edge())
        return wire.Wire()
    for start, segment in (contour if contour.area > 0 else contour.reversed()).pairs():
        ends = point(start), point(segment.end)
        if isinstance(segment, Arc):
            radius = ((start[0] - segment.centre[0]) ** 2 + (start[1] - segment.centre[1]) ** 2) ** 0.5
            whole = circle(segment.centre, radius, segment.counter_clockwise)
            arc = GC_MakeArcOfCircle(whole, *ends, True)
            wire.Add(BRepBuilderAPI_MakeEdge(arc.Value()).Edge())
        else:
            wire.Add(BRepBuilderAPI_MakeEdge(*ends).Edge())
    return wire.Wire()


def _written(document: Any, title: str, version: str) -> bytes:
    """The document as the text of the file."""
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.Interface import Interface_Static
    from OCP.STEPCAFControl import STEPCAFControl_Writer

    file = io.BytesIO()
    with _silent():
        writer = STEPCAFControl_Writer()
        Interface_Static.SetCVal_s("write.step.schema", SCHEMA)
        Interface_Static.SetCVal_s("write.step.unit", "MM")
        writer.SetMaterialMode(True)
        ready = writer.Transfer(document)
        model = writer.ChangeWriter().Model()
        _correct(model)
        _add_header(model, version)
        if not ready or writer.WriteStream(file) != IFSelect_ReturnStatus.IFSelect_RetDone:
            raise OutputError(f"{title}: the solid modeller cannot write this assembly")
    return _plain(_styles_in_order(file.getvalue().decode())).encode("ascii")


def _styles_in_order(text: str) -> str:
    """The colours in the order of the parts: the modeller has them in one that changes from run to run, at the end."""
    start = text.index(f"#{re.search(rf'#([0-9]+) = {STYLES}', text)[1]} = ")  # type: ignore[index]
    tail, close, rest = text[start:].partition("ENDSEC;")
    records = {int(n): re.sub(r"\n\s*", "", told) for n, told in re.findall(r"#(\d+) = (.*?);\n", tail, re.S)}
    refers = {n: [int(other) for other in re.findall(r"#(\d+)", told)] for n, told in records.items()}
    first, order = min(records), dict[int, int]()

    def follow(number: int) -> None:
        if number in records and number not in order:
            order[number] = first + len(order)
            for other in refers[number]:
                follow(other)

    for number in sorted((n for n, told in records.items() if told.startswith(STYLES)), key=lambda n: refers[n][-1]):
        follow(number)

    def renumbered(told: str) -> str:
        return re.sub(r"#(\d+)", lambda found: f"#{order.get(int(found[1]), int(found[1]))}", told)

    return text[:start] + "".join(f"#{order[n]} = {renumbered(records[n])};\n" for n in order) + close + rest


def _plain(text: str) -> str:
    """Letters beyond ASCII as ISO 10303-21 writes them.

    >>> _plain("'Bühne'")
    "'B\\\\X2\\\\00FC\\\\X0\\\\hne'"
    """
    return re.sub(
        "[^\x00-\x7f]+",
        lambda found: (
            f"\\X4\\{found[0].encode('utf-32-be').hex().upper()}\\X0\\"
            if max(found[0]) > "\uffff"
            else f"\\X2\\{found[0].encode('utf-16-be').hex().upper()}\\X0\\"
        ),
        text,
    )


def _add_header(model: Any, version: str) -> None:
    """What the file says of itself, without the time of the run."""
    from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
    from OCP.TCollection import TCollection_HAsciiString as Text

    header = APIHeaderSection_MakeHeader(model)
    header.SetName(Text(FILE))
    header.SetTimeStamp(Text(TIME))
    header.SetAuthorValue(1, Text(""))
    header.SetOrganizationValue(1, Text(""))
    header.SetAuthorisation(Text(""))
    header.SetDescriptionValue(1, Text("motor as an assembly, rotor at angle 0"))
    header.SetOriginatingSystem(Text(f"pcbstator {version}"))


def _correct(model: Any) -> None:
    """Numbers of places from 1, which the modeller counts on from file to file, and g/cm3 as the unit of densities, for
    which it writes other exponents.
    """
    from OCP.StepBasic import StepBasic_DerivedUnitElement, StepBasic_SiUnitAndMassUnit
    from OCP.StepRepr import StepRepr_NextAssemblyUsageOccurrence
    from OCP.TCollection import TCollection_HAsciiString as Text

    places = 0
    for number in range(1, model.NbEntities() + 1):
        entity = model.Value(number)
        if isinstance(entity, StepRepr_NextAssemblyUsageOccurrence):
            places += 1
            entity.SetId(Text(str(places)))
        elif isinstance(entity, StepBasic_DerivedUnitElement):
            entity.SetExponent(1.0 if isinstance(entity.Unit(), StepBasic_SiUnitAndMassUnit) else -3.0)


@contextmanager
def _silent() -> Iterator[None]:
    """The modeller prints what it does; standard output is not its own."""
    from OCP.Message import Message

    messages = Message.DefaultMessenger_s()
    printers = list(messages.Printers())
    for printer in printers:
        messages.RemovePrinter(printer)
    try:
        yield
    finally:
        for printer in printers:
            messages.AddPrinter(printer)
