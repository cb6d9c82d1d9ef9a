"""Lips: level, their uphill side, the ground along them, how far apart they stand."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from soakline.verify.dem import Dem
from soakline.verify.line import FloatArray, Line, none_of, within
from soakline.verify.reading import Plan

_GROUP = "lips"
_STEP_M = 0.5
# The lip itself is kept to a millimetre; the ground is measured between the planner's own stations.
_LEVEL_MM, _GROUND_M = 1.0, 0.005
_LOWEST_M = -0.03
_PEG_M, _LEVEL_M = 10.0, 1e-6


@dataclass(frozen=True, eq=False, slots=True)
class Along:
    """Places at even steps along lines.

    Parameters
    ----------
    of : (n,) index of the line
    at_m : (n,) distance along it, m
    place : (n, 2) m
    ahead : (n, 2) unit vector along the line
    """

    of: npt.NDArray[np.int64]
    at_m: FloatArray
    place: FloatArray
    ahead: FloatArray


def along(lines: npt.NDArray[np.object_], step_m: float, *, about: bool = False) -> Along:
    """Places on lines at a step of at most `step_m`, or about that; both ends included."""
    vertex, owner = shapely.get_coordinates(lines, return_index=True)
    same = np.diff(owner, prepend=-1) == 0
    step = np.where(same, np.hypot(*np.diff(vertex, axis=0, prepend=vertex[:1]).T), 0.0)
    length = np.bincount(owner, weights=step, minlength=len(lines))
    # All lines on one scale, a gap between each and the next, so that one search serves them all.
    start = np.cumsum(length + 1.0) - length
    first = np.flatnonzero(~same)
    run = np.cumsum(step)
    scale = start[owner] + run - run[first][owner]

    def place_at(of: npt.NDArray[np.int64], at_m: FloatArray) -> FloatArray:
        if of.size == 0:
            return np.empty((0, 2))
        there = start[of] + np.clip(at_m, 0.0, length[of])
        return np.column_stack([np.interp(there, scale, axis) for axis in vertex.T])

    steps = np.round(length / step_m) if about else np.ceil(length / step_m)
    count = np.maximum(steps.astype(np.int64), 1) + 1
    of = np.repeat(np.arange(len(lines)), count)
    rank = np.arange(of.size) - np.repeat(np.cumsum(count) - count, count)
    at = rank * (length / (count - 1))[of]
    ahead = place_at(of, at + 0.5) - place_at(of, at - 0.5)
    ahead /= np.maximum(np.hypot(ahead[:, 0], ahead[:, 1]), 1e-9)[:, None]
    return Along(of, at, place_at(of, at), ahead)


def of_swale(plan: Plan, name: str, column: str) -> FloatArray:
    """A column of `swales` for every row of another table, by swale_id; null where unknown."""
    own = plan["swales"].drop_duplicates("swale_id").set_index("swale_id")[column]
    found: FloatArray = own.reindex(plan[name]["swale_id"]).to_numpy(dtype=float)
    return found


def check_lips(plan: Plan, dem: Dem) -> list[Line]:
    """Lines about the lips of all swales."""
    swales = plan["swales"]
    lines = swales["geometry"].to_numpy()
    ids, level = swales["swale_id"].to_numpy(), swales["level_m"].to_numpy(float)
    vertex, of = shapely.get_coordinates(lines, include_z=True, return_index=True)
    off_mm = _greatest(np.abs(vertex[:, 2] - level[of]) * 1000.0, of, len(ids))
    length = np.abs(shapely.length(lines) - swales["length_m"].to_numpy(float))
    longest = plan.setting("siting.max_length_m", 400.0)
    planned = _by_rule(plan)
    result = [
        within(_GROUP, "lip dead level at every vertex", "1 mm off level_m", off_mm, ids,
               _LEVEL_MM, "mm"),
        within(_GROUP, "length_m is that of the line", "1 mm", length, ids, 0.001, "m"),
        within(_GROUP, "lip no longer than the limit", f"{longest:g} m",
               swales["length_m"].to_numpy(float)[planned], ids[planned], longest + 0.01, "m"),
    ]  # fmt: skip
    here = along(lines, _STEP_M)
    above = dem.ground(here.place) - level[here.of]
    wide = along(lines, 4.0)
    left = 3.0 * np.column_stack([-wide.ahead[:, 1], wide.ahead[:, 0]])
    rise = dem.ground(wide.place + left) - dem.ground(wide.place - left)
    mean_rise = _mean(rise, wide.of, len(ids))
    bad = ids[~(mean_rise > 0.0)]
    result.append(none_of(_GROUP, "uphill side on the left", "ground rises to the left", bad,
                          len(ids)))  # fmt: skip
    return result + _ground(plan, ids, planned, above, here.of)


def _by_rule(plan: Plan) -> npt.NDArray[np.bool_]:
    """Swales that the rule laid; given lines lie where their owner laid them."""
    swales = plan["swales"]
    if "state" not in swales.columns:
        return np.ones(len(swales), dtype=bool)
    return np.asarray(swales["state"].isna() | (swales["state"] == "planned"))


def _ground(
    plan: Plan,
    ids: npt.NDArray[np.object_],
    planned: npt.NDArray[np.bool_],
    above: FloatArray,
    of: npt.NDArray[np.int64],
) -> list[Line]:
    findings = plan["findings"]
    filled = set(findings["feature_id"][findings["code"] == "lip_fill"])
    exempt = np.array([one in filled for one in ids], dtype=bool)
    tolerance = plan.setting("siting.ground_tolerance_m", 0.15)
    high = _greatest(np.nan_to_num(above, nan=np.inf), of, len(ids))
    low = _greatest(np.nan_to_num(-above, nan=np.inf), of, len(ids))
    swales = plan["swales"]
    rms = np.sqrt(_mean(above**2, of, len(ids)))
    told = np.abs(rms - swales["ground_rms_m"].to_numpy(float))
    ends = np.maximum(
        swales["ground_max_m"].to_numpy(float) - high, -low - swales["ground_min_m"].to_numpy(float)
    )
    keeps = planned & ~exempt
    return [
        within(_GROUP, "ground over the level", f"{tolerance:g} m", high[planned], ids[planned],
               tolerance + _GROUND_M, "m"),
        within(_GROUP, "ground under the level", f"{-_LOWEST_M:g} m", low[keeps], ids[keeps],
               -_LOWEST_M + _GROUND_M, "m"),
        within(_GROUP, "ground_rms_m as measured", "1 cm", told, ids, 0.01, "m"),
        within(_GROUP, "ground_min_m, ground_max_m as measured", "1 cm",
               np.maximum(np.abs(ends), 0.0), ids, 0.02, "m"),
    ]  # fmt: skip


def check_spacing(plan: Plan) -> list[Line]:
    """Level differences between neighbours, and distances, against the figures told."""
    swales = plan["swales"]
    ids, level = swales["swale_id"].to_numpy(), swales["level_m"].to_numpy(float)
    lines = shapely.force_2d(swales["geometry"].to_numpy())
    slope = np.maximum(swales["slope_pct"].to_numpy(float) / 100.0, 1e-4)
    # Blocks have trees of their own height: it is told as the spacing that it gives.
    tree = swales["spacing_tree_m"].to_numpy(float) * slope
    tree = np.where(np.isnan(tree), plan.setting("spacing.mature_tree_height_m", 8.0), tree)
    if plan.record.get("spacing.rule", ["tree-height"])[0] != "tree-height":
        # Another rule's interval takes the place of the trees, in blocks in proportion to theirs.
        height_m = plan.setting("spacing.mature_tree_height_m", 8.0)
        tree *= plan.setting("level_interval_m", height_m) / height_m
    count = (shapely.length(lines) / _PEG_M + 1e-9).astype(np.int64) + 1
    of = np.repeat(np.arange(len(ids)), count)
    at = _PEG_M * (np.arange(of.size) - np.repeat(np.cumsum(count) - count, count))
    points = np.asarray(shapely.line_interpolate_point(lines[of], at), dtype=object)
    reach = (1.5 * tree / slope)[of]
    index = shapely.STRtree(lines)
    one, other = index.query(points, predicate="dwithin", distance=reach)
    rise = level[other] - level[of[one]]
    height = tree[of[one]]
    fits = (rise > 0.25 * height - _LEVEL_M) & (rise < 1.5 * height + _LEVEL_M)
    one, other, rise = one[fits], other[fits], rise[fits]
    # The nearest swale of all; a peg that has a drainage line before it has none above it.
    away = np.asarray(shapely.distance(points[one], lines[other]))
    order = np.lexsort((away, one))
    first = order[np.diff(one[order], prepend=-1) > 0]
    one, other, rise, away = one[first], other[first], rise[first], away[first]
    drains = plan["drainage_lines"]["geometry"].to_numpy()
    clear = np.ones(one.size, dtype=np.bool_)
    if len(drains):
        way = np.asarray(shapely.shortest_line(points[one], lines[other]), dtype=object)
        clear[shapely.STRtree(drains).query(way, predicate="intersects")[0]] = False
    found = of[one[clear]]
    enough = np.bincount(found, minlength=len(ids)) >= 0.5 * count
    told = swales["spacing_above_m"].to_numpy(float)
    measured = _mean(away[clear], found, len(ids))
    both = enough & ~np.isnan(told)
    off = np.abs(measured / np.where(told > 0.0, told, np.nan) - 1.0)[both]
    step = np.abs(_mean(rise[clear], found, len(ids)) - swales["interval_above_m"].to_numpy(float))
    unlike = (enough & (np.bincount(found, minlength=len(ids)) > 0)) == np.isnan(told)
    return [
        none_of("spacing", "spacing_above_m where half of the pegs find a swale", "else null",
                ids[unlike], len(ids)),
        within("spacing", "spacing_above_m as measured", "10 %", 100.0 * off, ids[both], 10.0, "%"),
        within("spacing", "interval_above_m as measured", "5 % of tree height",
               (step / tree)[both] * 100.0, ids[both], 5.0, "%"),
    ]  # fmt: skip


def _greatest(values: FloatArray, of: npt.NDArray[np.int64], count: int) -> FloatArray:
    most = np.full(count, -np.inf)
    np.maximum.at(most, of, values)
    return most


def _mean(values: FloatArray, of: npt.NDArray[np.int64], count: int) -> FloatArray:
    """Mean of each feature's own values, those that are no number left out."""
    valid = ~np.isnan(values)
    number = np.bincount(of[valid], minlength=count)
    total = np.bincount(of[valid], weights=values[valid], minlength=count)
    mean: FloatArray = np.divide(total, number, out=np.full(count, np.nan), where=number > 0)
    return mean
