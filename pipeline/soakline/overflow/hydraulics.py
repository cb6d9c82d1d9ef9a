"""How fast spilled water runs down its way: Manning over the ground's own cross-profile."""

from concurrent.futures import ThreadPoolExecutor

import numba
import numpy as np
import numpy.typing as npt

from soakline.cores import cores
from soakline.grid import FloatArray, GroundArray
from soakline.terrain.ground import bilinear

_PROFILE_POINTS = 9
_GENTLEST = 0.001  # ground that ponds still passes water on
_CLOSE = 1e-6  # share of the flow to the power of 0.6
_MOST_STEPS = 60


@numba.njit(cache=True)
def _carried(
    bed_m: FloatArray, side_m: FloatArray, spacing_m: float, level_m: float, root: float
) -> tuple[float, float]:
    """Flow, m³/s, and velocity, m/s, with the water at a level; root is S^(1/2) / n."""
    area, perimeter = 0.0, 0.0
    left = level_m - bed_m[0]
    for i in range(side_m.size):
        right = level_m - bed_m[i + 1]
        if left > 0.0 and right > 0.0:
            area += 0.5 * (left + right) * spacing_m
            perimeter += side_m[i]
        elif left > 0.0 or right > 0.0:
            wet = max(left, right)
            share = wet / abs(left - right)
            area += 0.5 * wet * share * spacing_m
            perimeter += share * side_m[i]
        left = right
    if area <= 0.0:
        return 0.0, 0.0
    velocity = (area / perimeter) ** (2.0 / 3.0) * root
    return area * velocity, velocity


@numba.njit(cache=True)
def normal_velocity_ms(
    bed_m: FloatArray, spacing_m: float, slope: float, flow_m3s: float, manning_n: float
) -> float:
    """Velocity of steady uniform flow in a cross-profile with upright ends.

    Parameters
    ----------
    bed_m : (n,) heights of the bed at even spacing across the flow, m
    spacing_m : m
    slope : along the flow, m/m, positive
    flow_m3s : m³/s
    manning_n : s/m^(1/3)

    Returns
    -------
    m/s; 0 where nothing flows

    Notes
    -----
    Manning, V = R^(2/3) S^(1/2) / n, with the depth at which V times the wetted area is the flow
    (Chow 1959). The upright ends keep water within the width that it has spread to; they add no
    wetted perimeter.
    """
    if flow_m3s <= 0.0:
        return 0.0
    root = np.sqrt(slope) / manning_n
    side = np.empty(bed_m.size - 1)
    for i in range(side.size):
        side[i] = np.sqrt(spacing_m * spacing_m + (bed_m[i + 1] - bed_m[i]) ** 2)
    width = spacing_m * side.size
    lowest, highest = bed_m.min(), bed_m.max()
    # As deep as on a level bed at its lowest point is too little; all of the bed so deep is about
    # enough, the slower flow along a bent bed apart.
    least = (flow_m3s / (width * root)) ** 0.6
    low, high = least, least + highest - lowest
    # Flow to the power of 0.6 runs nearly straight with the depth: a secant meets it soon.
    target = flow_m3s**0.6
    flow, velocity = _carried(bed_m, side, spacing_m, lowest + low, root)
    off_low = flow**0.6 - target
    if off_low >= -_CLOSE * target:
        return velocity
    flow, velocity = _carried(bed_m, side, spacing_m, lowest + high, root)
    while flow < flow_m3s:
        high += least
        flow, velocity = _carried(bed_m, side, spacing_m, lowest + high, root)
    off_high = flow**0.6 - target
    for _ in range(_MOST_STEPS):
        depth = (low * off_high - high * off_low) / (off_high - off_low)
        flow, velocity = _carried(bed_m, side, spacing_m, lowest + depth, root)
        off = flow**0.6 - target
        if abs(off) <= _CLOSE * target:
            break
        # The end that stays is weighted down, or it would never move.
        if off < 0.0:
            low, off_low, off_high = depth, off, 0.5 * off_high
        else:
            high, off_high, off_low = depth, off, 0.5 * off_low
    return velocity


@numba.njit(cache=True)
def reach_velocities(
    row: FloatArray,
    column: FloatArray,
    ground_m: GroundArray,
    cell_m: float,
    flow_m3s: FloatArray,
    width_m: float,
    manning_n: float,
) -> tuple[FloatArray, FloatArray]:
    """Slope and velocity of each reach between stations of a way.

    Parameters
    ----------
    row, column : (n,) fractional, stations about 5 m apart, downhill
    ground_m : (rows, columns) float32, m
    cell_m : m
    flow_m3s : (n − 1,) flow in each reach, m³/s
    width_m : length of the sill: the width that water leaves with and does not spread beyond, m
    manning_n : s/m^(1/3)

    Returns
    -------
    (n − 1,) slope, m/m, not negative; (n − 1,) velocity, m/s
    """
    reaches = row.size - 1
    slope = np.zeros(reaches)
    velocity = np.zeros(reaches)
    bed = np.zeros(_PROFILE_POINTS)
    spacing = width_m / (_PROFILE_POINTS - 1)
    for i in range(reaches):
        east = (column[i + 1] - column[i]) * cell_m
        north = -(row[i + 1] - row[i]) * cell_m
        length = max(np.hypot(east, north), 1e-6)
        upper = bilinear(ground_m, row[i], column[i])
        lower = bilinear(ground_m, row[i + 1], column[i + 1])
        if not (np.isnan(upper) or np.isnan(lower)):
            slope[i] = max(upper - lower, 0.0) / length
        # The water leaves the sill as a level sheet; further down the ground gathers it.
        middle = bilinear(ground_m, row[i + 1], column[i + 1])
        for j in range(_PROFILE_POINTS):
            bed[j] = 0.0
            if i > 0 and not np.isnan(middle):
                off = (j - (_PROFILE_POINTS - 1) / 2.0) * spacing / cell_m
                at = bilinear(
                    ground_m,
                    row[i + 1] - off * east / length,
                    column[i + 1] - off * north / length,
                )
                bed[j] = middle if np.isnan(at) else at
        velocity[i] = normal_velocity_ms(
            bed, spacing, max(slope[i], _GENTLEST), flow_m3s[i], manning_n
        )
    return slope, velocity


def way_maxima(
    first: npt.NDArray[np.int64],
    row: FloatArray,
    column: FloatArray,
    ground_m: GroundArray,
    cell_m: float,
    flow_m3s: FloatArray,
    width_m: FloatArray,
    manning_n: float,
) -> tuple[FloatArray, FloatArray]:
    """Greatest slope and velocity of each of many ways.

    Parameters
    ----------
    first : (ways + 1,) place of each way's first station, and the number of stations
    row, column : (stations,) as in `reach_velocities`, way after way
    ground_m, cell_m, manning_n : as there
    flow_m3s : (stations − ways,) flow in each reach, way after way, m³/s
    width_m : (ways,) length of the sill, m

    Returns
    -------
    (ways,) slope, m/m, and velocity, m/s
    """
    ways = first.size - 1
    steepest, fastest = np.zeros(ways), np.zeros(ways)
    workers = cores()
    # Ways differ in length: each thread takes as many stations, about.
    edges = np.searchsorted(first, np.linspace(0, first[-1], workers + 1))

    def judge(k: int) -> None:
        places = (first, row, column, flow_m3s, width_m)
        _maxima(edges[k], edges[k + 1], *places, ground_m, cell_m, manning_n, steepest, fastest)

    with ThreadPoolExecutor(workers) as threads:
        list(threads.map(judge, range(workers)))
    return steepest, fastest


@numba.njit(cache=True, nogil=True)
def _maxima(
    from_way: int,
    to_way: int,
    first: npt.NDArray[np.int64],
    row: FloatArray,
    column: FloatArray,
    flow_m3s: FloatArray,
    width_m: FloatArray,
    ground_m: GroundArray,
    cell_m: float,
    manning_n: float,
    steepest: FloatArray,
    fastest: FloatArray,
) -> None:
    """Write slope and velocity of some of the ways; see `way_maxima`."""
    for i in range(from_way, to_way):
        own = slice(first[i], first[i + 1])
        slope, velocity = reach_velocities(
            row[own],
            column[own],
            ground_m,
            cell_m,
            # Each way has a reach less than it has stations.
            flow_m3s[first[i] - i : first[i + 1] - i - 1],
            width_m[i],
            manning_n,
        )
        steepest[i], fastest[i] = slope.max(), velocity.max()
