"""Lips as alignments, pegs as points, and the finished ground of trench and mound as LandXML 1.2.

Element order and required attributes by the LandXML-1.2 schema (landxml.org): Units,
CoordinateSystem, Project, Application, CgPoints, Alignments, Surfaces; places are northing, easting
and elevation.
"""

from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import numpy.typing as npt
from pyproj import CRS

from soakline import __version__
from soakline.grid import FloatArray
from soakline.setout.breaklines import EDGES, Breaklines, breaklines
from soakline.setout.csv_pegs import description
from soakline.setout.drain_pegs import pegs_beside
from soakline.setout.plan import SetOutPlan
from soakline.setout.swale import Swale

NAMESPACE = "http://www.landxml.org/schema/LandXML-1.2"
CAUTION = (
    "Not a design to build from unseen: level from an instrument on site, locate services before "
    "digging, mind trench safety; local codes and licensed practice come first."
)
# Two edges of a section that lie in one place make no triangle.
_SLIVER_M2 = 1e-6


def write_landxml(plan: SetOutPlan, path: Path) -> None:
    """Write the plan's pegs, alignments and one TIN a swale, metres."""
    day, _, time = plan.finished.partition("T")
    root = ET.Element("LandXML", {
        "xmlns": NAMESPACE,
        "xmlns:xsi": "http://www.w3.org/2001/XMLSchema-instance",
        "xsi:schemaLocation": f"{NAMESPACE} {NAMESPACE}/LandXML-1.2.xsd",
        "version": "1.2",
        "date": day,
        "time": time[:8],
        "language": "English",
        "readOnly": "false",
    })  # fmt: skip
    units = ET.SubElement(root, "Units")
    ET.SubElement(units, "Metric", {
        "areaUnit": "squareMeter",
        "linearUnit": "meter",
        "volumeUnit": "cubicMeter",
        "temperatureUnit": "celsius",
        "pressureUnit": "milliBars",
        "angularUnit": "decimal degrees",
        "directionUnit": "decimal degrees",
    })  # fmt: skip
    crs = CRS.from_wkt(plan.crs_wkt)
    code = crs.to_epsg()
    told = {"ogcWktCode": plan.crs_wkt} if code is None else {"epsgCode": str(code)}
    ET.SubElement(root, "CoordinateSystem", {"name": crs.name, **told})
    ET.SubElement(root, "Project", {"name": plan.name, "desc": CAUTION})
    ET.SubElement(root, "Application", {"name": "soakline", "version": __version__})
    _points(root, plan)
    alignments = ET.SubElement(root, "Alignments", {"name": "swale lips"})
    for swale in plan.swales:
        _alignment(alignments, swale)
    surfaces = ET.SubElement(root, "Surfaces", {"name": "finished ground"})
    for swale in plan.swales:
        _surface(surfaces, swale, breaklines(swale))
    ET.indent(root, " ")
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)


def _place(easting: float, northing: float, *level_m: float) -> str:
    return " ".join(f"{value:.4f}" for value in (northing, easting, *level_m))


def _points(root: ET.Element, plan: SetOutPlan) -> None:
    points = ET.SubElement(root, "CgPoints", {"name": "pegs"})
    pegs = plan.pegs
    if plan.benchmark is not None:
        mark = plan.benchmark
        own = ET.SubElement(points, "CgPoint", {"name": "BM", "code": "benchmark"})
        own.text = _place(mark.easting, mark.northing, mark.level_m)
    for k, name in enumerate(pegs.peg_id):
        facts = {"name": name, "code": pegs.kind[k], "desc": description(plan, k)}
        own = ET.SubElement(points, "CgPoint", facts)
        own.text = _place(pegs.easting[k], pegs.northing[k], pegs.level_m[k])
    for peg in pegs_beside(plan):
        facts = {"name": peg.name, "code": peg.kind, "desc": peg.description}
        own = ET.SubElement(points, "CgPoint", facts)
        own.text = _place(peg.easting, peg.northing, peg.level_m)


def _alignment(parent: ET.Element, swale: Swale) -> None:
    """A lip as straight lines, with its level as the design profile."""
    length = f"{swale.length_m:.4f}"
    own = ET.SubElement(parent, "Alignment", {
        "name": swale.swale_id, "length": length, "staStart": "0.0000",
        "desc": "lip of the swale, uphill on the left",
    })  # fmt: skip
    geometry = ET.SubElement(own, "CoordGeom")
    for start, end in zip(swale.lip[:-1], swale.lip[1:], strict=True):
        line = ET.SubElement(geometry, "Line")
        ET.SubElement(line, "Start").text = _place(*start)
        ET.SubElement(line, "End").text = _place(*end)
    profile = ET.SubElement(own, "Profile", {"name": f"{swale.swale_id} profile"})
    ground = ET.SubElement(profile, "ProfSurf", {"name": "ground at the pegs"})
    ET.SubElement(ground, "PntList2D").text = _stations(swale.chainage_m, swale.ground_m)
    level = ET.SubElement(profile, "ProfAlign", {"name": "full water level, lip"})
    for at in (0.0, swale.length_m):
        ET.SubElement(level, "PVI").text = f"{at:.4f} {swale.level_m:.4f}"


def _stations(along_m: FloatArray, height_m: FloatArray) -> str:
    pairs = zip(along_m.tolist(), height_m.tolist(), strict=True)
    return " ".join(f"{at:.4f} {height:.4f}" for at, height in pairs)


def faces(points: FloatArray) -> npt.NDArray[np.int64]:
    """Triangles between neighbouring stations and edges; (k, 3) indices into the points in order.

    Triangles without area in plan are left out.

    Parameters
    ----------
    points : (stations, edges, 3) m
    """
    n, edges, _ = points.shape
    index = np.arange(n * edges).reshape(n, edges)
    a, b, c, d = (
        corner.ravel()
        for corner in (index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:])
    )
    both = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    corners = points.reshape(-1, 3)[both][:, :, :2]
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    twice = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    kept: npt.NDArray[np.int64] = both[twice > 2.0 * _SLIVER_M2]
    return kept


def _surface(parent: ET.Element, swale: Swale, lines: Breaklines) -> None:
    own = ET.SubElement(parent, "Surface", {
        "name": f"{swale.swale_id} finished ground",
        "desc": "trench, mound, its returns, fords and causeways; breaklines: " + ", ".join(EDGES),
    })  # fmt: skip
    meshes = [lines.points, *lines.returns]
    source = ET.SubElement(own, "SourceData")
    breaks = ET.SubElement(source, "Breaklines")
    for mesh in meshes:
        for name, edge in zip(EDGES, mesh.transpose(1, 0, 2).tolist(), strict=False):
            line = ET.SubElement(breaks, "Breakline", {"name": name, "brkType": "standard"})
            text = " ".join(_place(*point) for point in edge)
            ET.SubElement(line, "PntList3D").text = text
    definition = ET.SubElement(own, "Definition", {"surfType": "TIN"})
    points = ET.SubElement(definition, "Pnts")
    triangles = ET.SubElement(definition, "Faces")
    first = 1
    for mesh in meshes:
        for number, point in enumerate(mesh.reshape(-1, 3).tolist(), first):
            ET.SubElement(points, "P", {"id": str(number)}).text = _place(*point)
        for face in (faces(mesh) + first).tolist():
            ET.SubElement(triangles, "F").text = " ".join(map(str, face))
        first += mesh.shape[0] * mesh.shape[1]
