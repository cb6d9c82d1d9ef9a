"""Catchments, measured again with pyflwdir: its own filling, its own way of following water."""

from dataclasses import replace

import numba
import numpy as np
import numpy.typing as npt
import pyflwdir
import shapely
from rasterio import features
from rasterio.transform import from_origin

from soakline.verify.dem import Dem
from soakline.verify.directions import directions
from soakline.verify.line import Line, disjoint, within
from soakline.verify.reading import Plan

_GROUP = "catchments"
# Of the ground in a catchment, beyond what a strip half a cell wide along its edge may hold, and of
# all of them together. Ground whose water passes filled hollows or level cells on its way to a
# swale is left out: there two fillings choose two ways.
_SHARE_PCT, _TOTAL_PCT = 10.0, 5.0
# Over rough ground water's way is a matter of millimetres: routings part on hillsides, and only
# the areas of all still tell.
_ROUGH_M, _ROUGH_SHARE_PCT = 0.03, 25.0
_STEPS = "heights come in steps: ways over level ground are a choice"
_LEAST_CELLS = 200
# More cells are taken together in blocks: so wide a net still tells one catchment from another.
_MOST_CELLS = 3_000_000
# Of the DEM around a catchment that is looked at again by its own cells, and of how many at most.
_ROUND_M, _MOST_LOOKS = 100.0, 30


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
    return result + _again(plan, dem, shapes, ids)


def first_swale(plan: Plan, dem: Dem) -> tuple[npt.NDArray[np.uint32], npt.NDArray[np.bool_]]:
    """Number of the swale, from 1, that water of each cell meets first, 0 for none; and whether no
    other filling of hollows leads it elsewhere.
    """
    place = from_origin(dem.west_m, dem.north_m, dem.cell_m, dem.cell_m)
    lips = shapely.force_2d(plan["swales"]["geometry"].to_numpy())
    burnt = features.rasterize(
        ((line, number) for number, line in enumerate(lips, 1)),
        dem.height_m.shape, transform=place, all_touched=True, dtype=np.int32,
    )  # fmt: skip
    codes, filled_way = directions(dem.height_m)
    ways = pyflwdir.from_array(codes, ftype="d8", check_ftype=False)
    at = np.flatnonzero(burnt)
    first: npt.NDArray[np.uint32] = ways.basins(idxs=at, ids=burnt.ravel()[at].astype(np.uint32))
    sure = np.zeros(first.size, dtype=np.bool_)
    _sure(ways.idxs_seq, ways.idxs_ds, burnt.ravel(), filled_way.ravel(), sure)
    return first, sure.reshape(first.shape)


@numba.njit(cache=True)
def _sure(
    upwards: npt.NDArray[np.int64],
    below: npt.NDArray[np.int64],
    burnt: npt.NDArray[np.int32],
    filled_way: npt.NDArray[np.bool_],
    sure: npt.NDArray[np.bool_],
) -> None:
    """Mark cells whose way down to a swale or the rim is no choice of a filling's."""
    for cell in upwards:
        next_one = below[cell]
        if burnt[cell] > 0:
            sure[cell] = True
        elif not filled_way[cell]:
            sure[cell] = next_one == cell or sure[next_one]


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


def _within(dem: Dem, bounds: npt.NDArray[np.float64]) -> Dem:
    """The DEM around bounds: west, south, east, north, m."""
    rows, columns = dem.height_m.shape
    left, right = np.floor((bounds[[0, 2]] - dem.west_m + [-_ROUND_M, _ROUND_M]) / dem.cell_m)
    top, bottom = np.floor((dem.north_m - bounds[[3, 1]] + [-_ROUND_M, _ROUND_M]) / dem.cell_m)
    left, right = (int(np.clip(side, 0, columns)) for side in (left, right))
    top, bottom = (int(np.clip(side, 0, rows)) for side in (top, bottom))
    return replace(
        dem,
        height_m=dem.height_m[top:bottom, left:right],
        west_m=dem.west_m + left * dem.cell_m,
        north_m=dem.north_m - top * dem.cell_m,
    )


def _areas(
    plan: Plan, dem: Dem, shapes: npt.NDArray[np.object_], at: npt.NDArray[np.int64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Of each swale, m²: ground that meets it first and was not told of; ground that it was told of
    and that runs elsewhere, or that lies off the heights. Of the rest, sure ground alone.
    """
    place = from_origin(dem.west_m, dem.north_m, dem.cell_m, dem.cell_m)
    told = np.zeros(dem.height_m.shape, np.int32)
    if len(shapes):
        features.rasterize(zip(shapes, at, strict=True), transform=place, out=told)
    first, sure = first_swale(plan, dem)
    count = len(plan["swales"]) + 1
    differs = sure & (first != told)
    untold, elsewhere, whole = (
        np.bincount(of, minlength=count)[1:].astype(np.float64) * dem.cell_m**2
        for of in (first[differs], told[differs], told[told > 0])
    )
    off = np.bincount(at, weights=shapely.area(shapes), minlength=count)[1:] - whole
    return untold, np.asarray(elsewhere + np.maximum(off, 0.0), dtype=np.float64)


def _again(
    plan: Plan, dem: Dem, shapes: npt.NDArray[np.object_], ids: npt.NDArray[np.object_]
) -> list[Line]:
    swale_ids = plan["swales"]["swale_id"].tolist()
    number = {one: i for i, one in reversed(list(enumerate(swale_ids, 1)))}
    at = np.array([number.get(one, 0) for one in ids], dtype=np.int64)
    # Of the polygons, so that one that lies off the DEM counts in full.
    theirs, edge_m = (
        np.bincount(at, weights=of(shapes), minlength=len(swale_ids) + 1)[1:]
        for of in (shapely.area, shapely.length)
    )
    blocks = coarser(dem)
    untold, elsewhere = _areas(plan, blocks, shapes, at)
    # Water that roofs and drains bring is no water of the ground around.
    led = plan["swales"]["swale_id"].isin(set(plan["diversions"]["swale_id"])).to_numpy()
    large = (theirs >= _LEAST_CELLS * blocks.cell_m**2) & ~led

    def share_pct(
        untold: npt.NDArray[np.float64], elsewhere: npt.NDArray[np.float64], cell_m: float
    ) -> npt.NDArray[np.float64]:
        apart = np.maximum(untold, elsewhere) - 0.5 * cell_m * edge_m
        share: npt.NDArray[np.float64] = 100.0 * np.maximum(apart, 0.0) / np.maximum(theirs, 1e-9)
        return share

    share = share_pct(untold, elsewhere, blocks.cell_m)
    if blocks is not dem:
        # Blocks blur narrow ground: what seems wrong is looked at again cell by cell.
        doubtful = np.flatnonzero(large & (share > _SHARE_PCT))
        for k in doubtful[np.argsort(-share[doubtful])][:_MOST_LOOKS].tolist():
            own = at == k + 1
            part = _within(dem, shapely.total_bounds(shapes[own]))
            if 0 < part.height_m.size <= _MOST_CELLS:
                near = np.flatnonzero(shapely.intersects(shapes, shapely.box(*part.bounds)))
                fine = share_pct(*_areas(plan, part, shapes[near], at[near]), dem.cell_m)
                share[k] = fine[k]
    names = np.array(swale_ids, dtype=object)
    total = 100.0 * abs((untold - elsewhere)[large].sum()) / max(theirs[large].sum(), 1e-9)
    most = _ROUGH_SHARE_PCT if plan.setting("noise_m", 0.0) >= _ROUGH_M else _SHARE_PCT
    allowed = f"{most:g} %, half a cell of {blocks.cell_m:g} m along its edge besides"
    lines = [
        within(_GROUP, "ground that pyflwdir leads elsewhere", allowed, share[large], names[large],
               most, "%"),
        within(_GROUP, "area of all, by pyflwdir", f"{_TOTAL_PCT:g} %", [total] if large.any()
               else [], ["all swales"], _TOTAL_PCT, "%"),
    ]  # fmt: skip
    if (plan["findings"]["code"] == "stepped_heights").any():
        return [replace(line, found=_STEPS, holds=None) for line in lines]
    return lines
