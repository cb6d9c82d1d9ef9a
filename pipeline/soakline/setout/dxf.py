"""Pegs and edges of trench and mound as DXF with layers and 3D polylines."""

import io
from pathlib import Path

import shapely
from ezdxf import options, units  # type: ignore[attr-defined] # public, though not listed
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace
from shapely.geometry.base import BaseGeometry

from soakline.setout.breaklines import EDGES, LIP, apron_outlines, breaklines, track_lines
from soakline.setout.drain_pegs import drain_pegs
from soakline.setout.plan import SetOutPlan
from soakline.setout.point_pegs import point_pegs, words_of

LAYERS = {
    "SOAKLINE-PROPERTY": 8,
    "SOAKLINE-LIP": 5,
    "SOAKLINE-BASE": 4,
    "SOAKLINE-DAYLIGHT": 30,
    "SOAKLINE-MOUND-CREST": 3,
    "SOAKLINE-MOUND-TOE": 92,
    "SOAKLINE-TRACKS": 40,
    "SOAKLINE-APRONS": 150,
    "SOAKLINE-POINTS": 140,
    "SOAKLINE-DRAINS": 170,
    "SOAKLINE-PEGS": 1,
    "SOAKLINE-PEG-NAMES": 1,
    "SOAKLINE-SPILLWAYS": 6,
    "SOAKLINE-BENCHMARK": 2,
    "SOAKLINE-CAUTION": 7,
}
"""Layers and their colours (AutoCAD colour index)."""
_EDGE_LAYER = {
    "mound-toe": "SOAKLINE-MOUND-TOE",
    "mound-foot": "SOAKLINE-MOUND-TOE",
    "mound-crest-downhill": "SOAKLINE-MOUND-CREST",
    "mound-crest-uphill": "SOAKLINE-MOUND-CREST",
    "base-downhill": "SOAKLINE-BASE",
    "base-uphill": "SOAKLINE-BASE",
    "daylight": "SOAKLINE-DAYLIGHT",
}
CAUTION = (
    "NOT A DESIGN TO BUILD FROM UNSEEN. Level from an instrument on site. Locate services before "
    "digging. Trench faces over 1.2 m: trench safety. Local codes and licensed practice first."
)
_TEXT_M = 0.5


def write_dxf(plan: SetOutPlan, path: Path) -> None:
    """Write lips, edges, pegs with their names, sills and the property's outline; metres, R2010."""
    fixed = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # else the file holds the time and a new id
    try:
        drawing = new("R2010", setup=False, units=units.M)
        for name, colour in LAYERS.items():
            drawing.layers.add(name, color=colour)
        model = drawing.modelspace()
        _draw_swales(plan, model)
        _draw_points(plan, model)
        # On writing they would be declared in the order of a set, another in each process.
        for kind in sorted(drawing.entitydb.dxf_types_in_use()):
            drawing.classes.add_class(kind)
        text = io.StringIO()
        drawing.write(text)
        path.write_text(text.getvalue(), encoding="utf-8", newline="\n")
    finally:
        options.write_fixed_meta_data_for_testing = fixed


def _draw_swales(plan: SetOutPlan, model: Modelspace) -> None:
    for swale in plan.swales:
        lip = [(x, y, swale.level_m) for x, y in swale.lip.tolist()]
        model.add_polyline3d(lip, dxfattribs={"layer": "SOAKLINE-LIP"})
        lines = breaklines(swale)
        for k, name in enumerate(EDGES):
            if k > LIP:
                edge = lines.points[:, k].tolist()
                model.add_polyline3d(edge, dxfattribs={"layer": _EDGE_LAYER[name]})
                continue
            for start, end in swale.mounded_m if k < LIP else ():
                within = (lines.along_m >= start - 1e-4) & (lines.along_m <= end + 1e-4)
                edge = lines.points[within, k].tolist()
                if len(edge) > 1:
                    model.add_polyline3d(edge, dxfattribs={"layer": _EDGE_LAYER[name]})
        for corners in lines.returns:
            for name, edge in zip(EDGES, corners.transpose(1, 0, 2).tolist(), strict=False):
                model.add_polyline3d(edge, dxfattribs={"layer": _EDGE_LAYER[name]})
        for track in track_lines(swale):
            model.add_polyline3d(track.tolist(), dxfattribs={"layer": "SOAKLINE-TRACKS"})
        for sill, outline in zip(swale.sills, apron_outlines(swale), strict=True):
            attributes = {"layer": "SOAKLINE-APRONS"}
            model.add_polyline3d(outline.tolist(), close=True, dxfattribs=attributes)
            words = f"{swale.swale_id} {sill.lining}"
            _write(model, words, tuple(outline[-1].tolist()), "SOAKLINE-APRONS")


def _draw_points(plan: SetOutPlan, model: Modelspace) -> None:
    pegs = plan.pegs
    for k, name in enumerate(pegs.peg_id):
        place = (float(pegs.easting[k]), float(pegs.northing[k]), float(pegs.level_m[k]))
        model.add_point(place, dxfattribs={"layer": "SOAKLINE-PEGS"})
        _write(model, f"{name} {place[2]:.3f}", place, "SOAKLINE-PEG-NAMES")
    for peg in point_pegs(plan):
        place = (peg.easting, peg.northing, peg.level_m)
        model.add_point(place, dxfattribs={"layer": "SOAKLINE-POINTS"})
    for hollow in (own for swale in plan.swales for own in swale.hollows):
        _outlines(model, hollow.ground, "SOAKLINE-POINTS")
        place = (hollow.easting, hollow.northing, hollow.floor_level_m)
        _write(model, f"{hollow.point_id} {words_of(hollow)}", place, "SOAKLINE-POINTS")
    for drain in plan.drains:
        model.add_polyline3d(drain.bed.tolist(), dxfattribs={"layer": "SOAKLINE-DRAINS"})
    for peg in drain_pegs(plan):
        place = (peg.easting, peg.northing, peg.level_m)
        model.add_point(place, dxfattribs={"layer": "SOAKLINE-DRAINS"})
        _write(model, f"{peg.name} bed {peg.level_m:.3f}", place, "SOAKLINE-DRAINS")
    for name, place in plan.spillways.items():
        model.add_point(place, dxfattribs={"layer": "SOAKLINE-SPILLWAYS"})
        _write(model, name, place, "SOAKLINE-SPILLWAYS")
    if plan.benchmark is not None:
        mark = plan.benchmark
        place = (mark.easting, mark.northing, mark.level_m)
        model.add_point(place, dxfattribs={"layer": "SOAKLINE-BENCHMARK"})
        _write(model, f"BM {mark.level_m:.3f}", place, "SOAKLINE-BENCHMARK")
    _outlines(model, plan.outline, "SOAKLINE-PROPERTY")
    west, south, _, _ = plan.outline.bounds
    _write(model, CAUTION, (west, south - 6 * _TEXT_M, 0.0), "SOAKLINE-CAUTION", 2 * _TEXT_M)


def _outlines(model: Modelspace, ground: BaseGeometry, layer: str) -> None:
    """Closed lines round some ground, in plan."""
    for part in shapely.get_parts(ground):
        for ring in (part.exterior, *part.interiors):
            outline = shapely.get_coordinates(ring)[:-1].tolist()
            model.add_lwpolyline(outline, close=True, dxfattribs={"layer": layer})


def _write(
    model: Modelspace,
    text: str,
    place: tuple[float, float, float],
    layer: str,
    height_m: float = _TEXT_M,
) -> None:
    entity = model.add_text(text, height=height_m, dxfattribs={"layer": layer})
    at = (place[0] + height_m / 2, place[1] + height_m / 2, place[2])
    entity.set_placement(at, align=TextEntityAlignment.LEFT)
