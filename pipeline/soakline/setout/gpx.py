"""Pegs and lips as GPX 1.1, in WGS 84, for finding them in the field."""

from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
from pyproj import CRS, Transformer

from soakline import __version__
from soakline.grid import FloatArray
from soakline.setout.csv_pegs import description
from soakline.setout.drain_pegs import pegs_beside
from soakline.setout.plan import SetOutPlan

NAMESPACE = "http://www.topografix.com/GPX/1/1"
SCHEMA = "http://www.topografix.com/GPX/1/1/gpx.xsd"
CAUTION = (
    "Pegs of a swale plan, for finding them only: a handheld receiver is metres off, and heights "
    "are of the DEM's own datum. Level from an instrument on site. Have services located before "
    "digging; local codes and licensed practice come first."
)


def write_gpx(plan: SetOutPlan, path: Path) -> None:
    """Write a waypoint for each peg and a track for each lip and each drain.

    Elements stand in the order of the schema, GPX 1.1 (topografix.com/GPX/1/1). Places have eight
    decimals of a degree, a millimetre; elevations are the plan's, not heights over the ellipsoid.
    """
    transform = Transformer.from_crs(
        CRS.from_wkt(plan.crs_wkt), CRS.from_epsg(4326), always_xy=True
    )
    root = ET.Element("gpx", {
        "version": "1.1",
        "creator": f"soakline {__version__}",
        "xmlns": NAMESPACE,
        "xmlns:xsi": "http://www.w3.org/2001/XMLSchema-instance",
        "xsi:schemaLocation": f"{NAMESPACE} {SCHEMA}",
    })  # fmt: skip
    metadata = ET.SubElement(root, "metadata")
    _text(metadata, "name", f"Swale pegs: {plan.name}")
    _text(metadata, "desc", CAUTION)
    pegs = plan.pegs
    lon, lat = transform.transform(pegs.easting, pegs.northing)
    for k, name in enumerate(pegs.peg_id):
        point = _point(root, "wpt", lat[k], lon[k], pegs.level_m[k])
        _text(point, "name", name)
        _text(point, "desc", description(plan, k))
        _text(point, "type", pegs.kind[k])
    for own in pegs_beside(plan):
        x, y = transform.transform(own.easting, own.northing)
        point = _point(root, "wpt", y, x, own.level_m)
        _text(point, "name", own.name)
        _text(point, "desc", own.description)
        _text(point, "type", own.kind)
    for swale in plan.swales:
        track = ET.SubElement(root, "trk")
        _text(track, "name", swale.swale_id)
        _text(track, "desc", f"lip, level {swale.level_m:.3f} m")
        segment = ET.SubElement(track, "trkseg")
        easting, northing = np.ascontiguousarray(swale.lip.T)
        for x, y in _pairs(*transform.transform(easting, northing)):
            _point(segment, "trkpt", y, x, swale.level_m)
    for drain in plan.drains:
        track = ET.SubElement(root, "trk")
        _text(track, "name", drain.diversion_id)
        _text(track, "desc", f"bed of the drain to {drain.swale_id}, downhill")
        segment = ET.SubElement(track, "trkseg")
        easting, northing, level = np.ascontiguousarray(drain.bed.T)
        places = _pairs(*transform.transform(easting, northing))
        for (x, y), level_m in zip(places, level.tolist(), strict=True):
            _point(segment, "trkpt", y, x, level_m)
    ET.indent(root)
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)


def _pairs(x: FloatArray, y: FloatArray) -> list[tuple[float, float]]:
    return list(zip(x.tolist(), y.tolist(), strict=True))


def _text(parent: ET.Element, name: str, text: str) -> None:
    ET.SubElement(parent, name).text = text


def _point(parent: ET.Element, name: str, lat: float, lon: float, level_m: float) -> ET.Element:
    point = ET.SubElement(parent, name, {"lat": f"{lat:.8f}", "lon": f"{lon:.8f}"})
    _text(point, "ele", f"{level_m:.3f}")
    return point
