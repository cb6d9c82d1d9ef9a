"""A made hillside with two valleys and a plan laid over it: plausible to look at, not computed.

Ground falls south; swales are its level lines. Figures of no account to the writer are filled in
by rank, so that every layer has rows and every column a value, some of them null.
"""

from typing import Any

import contourpy
import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.outputs.columns import LAYERS, SCHEMAS, frame
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, EPSG

CRS = f"EPSG:{EPSG}"
EAST_M, NORTH_M = CENTRE_EASTING_M, CENTRE_NORTHING_M
INTERVAL_M = 6.0

Layers = dict[str, gpd.GeoDataFrame | pd.DataFrame]


def height_m(easting: FloatArray, northing: FloatArray) -> FloatArray:
    """Elevation: 9 % to the south, two valleys and a knoll."""
    e, n = np.asarray(easting) - EAST_M, np.asarray(northing) - NORTH_M
    valleys = 9.0 * np.exp(-(((e + 170 + 0.15 * n) / 60) ** 2))
    valleys = valleys + 12.0 * np.exp(-(((e - 210 + 0.25 * n) / 75) ** 2))
    knoll = 7.0 * np.exp(-((e - 20) ** 2 + (n + 60) ** 2) / 9000)
    result: FloatArray = 400 + 0.09 * n - valleys * np.clip((260 - n) / 400, 0, 1) + knoll
    return result


def hillside_grid(cell_m: float = 2.0) -> Grid:
    """800 m by 640 m about the centre."""
    rows, columns = round(640 / cell_m), round(800 / cell_m)
    wkt = gpd.GeoSeries(crs=CRS).crs.to_wkt()
    return Grid(rows, columns, EAST_M - 400, NORTH_M + 320, cell_m, wkt)


def ground_m(grid: Grid) -> GroundArray:
    """(rows, columns) ground with a corner that has no data."""
    row, column = np.indices(grid.shape)
    easting, northing = grid.easting_northing(row.astype(float), column.astype(float))
    ground = height_m(easting, northing).astype(np.float32)
    ground[(easting - EAST_M) + (northing - NORTH_M) > 640] = np.nan
    return ground


def path_down(start: tuple[float, float], length_m: float) -> shapely.LineString:
    """Steepest way down from a place, in steps of 4 m."""
    places = [np.asarray(start)]
    for _ in range(int(length_m / 4)):
        e, n = places[-1]
        fall = -np.array(
            [
                height_m(e + 1, n) - height_m(e - 1, n),
                height_m(e, n + 1) - height_m(e, n - 1),
            ]
        )
        places.append(places[-1] + 4 * fall / np.hypot(*fall))
    return shapely.LineString(places)


def with_z(line: shapely.LineString, level_m: float | None = None) -> shapely.LineString:
    """The line with its ground, never rising, or a level as Z."""
    xy = shapely.get_coordinates(line)
    z = np.minimum.accumulate(height_m(xy[:, 0], xy[:, 1]))
    return shapely.LineString(np.c_[xy, z if level_m is None else np.full(len(xy), level_m)])


def at(east_m: float, north_m: float) -> tuple[float, float]:
    """Easting and northing of a place told from the centre."""
    return EAST_M + east_m, NORTH_M + north_m


def _filled(
    layer: str, geometry: list[BaseGeometry] | None, rows: int, **given: object
) -> gpd.GeoDataFrame | pd.DataFrame:
    schema = SCHEMAS[layer]
    columns: dict[str, Any] = {}
    for column in schema.columns:
        if column.name in given:
            columns[column.name] = given[column.name]
        elif column.allowed:
            columns[column.name] = [column.allowed[i % len(column.allowed)] for i in range(rows)]
        elif column.kind == "text":
            columns[column.name] = [f"{column.name}-{i}" if i % 7 else None for i in range(rows)]
        elif column.kind == "integer":
            columns[column.name] = list(range(1, rows + 1))
        elif column.kind == "boolean":
            columns[column.name] = [i % 2 == 0 for i in range(rows)]
        else:
            columns[column.name] = [i / 3 if i % 5 else None for i in range(rows)]
    return frame(schema, columns, geometry, CRS if geometry is not None else None)


def _land() -> tuple[BaseGeometry, dict[str, BaseGeometry], list[shapely.LineString]]:
    corners = [(-330, 250), (60, 275), (300, 190), (340, -180), (120, -270), (-300, -240)]
    land = shapely.Polygon([at(*corner) for corner in corners])
    lines = [path_down(at(-195, 170), 420)]
    lines.append(path_down(at(165, 190), 470))
    lines.append(path_down(at(290, 60), 300))
    lines = [line.intersection(land) for line in lines]
    reasons = {
        "boundary": land - land.buffer(-6),
        "building": shapely.box(*at(-40, 120), *at(-20, 140)).buffer(16),
        "well": shapely.Point(at(60, 150)).buffer(30),
        "drainage_line": shapely.union_all(lines).buffer(12),
        "track": shapely.LineString([at(-330, 40), at(-60, 20), at(150, -60)]).buffer(5),
        "landslip": shapely.Point(at(250, -110)).buffer(45),
        "too_steep": shapely.Point(at(20, -135)).buffer(24),
    }
    taken: BaseGeometry = shapely.Polygon()
    for reason, ground in reasons.items():
        reasons[reason] = (ground & land) - taken
        taken |= ground
    return land, reasons, lines


def _lips(grid: Grid, allowed: BaseGeometry) -> list[tuple[float, shapely.LineString]]:
    """Level and lip of each swale, uphill on its left."""
    row, column = np.indices(grid.shape)
    easting, northing = grid.easting_northing(row.astype(float), column.astype(float))
    contours = contourpy.contour_generator(easting, northing, height_m(easting, northing))
    lips = []
    for level in np.arange(370.0, 430.0, INTERVAL_M)[::-1]:
        for places in contours.lines(level):
            pieces = shapely.LineString(places).simplify(0.2).intersection(allowed)
            for lip in shapely.get_parts(pieces):
                if lip.geom_type != "LineString" or lip.length < 25:
                    continue
                (e0, n0), (e1, n1) = lip.coords[0], lip.coords[1]
                left = height_m((e0 + e1) / 2 - (n1 - n0), (n0 + n1) / 2 + (e1 - e0))
                lips.append((level, lip if left > level else lip.reverse()))
    return lips


def hillside_layers(cell_m: float = 2.0) -> Layers:
    """Every layer and table of the plan, by name."""
    land, reasons, lines = _land()
    lips = _lips(hillside_grid(cell_m), land - shapely.union_all(list(reasons.values())))
    ids = [f"s{i:03d}" for i in range(1, len(lips) + 1)]
    levels = [level for level, _ in lips]
    flat = [lip for _, lip in lips]
    lip_lines = [with_z(lip, level) for level, lip in lips]
    count = len(lips)

    sills = [shapely.get_point(lip, 0 if i % 2 else -1) for i, lip in enumerate(lip_lines)]
    routes, ends = [], []
    for sill, level in zip(sills, levels, strict=True):
        way = path_down((sill.x, sill.y), 90)
        first = [k for k, line in enumerate(lines) if line.distance(way) < 8]
        routes.append(with_z(way, None))
        ends.append(("drainage_line", f"d{first[0]}") if first else ("property_edge", None))
        assert level > 0

    ponded = [lip.buffer(2.5, single_sided=True) for lip in flat]
    mounds = [lip.buffer(-3.0, single_sided=True) for lip in flat]
    ground = [part for pair in zip(ponded, mounds, strict=True) for part in shapely.get_parts(pair)]
    ground = [part for part in ground if part.geom_type == "Polygon"]
    above = [lip.buffer(40, single_sided=True) - p for lip, p in zip(flat, ponded, strict=True)]

    along = [(i, d) for i, lip in enumerate(flat) for d in np.arange(0.0, lip.length, 10.0)]
    pegs = [shapely.force_3d(flat[i].interpolate(d), levels[i]) for i, d in along]
    outlets = [shapely.get_point(line, -1) for line in lines]
    given = shapely.Point(at(-90, -190))
    dam = shapely.Point(at(60, -215))
    hollows = [given.buffer(22), shapely.Point(at(-250, -150)).buffer(12)]

    points = [lip.interpolate(0.7, normalized=True) for lip in flat[:6]]
    crossings = [lip.interpolate(0.4, normalized=True) for lip in flat[:8]]

    layers = {
        "property": _filled("property", [land], 1, name=["Two Valleys"], area_m2=[land.area]),
        "swales": _filled("swales", lip_lines, count, swale_id=ids, level_m=levels),
        "swale_ground": _filled("swale_ground", ground, len(ground)),
        "swale_catchments": _filled("swale_catchments", above, count, swale_id=ids),
        "spillways": _filled("spillways", sills, count, swale_id=ids),
        "overflow_routes": _filled(
            "overflow_routes",
            routes,
            count,
            swale_id=ids,
            to_kind=[kind for kind, _ in ends],
            to_id=[end for _, end in ends],
        ),
        "safe_points": _filled(
            "safe_points",
            [*outlets, given, dam],
            5,
            kind=["outlet", "outlet", "outlet", "given", "dam"],
        ),
        "drainage_lines": _filled("drainage_lines", lines, 3, order_strahler=[1, 3, 2]),
        "slope_classes": _filled("slope_classes", [land], 1),
        "excluded_ground": _filled(
            "excluded_ground", list(reasons.values()), len(reasons), reason=list(reasons)
        ),
        "hollows": _filled("hollows", hollows, 2, treatment=["kept", "filled"]),
        "pegs": _filled("pegs", pegs, len(pegs), chainage_m=[d for _, d in along]),
        "trees": _filled("trees", points, len(points), swale_id=ids[:6]),
        "tree_projection": _filled(
            "tree_projection", [translate(routes[0], -60.0)], 1, swale_id=ids[:1]
        ),
        "diversions": _filled("diversions", [translate(routes[0], 60.0)], 1, swale_id=ids[:1]),
        "crossings": _filled("crossings", crossings, len(crossings), swale_id=ids[:8]),
        "swale_points": _filled("swale_points", points, len(points), swale_id=ids[:6]),
        "swale_point_ground": _filled(
            "swale_point_ground", [own.buffer(2.0) for own in points], len(points)
        ),
    }
    tables = {s.name: _filled(s.name, None, 8) for s in LAYERS if s.geometry is None}
    return layers | tables
