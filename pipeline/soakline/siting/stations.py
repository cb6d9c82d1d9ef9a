"""Stations along lips: where footprints fit, and the runs of line that are left."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.section.reach import FootprintReach
from soakline.section.stations import chainage_of
from soakline.siting.excluded import ExcludedGround, buffered
from soakline.terrain.cells import GeometryArray, burn, cells_of
from soakline.terrain.ground import sample

STATION_M = 2.0

# Ground steeper than the limit by this factor at most may be bridged.
MOST_BRIDGED = 1.1

# Ground under a station of the lip.
OPEN, STEEP, BLOCKED = 0, 1, 2

Int8Array = npt.NDArray[np.int8]


@dataclass(frozen=True, eq=False, slots=True)
class Stations:
    """Points along one line, evenly spaced.

    Parameters
    ----------
    easting_m, northing_m : (n,) m
    along_m : (n,) distance from the line's start, m
    left_east, left_north : (n,) unit vector to the left, which is uphill
    """

    easting_m: FloatArray
    northing_m: FloatArray
    along_m: FloatArray
    left_east: FloatArray
    left_north: FloatArray


def stations_along(line: FloatArray, step_m: float = STATION_M) -> Stations:
    """Stations of a line at an even step, both ends included.

    Parameters
    ----------
    line : (k, 2) m
    step_m : longest step, m

    Returns
    -------
    Stations; the direction at each is the mean over one step to both sides
    """
    along = chainage_of(line)
    count = max(2, int(np.ceil(along[-1] / step_m)) + 1)
    at = np.linspace(0.0, along[-1], count)
    easting = np.interp(at, along, line[:, 0])
    northing = np.interp(at, along, line[:, 1])
    # Central differences inside, one-sided at the ends; the scale does not matter.
    east, north = np.empty(count), np.empty(count)
    for out, place in ((east, easting), (north, northing)):
        out[1:-1] = place[2:] - place[:-2]
        out[0], out[-1] = place[1] - place[0], place[-1] - place[-2]
    size = np.maximum(np.hypot(east, north), 1e-12)
    return Stations(easting, northing, at, -north / size, east / size)


def uphill_is_left(line: FloatArray, ground_m: GroundArray, grid: Grid) -> bool:
    """Whether the higher ground lies on the left of a line, which is drawn so.

    Parameters
    ----------
    line : (k, 2) m
    ground_m : (rows, columns) float32, m
    grid : Grid
    """
    stations = stations_along(line, max(1.0, float(np.hypot(*np.diff(line, axis=0).T).sum()) / 25))
    side = 2.0 * grid.cell_m
    votes = 0.0
    for sign in (1.0, -1.0):
        beside = sample(
            ground_m,
            grid,
            stations.easting_m + sign * side * stations.left_east,
            stations.northing_m + sign * side * stations.left_north,
        )
        votes += sign * float(np.nansum(beside))
    return votes >= 0


def quads(stations: Stations, uphill_m: FloatArray, downhill_m: FloatArray) -> GeometryArray:
    """Strip of the footprint between each station and the next.

    Parameters
    ----------
    stations : Stations, n of them
    uphill_m, downhill_m : (n,) reach on both sides of the lip, m

    Returns
    -------
    (n − 1,) polygons
    """
    up = np.column_stack(
        [
            stations.easting_m + uphill_m * stations.left_east,
            stations.northing_m + uphill_m * stations.left_north,
        ]
    )
    down = np.column_stack(
        [
            stations.easting_m - downhill_m * stations.left_east,
            stations.northing_m - downhill_m * stations.left_north,
        ]
    )
    corners = np.stack([down[:-1], down[1:], up[1:], up[:-1]], axis=1)
    return np.asarray(shapely.polygons(corners), dtype=np.object_)


@dataclass(frozen=True, eq=False, slots=True)
class Siteable:
    """Where lips and footprints may lie, ready to be asked station by station.

    Parameters
    ----------
    grid : Grid
    state : (rows, columns) int8; OPEN, STEEP (may be bridged) or BLOCKED for a lip
    near_exclusion : (rows, columns) bool; only here must the footprint be tested
    slope_pct : (rows, columns) %
    excluded : ExcludedGround
    reach : FootprintReach
    """

    grid: Grid
    state: Int8Array
    near_exclusion: BoolArray
    slope_pct: GroundArray
    excluded: ExcludedGround
    reach: FootprintReach

    def of_lip(self, easting: FloatArray, northing: FloatArray) -> Int8Array:
        """State of the ground under places on a lip."""
        cell = cells_of(self.grid, easting, northing)
        return np.where(cell < 0, BLOCKED, self.state.ravel()[cell]).astype(np.int8)

    def worst_of_lip(self, stations: Stations) -> Int8Array:
        """State of the ground under each station and up to the next ones, the worst that occurs."""
        state = self.of_lip(stations.easting_m, stations.northing_m)
        for share in (0.25, 0.5, 0.75):
            between = self.of_lip(
                stations.easting_m[:-1] + share * np.diff(stations.easting_m),
                stations.northing_m[:-1] + share * np.diff(stations.northing_m),
            )
            np.maximum(state[:-1], between, out=state[:-1])
            np.maximum(state[1:], between, out=state[1:])
        return state

    def reach_at(self, easting: FloatArray, northing: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Uphill and downhill reach of the footprint at places on a lip, m."""
        return self.reach.at(self.slope_at(easting, northing))

    def slope_at(self, easting: FloatArray, northing: FloatArray) -> FloatArray:
        """Slope of the ground at places on a lip, %; 0 where it has none."""
        slope = self.slope_pct.ravel()[cells_of(self.grid, easting, northing)]
        return np.nan_to_num(slope.astype(np.float64))

    def footprint_blocked(self, stations: Stations) -> BoolArray:
        """Steps between stations whose footprint meets excluded ground; (n − 1,) bool."""
        uphill, downhill = self.reach_at(stations.easting_m, stations.northing_m)
        cell = cells_of(self.grid, stations.easting_m, stations.northing_m)
        near = self.near_exclusion.ravel()[cell] | (cell < 0)
        asked = np.flatnonzero(near[:-1] | near[1:])
        blocked = np.zeros(stations.along_m.size - 1, dtype=bool)
        if asked.size == 0:
            return blocked
        strips = quads(stations, uphill, downhill)[asked]
        outside = ~shapely.covers(self.excluded.inner, strips)
        pairs = shapely.STRtree(strips).query(self.excluded.polygons, predicate="intersects")
        outside[pairs[1]] = True
        blocked[asked] = outside
        return blocked


def siteable_ground(
    excluded: ExcludedGround,
    slope_pct: GroundArray,
    max_slope_pct: float,
    reach: FootprintReach,
    grid: Grid,
) -> Siteable:
    """Prepare the ground for asking.

    Parameters
    ----------
    excluded : ExcludedGround
    slope_pct : (rows, columns) %
    max_slope_pct : %; ground up to a tenth steeper may be bridged
    reach : FootprintReach
    grid : Grid

    Returns
    -------
    Siteable
    """
    inside = burn(np.array([excluded.inner]), grid)
    bridgeable = slope_pct <= MOST_BRIDGED * max_slope_pct
    state = np.full(grid.shape, BLOCKED, np.int8)
    state[inside & bridgeable] = STEEP
    state[inside & ~excluded.too_steep & ~np.isnan(slope_pct)] = OPEN
    state[excluded.wet] = BLOCKED
    state[burn(excluded.polygons, grid)] = BLOCKED

    shapely.prepare(excluded.inner)
    room = _room_m(reach, grid)
    near = burn(buffered(excluded.polygons, room), grid, all_touched=True)
    near |= ~burn(np.array([shapely.buffer(excluded.inner, -room)]), grid)
    return Siteable(grid, state, near, slope_pct, excluded, reach)


def _room_m(reach: FootprintReach, grid: Grid) -> float:
    """From a station to ground that its footprint may meet, at most."""
    return float(max(reach.uphill_m.max(), reach.downhill_m.max())) + STATION_M + grid.cell_m


def siteable_beside(siteable: Siteable, taken: GeometryArray) -> Siteable:
    """The same ground less what other works take, which footprints keep out of.

    Parameters
    ----------
    siteable : Siteable
    taken : (n,) polygons
    """
    if taken.size == 0:
        return siteable
    grid, own = siteable.grid, siteable.excluded
    state, near = siteable.state.copy(), siteable.near_exclusion.copy()
    state[burn(taken, grid)] = BLOCKED
    near |= burn(buffered(taken, _room_m(siteable.reach, grid)), grid, all_touched=True)
    excluded = replace(
        own,
        polygons=np.concatenate([own.polygons, taken]),
        polygon_reason=(*own.polygon_reason, *("given_swale",) * taken.size),
    )
    return replace(siteable, state=state, near_exclusion=near, excluded=excluded)


def lies_beside(first: int, last: int, there: BoolArray) -> tuple[bool, bool]:
    """Whether something lies right before a run of stations, and right after it.

    Examples
    --------
    >>> lies_beside(1, 2, np.array([True, False, False, False]))
    (True, False)
    """
    before, after = there[max(first - 1, 0) : first], there[last + 1 : last + 2]
    return bool(before.any()), bool(after.any())


def runs_of(state: Int8Array, step_m: float, gap_limit_m: float) -> list[tuple[int, int]]:
    """Runs of stations that a lip may pass, short steep gaps bridged.

    Parameters
    ----------
    state : (n,) OPEN, STEEP or BLOCKED
    step_m : between stations, m
    gap_limit_m : longest steep gap that is bridged, m

    Returns
    -------
    first and last station of each run; both are OPEN

    Examples
    --------
    >>> runs_of(np.array([0, 0, 1, 0, 2, 0, 1, 1, 1, 0], dtype=np.int8), 1.0, 3.0)
    [(0, 3), (5, 5), (9, 9)]
    """
    open_at = np.flatnonzero(state == OPEN)
    if open_at.size == 0:
        return []
    blocked_before = np.cumsum(state == BLOCKED)
    step = np.diff(open_at)
    joined = (blocked_before[open_at[1:]] == blocked_before[open_at[:-1]]) & (
        (step == 1) | (step * step_m <= gap_limit_m)
    )
    breaks = np.flatnonzero(~joined)
    firsts = open_at[np.concatenate([[0], breaks + 1])]
    lasts = open_at[np.concatenate([breaks, [open_at.size - 1]])]
    return [(int(a), int(b)) for a, b in zip(firsts, lasts, strict=True)]
