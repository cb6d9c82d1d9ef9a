"""Ponds, basins and organic pits: their layers, and what is counted of them."""

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import shapely

from soakline.grid import FloatArray
from soakline.ids import swale_point_id
from soakline.inputs.quantity_items import UNITS
from soakline.outputs.columns import SCHEMAS, Columns, frame
from soakline.outputs.designed import Designed
from soakline.section.points import SwalePoints
from soakline.section.trench import trenches_of
from soakline.works.bill import Entry

CUT = "cut of ponds, basins and pits"
_COUNTED = {
    "pond": "seasonal ponds",
    "basin": "infiltration basins",
    "organic_pit": "organic pits",
}


def point_ids(points: SwalePoints, ids: Sequence[str]) -> list[str]:
    """Id of each, in order; `ids` of the swales."""
    first = np.searchsorted(points.lip, points.lip)
    return [
        swale_point_id(ids[own], k - int(at))
        for k, (own, at) in enumerate(zip(points.lip, first, strict=True))
    ]


def seep_h(points: SwalePoints) -> FloatArray:
    """Time in which each pond would soak away, h; NaN at other points."""
    hours = points.depth_m / np.maximum(points.soak_m_h, 1e-9)
    return np.where(points.kind == "pond", hours, np.nan)


def point_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `swale_points` layer."""
    own = plan.points
    depth = trenches_of(plan.figures.sections).depth_m
    pit, basin = own.kind == "organic_pit", own.kind == "basin"
    columns: Columns = {
        "point_id": point_ids(own, plan.placed.ids),
        "swale_id": [plan.placed.lines[lip].swale_id for lip in own.lip],
        "kind": own.kind,
        "source": np.where(own.row >= 0, "given", "suggested"),
        "texture": list(own.texture),
        "chainage_m": own.at_m,
        "length_m": own.length_m,
        "width_m": own.width_m,
        "depth_m": np.where(basin, np.nan, own.depth_m),
        "floor_level_m": (plan.figures.level_m - depth)[own.lip] - own.depth_m,
        "area_m2": own.area_m2,
        "storage_m3": np.where(pit, np.nan, own.storage_m3),
        "cut_m3": own.cut_m3,
        "organic_m3": np.where(pit, own.organic_m3, np.nan),
        "seep_h": seep_h(own),
        "face_height_m": own.face_m,
    }
    places = np.asarray(shapely.points(own.easting_m, own.northing_m), dtype=np.object_)
    return frame(SCHEMAS["swale_points"], columns, places, crs)


def point_ground_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `swale_point_ground` layer."""
    own = plan.points
    columns: Columns = {
        "point_id": point_ids(own, plan.placed.ids),
        "swale_id": [plan.placed.lines[lip].swale_id for lip in own.lip],
        "kind": own.kind,
        "area_m2": shapely.area(own.outline),
    }
    return frame(SCHEMAS["swale_point_ground"], columns, own.outline, crs)


def point_entries(plan: Designed) -> list[Entry]:
    """What is dug at, filled into and held by ponds, basins and pits; nothing where none is."""
    own = plan.points
    if own.lip.size == 0:
        return []
    swales = plan.figures.level_m.size

    def by_swale(amount: FloatArray) -> FloatArray:
        return np.bincount(own.lip, weights=amount, minlength=swales).astype(float)

    cut = by_swale(own.cut_m3)
    amounts = {
        **{item: by_swale((own.kind == kind).astype(float)) for kind, item in _COUNTED.items()},
        CUT: cut,
        "spoil of ponds, basins and pits, settled": cut * plan.design.spoil,
        "water held in ponds and basins": by_swale(own.storage_m3),
        "organic fill of pits": by_swale(own.organic_m3),
    }
    return [
        Entry(item, UNITS[item], amount, item) for item, amount in amounts.items() if amount.any()
    ]
