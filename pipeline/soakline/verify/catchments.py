"""Catchments, measured again with pyflwdir: its own filling, its own eight directions."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pyflwdir
import shapely
from pyflwdir import dem as flow
from rasterio import features
from rasterio.transform import from_origin

from soakline.verify.dem import Dem
from soakline.verify.line import Line, disjoint, within
from soakline.verify.reading import Plan

_GROUP = "catchments"
_NONE = np.float32(-9999.0)
# Eight directions alone part water otherwise than directions with least deviation do: over arcs of
# a cone they differ by up to 0.4 of an area (method, section 2), on a smooth saddle as much in all,
# on rough ground up to 0.77 of one in 700 catchments: measured on right plans.
_SHARE, _TOTAL_PCT = 85.0, 40.0
_LARGE_M2 = 2000.0
# More cells are taken together in blocks: so wide a net still tells one catchment from another.
_MOST_CELLS = 7_000_000


def check_catchments(plan: Plan, dem: Dem) -> list[Line]:
    """Lines about the catchments of all swales."""
    own = plan["swale_catchments"]
    shapes, ids = own["geometry"].to_numpy(), own["swale_id"].to_numpy()
    area = shapely.area(shapes)
    listed = plan["swales"].drop_duplicates("swale_id").set_index("swale_id")["catchment_m2"]
    told = np.abs(own["area_m2"].to_numpy(float) - listed.reindex(ids).to_numpy(float))
    result = [
        within(_GROUP, "area_m2 is that of the polygon", "0.01 m²",
               np.abs(own["area_m2"].to_numpy(float) - area), ids, 0.01, "m²"),
        within(_GROUP, "catchment_m2 of swales is the same", "0.01 m²", told, ids, 0.01, "m²"),
        disjoint(_GROUP, "disjoint", shapes, ids),
    ]  # fmt: skip
    return result + _again(plan, coarser(dem), shapes, ids)


def first_swale(plan: Plan, dem: Dem) -> npt.NDArray[np.uint32]:
    """Number of the swale, from 1, that water of each cell meets first; 0 for none."""
    place = from_origin(dem.west_m, dem.north_m, dem.cell_m, dem.cell_m)
    lips = shapely.force_2d(plan["swales"]["geometry"].to_numpy())
    burnt = features.rasterize(
        ((line, number) for number, line in enumerate(lips, 1)),
        dem.height_m.shape, transform=place, all_touched=True, dtype=np.int32,
    )  # fmt: skip
    height = np.where(np.isnan(dem.height_m), _NONE, dem.height_m)
    _, direction = flow.fill_depressions(height, nodata=_NONE)
    ways = pyflwdir.from_array(direction, ftype="d8", check_ftype=False)
    at = np.flatnonzero(burnt)
    first: npt.NDArray[np.uint32] = ways.basins(idxs=at, ids=burnt.ravel()[at].astype(np.uint32))
    return first


def coarser(dem: Dem) -> Dem:
    """The DEM in blocks of whole cells, by their means, where it has very many cells."""
    side = int(np.ceil(np.sqrt(dem.height_m.size / _MOST_CELLS)))
    if side == 1:
        return dem
    rows, columns = (-(-n // side) for n in dem.height_m.shape)
    total = np.zeros((rows, columns), np.float32)
    count = np.zeros((rows, columns), np.float32)
    for down in range(side):
        for right in range(side):
            own = dem.height_m[down::side, right::side]
            valid = ~np.isnan(own)
            part = (slice(own.shape[0]), slice(own.shape[1]))
            total[part] += np.where(valid, own, np.float32(0.0))
            count[part] += valid
    mean = np.divide(total, count, out=np.full_like(total, np.nan), where=count > 0)
    return replace(dem, height_m=mean, cell_m=dem.cell_m * side)


def _again(
    plan: Plan, dem: Dem, shapes: npt.NDArray[np.object_], ids: npt.NDArray[np.object_]
) -> list[Line]:
    swale_ids = plan["swales"]["swale_id"].tolist()
    number = {one: i for i, one in reversed(list(enumerate(swale_ids, 1)))}
    place = from_origin(dem.west_m, dem.north_m, dem.cell_m, dem.cell_m)
    told = features.rasterize(
        ((shape, number.get(one, 0)) for shape, one in zip(shapes, ids, strict=True)),
        dem.height_m.shape, transform=place, dtype=np.int32,
    )  # fmt: skip
    first = first_swale(plan, dem)
    count = len(swale_ids) + 1
    mine = np.bincount(first.ravel(), minlength=count)[1:] * dem.cell_m**2
    # Of the polygons, so that one that lies off the DEM counts in full.
    theirs = np.zeros(count - 1)
    at = np.array([number.get(one, 0) for one in ids], dtype=np.int64)
    np.add.at(theirs, at[at > 0] - 1, shapely.area(shapes[at > 0]))
    same = first == told
    both = np.bincount(told[same], minlength=count)[1:] * dem.cell_m**2
    # Water that roofs and drains bring is no water of the ground around.
    led = set(plan["diversions"]["swale_id"])
    large = np.array(
        [area >= _LARGE_M2 and one not in led for area, one in zip(theirs, swale_ids, strict=True)],
        dtype=bool,
    )
    share = np.maximum(100.0 - 100.0 * both / np.maximum(theirs, 1e-9), 0.0)
    names = np.array(swale_ids, dtype=object)
    total = 100.0 * abs(mine.sum() / max(theirs.sum(), 1e-9) - 1.0)
    return [
        within(_GROUP, "ground in it that pyflwdir leads elsewhere",
               f"{_SHARE:g} % (over {_LARGE_M2:g} m²)", share[large], names[large], _SHARE, "%"),
        within(_GROUP, "area of all, by pyflwdir", f"{_TOTAL_PCT:g} %", [total], ["all swales"],
               _TOTAL_PCT, "%"),
    ]  # fmt: skip
