"""The property: footprints within it and clear of what is excluded, partitions that add up."""

import numpy as np
import pandas as pd
import shapely
from rasterio import features
from rasterio.enums import MergeAlg
from rasterio.transform import from_origin

from soakline.verify.line import Line, disjoint, none_of, within
from soakline.verify.reading import Plan

_GROUP = "land"
# These bind the lip alone, and a gap of it may be bridged over steep ground.
_LIP_ONLY = ("too_steep", "wet")
_EDGE_M = 0.02
_PLACES_A_SIDE = 1499


def check_land(plan: Plan) -> list[Line]:
    """Lines about footprints, setbacks and the two partitions of the property."""
    ground = plan["swale_ground"]
    shapes = ground["geometry"].to_numpy()
    ids = ground["swale_id"].to_numpy()
    outline = shapely.union_all(plan["property"]["geometry"].to_numpy())
    state = plan["swales"].set_index("swale_id").get("state", pd.Series(dtype=object))
    given = set(state.index[state.isin(["built", "fixed"])])
    laid = np.array([one not in given for one in ids], dtype=bool)
    shapely.prepare(outline)
    outside = ids[laid & ~shapely.covered_by(shapes, shapely.buffer(outline, _EDGE_M))]
    result = [
        none_of(_GROUP, "footprints within the property", "all of them", _once(outside), len(ids)),
        _areas(plan, "swale_ground", ids),
        disjoint(_GROUP, "parts of footprints do not overlap", shapes, ids),
        *_setbacks(plan, shapes, ids, laid, outline),
        *_partitions(plan, float(shapely.area(outline))),
    ]
    area = np.abs(plan["property"]["area_m2"].to_numpy(float) / shapely.area(outline) - 1.0)
    return [*result, within(_GROUP, "property area_m2 is that of its outline", "0.01 %",
                            100.0 * area, ["property"], 0.01, "%")]  # fmt: skip


def _once(names: object) -> list[object]:
    return list(dict.fromkeys(np.asarray(names).tolist()))


def _areas(plan: Plan, name: str, ids: object) -> Line:
    area = shapely.area(plan[name]["geometry"].to_numpy())
    off = np.abs(plan[name]["area_m2"].to_numpy(float) - area)
    what = f"{name}: area_m2 is that of the polygon"
    return within(_GROUP, what, "0.01 m²", off, np.asarray(ids), 0.01 + 1e-6 * area.max(initial=0),
                  "m²")  # fmt: skip


def _setbacks(
    plan: Plan,
    shapes: np.ndarray,
    ids: np.ndarray,
    laid: np.ndarray,
    outline: shapely.Geometry,
) -> list[Line]:
    far = plan.setting("siting.setback_m.boundary", 3.0)
    rim = shapely.boundary(outline)
    shapely.prepare(rim)
    short = far - shapely.distance(shapes, rim)
    cell = plan.setting("cell_size_m", 1.0)
    result = [
        within(_GROUP, "setback from the boundary", f"{far:g} m, short by at most 5 cm",
               np.maximum(short[laid], 0.0), ids[laid], 0.05, "m"),
    ]  # fmt: skip
    drains = plan["drainage_lines"]["geometry"].to_numpy()
    if len(drains):
        far = plan.setting("siting.setback_m.drainage_line", 10.0)
        near, line = shapely.STRtree(drains).query(shapes, predicate="dwithin", distance=far)
        away = np.full(len(shapes), np.inf)
        np.minimum.at(away, near, shapely.distance(shapes[near], drains[line]))
        result.append(
            within(_GROUP, "setback from drainage lines", f"{far:g} m, short by at most 5 cm",
                   np.maximum(far - away[laid], 0.0), ids[laid], 0.05, "m")
        )  # fmt: skip
    excluded = plan["excluded_ground"]
    binding = excluded[~excluded["reason"].isin(_LIP_ONLY)]
    covered = np.zeros(len(shapes))
    kept = shapely.get_parts(binding["geometry"].to_numpy())
    part, of = shapely.STRtree(shapes).query(kept, predicate="intersects")
    np.add.at(covered, of, shapely.area(shapely.intersection(shapes[of], kept[part])))
    most = 0.5 * cell * cell + 0.1
    what = "footprints clear of excluded ground"
    result.append(
        within(_GROUP, what, f"{most:g} m²: half a cell", covered[laid], ids[laid], most, "m²")
    )
    return result


def _partitions(plan: Plan, whole_m2: float) -> list[Line]:
    classes, excluded = plan["slope_classes"], plan["excluded_ground"]
    outline = plan["property"]["geometry"].to_numpy()
    land, twice, bare = _cover(outline, classes["geometry"].to_numpy())
    off = [100.0 * abs(classes["area_m2"].sum() / whole_m2 - 1.0),
           100.0 * twice / land, 100.0 * bare / land]  # fmt: skip
    _, doubly, _ = _cover(outline, excluded["geometry"].to_numpy())
    allowed = plan.setting("allowed_m2", np.nan)
    sums = 100.0 * abs((allowed + excluded["area_m2"].sum()) / whole_m2 - 1.0)
    return [
        within(_GROUP, "slope classes make up the property once", "0.1 %", off,
               ["sum of areas", "ground in two", "ground in none"], 0.1, "%"),
        _areas(plan, "slope_classes", classes["class"].to_numpy()),
        within(_GROUP, "excluded ground has each place once", "0.01 %",
               [100.0 * doubly / land], ["excluded_ground"], 0.01, "%"),
        within(_GROUP, "allowed and excluded ground make up the property", "0.5 %", [sums],
               ["allowed_m2"], 0.5, "%"),
        _areas(plan, "excluded_ground", excluded["reason"].to_numpy()),
    ]  # fmt: skip


def _cover(outline: np.ndarray, parts: np.ndarray) -> tuple[int, int, int]:
    """Places of a fine grid on the land, those that lie in two parts, and those in none."""
    west, south, east, north = shapely.total_bounds(outline)
    side = max(east - west, north - south) / _PLACES_A_SIDE
    shape = (int((north - south) / side) + 1, int((east - west) / side) + 1)
    # Off all round figures: edges of areas run along those of cells.
    place = from_origin(west - 0.3819 * side, north + 0.3819 * side, side, side)

    def burnt(shapes: np.ndarray) -> np.ndarray:
        if not len(shapes):
            return np.zeros(shape, np.uint8)
        count: np.ndarray = features.rasterize(
            ((one, 1) for one in shapes), shape, transform=place, merge_alg=MergeAlg.add,
            dtype=np.uint8,
        )  # fmt: skip
        return count

    land, count = burnt(outline) > 0, burnt(parts)
    return (
        max(int(land.sum()), 1),
        int(((count > 1) & land).sum()),
        int(((count == 0) & land).sum()),
    )
