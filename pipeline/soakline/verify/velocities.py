"""Water on its way down: velocity and slope of each route, worked out again on the DEM's ground.

Manning (Chow 1959, eq. 5-6) in the ground's own cross-profile, as wide as the sill, at stations
about 5 m apart (method, section 6).
"""

import numpy as np
import shapely

from soakline.verify.dem import Dem
from soakline.verify.line import FloatArray, Line, within
from soakline.verify.lips import along
from soakline.verify.reading import Plan

_GROUP = "overflow"
_REACH_M = 5.0
_ACROSS = 9
_GENTLEST = 0.001  # ground that ponds still passes water on
_HALVINGS = 40
_SLACK_PCT, _SLOPE_PCT = 0.5, 0.1
_STILL_MS = 1e-6


def check_velocities(plan: Plan, dem: Dem) -> list[Line]:
    """Lines about velocities and slopes of routes.

    A route that others join carries between what its own sill spills and its `peak_m3s`; along one
    that none joins the two are one figure, and so is the velocity.
    """
    routes = plan["overflow_routes"]
    ids = routes["route_id"].to_numpy()
    if not len(ids):
        return [
            within(_GROUP, "velocity_ms by Manning in the ground's profile", "0.5 %", [], [], 0.0),
            within(_GROUP, "max_slope_pct as measured", "0.1 %", [], [], 0.0),
        ]
    sills = plan["spillways"].drop_duplicates("spillway_id").set_index("spillway_id")
    own = sills.reindex(routes["spillway_id"])
    width, spilled = (own[name].to_numpy(float) for name in ("sill_length_m", "peak_m3s"))
    reach, slope, bed = _reaches(routes["geometry"].to_numpy(), width, dem)
    n = plan.setting("overflow.manning_n", 0.035)

    def fastest(flow_m3s: FloatArray) -> FloatArray:
        speed = velocity_ms(bed, width[reach] / (_ACROSS - 1), slope, flow_m3s[reach], n)
        return _most(speed, reach, len(ids))

    told = routes["velocity_ms"].to_numpy(float)
    least, most = fastest(spilled), fastest(routes["peak_m3s"].to_numpy(float))
    # Where nothing spills in any check storm nothing runs.
    off = np.maximum((told - most) / np.maximum(most, _STILL_MS),
                     (least - told) / np.maximum(least, _STILL_MS))  # fmt: skip
    steepest = 100.0 * _most(slope, reach, len(ids))
    return [
        within(_GROUP, "velocity_ms by Manning in the ground's profile", f"{_SLACK_PCT:g} %",
               100.0 * np.maximum(off, 0.0), ids, _SLACK_PCT, "%"),
        within(_GROUP, "max_slope_pct as measured", f"{_SLOPE_PCT:g} %",
               np.abs(steepest - routes["max_slope_pct"].to_numpy(float)), ids, _SLOPE_PCT, "%"),
    ]  # fmt: skip


def _reaches(
    lines: np.ndarray, width_m: FloatArray, dem: Dem
) -> tuple[np.ndarray, FloatArray, FloatArray]:
    """Route of each reach, its slope, m/m, and the bed across its lower end, (reaches, 9) m."""
    at = along(shapely.force_2d(lines), _REACH_M, about=True)
    here = dem.ground(at.place)
    lower = np.flatnonzero(np.diff(at.of, prepend=-1) == 0)
    step = at.place[lower] - at.place[lower - 1]
    length = np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-6)
    fall = here[lower - 1] - here[lower]
    slope = np.where(np.isnan(fall), 0.0, np.maximum(fall, 0.0)) / length
    reach = at.of[lower]
    offset = np.linspace(-0.5, 0.5, _ACROSS) * width_m[reach][:, None]
    right = np.column_stack([step[:, 1], -step[:, 0]]) / length[:, None]
    places = at.place[lower][:, None, :] + offset[:, :, None] * right[:, None, :]
    bed = dem.ground(places.reshape(-1, 2)).reshape(offset.shape)
    middle = here[lower][:, None]
    bed = np.where(np.isnan(bed), middle, bed)
    # The water leaves the sill as a level sheet; further down the ground gathers it.
    first = np.diff(reach, prepend=-1) != 0
    level = first[:, None] | np.isnan(middle)
    return reach, slope, np.where(level, 0.0, bed)


def velocity_ms(
    bed_m: FloatArray, spacing_m: FloatArray, slope: FloatArray, flow_m3s: FloatArray, n: float
) -> FloatArray:
    """Velocity of steady uniform flow in each profile, by halving for its depth.

    Parameters
    ----------
    bed_m : (profiles, points) at even spacing across
    spacing_m, slope, flow_m3s : (profiles,); upright ends keep the water in and wet nothing
    n : Manning's roughness
    """
    root = np.sqrt(np.maximum(slope, _GENTLEST)) / n
    low = bed_m.min(axis=1)
    wide = spacing_m * (bed_m.shape[1] - 1)
    sheet = (np.maximum(flow_m3s, 0.0) / (wide * root)) ** 0.6
    high = bed_m.max(axis=1) + 2.0 * sheet + 1e-6
    for _ in range(_HALVINGS):
        level = 0.5 * (low + high)
        flow, _ = _carried(bed_m, spacing_m, level, root)
        enough = flow >= flow_m3s
        high, low = np.where(enough, level, high), np.where(enough, low, level)
    _, speed = _carried(bed_m, spacing_m, high, root)
    return np.where(flow_m3s > 0.0, speed, 0.0)


def _carried(
    bed_m: FloatArray, spacing_m: FloatArray, level_m: FloatArray, root: FloatArray
) -> tuple[FloatArray, FloatArray]:
    depth = level_m[:, None] - bed_m
    left, right = depth[:, :-1], depth[:, 1:]
    wet = np.clip(
        np.maximum(left, right) / np.maximum(np.abs(left - right), 1e-12), 0.0, 1.0
    )  # share of a strip under water where one end of it is dry
    wet = np.where((left > 0.0) & (right > 0.0), 1.0, wet)
    mean = 0.5 * (np.maximum(left, 0.0) + np.maximum(right, 0.0))
    area = (mean * wet * spacing_m[:, None]).sum(axis=1)
    side = np.hypot(spacing_m[:, None], left - right)
    edge = (wet * side).sum(axis=1)
    speed = (area / np.maximum(edge, 1e-12)) ** (2.0 / 3.0) * root
    return area * speed, speed


def _most(values: FloatArray, of: np.ndarray, count: int) -> FloatArray:
    most = np.zeros(count)
    np.maximum.at(most, of, values)
    return most
