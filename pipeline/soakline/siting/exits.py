"""Where each swale could spill: stretches of lip fit for a sill, and the way down from each."""

from collections.abc import Sequence
from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.siting.ends import EndMap
from soakline.siting.lines import LipLine
from soakline.siting.stations import Stations, stations_along
from soakline.siting.stretches import Stretch, places_on, sill_stretches, without
from soakline.terrain.compass import COLUMN_STEP, DISTANCE_CELLS, END, ROW_STEP, VOID
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import LabelArray

IndexArray = npt.NDArray[np.int64]

# Marks of cells that a way passes.
FORBIDDEN, TRACK = 1, 2

# A way is judged over reaches of this length.
REACH_M = 5.0

_SAMPLE_M = 0.5


@dataclass(frozen=True, eq=False, slots=True)
class Exit:
    """One place where a swale could spill, and where the water would arrive.

    Parameters
    ----------
    swale : index
    along_m : on the lip, m
    stretch : that it lies on
    at_end : whether it lies at an end of the swale
    start_cell : flat index of the first cell below the lip
    goal : number of the end met, 0 where none is met
    way_m : length of the way, m
    forbidden, crosses_track : what the way passes
    station_row, station_column : (n,) fractional; the place, and the way about every 5 m
    """

    swale: int
    along_m: float
    stretch: Stretch
    at_end: bool
    start_cell: int
    goal: int
    way_m: float
    forbidden: bool
    crosses_track: bool
    station_row: FloatArray
    station_column: FloatArray


@numba.njit(cache=True, nogil=True)
def _first_below(
    row: float,
    column: float,
    left_row: float,
    left_column: float,
    clear_cells: float,
    burnt: LabelArray,
    own: int,
) -> tuple[int, int]:
    """First cell straight below the lip that is clear of the mound; −1, −1 where none is near.

    Water leaves through the gap in the mound, so its way is followed only from beyond the toe.
    """
    for steps in (1.0, 1.5, 2.0, 2.5, 3.0):
        reach = max(clear_cells + steps - 0.5, steps)
        r, c = round(row - reach * left_row), round(column - reach * left_column)
        inside = 0 <= r < burnt.shape[0] and 0 <= c < burnt.shape[1]
        if inside and burnt[r, c] != own:
            return r, c
    return -1, -1


@numba.njit(cache=True, nogil=True)
def ways_down(
    places: FloatArray,
    clear_m: float,
    own: int,
    burnt: LabelArray,
    goal: LabelArray,
    direction: Uint8Array,
    marks: Uint8Array,
    cell_m: float,
    spacing_m: float,
) -> tuple[IndexArray, IndexArray, IndexArray, FloatArray, Uint8Array, FloatArray, FloatArray]:
    """Follow the cells' directions from places on a lip to the ends that they meet.

    Parameters
    ----------
    places : (6, n) row and column of each place, fractional; the same of the station of the lip
        next to it; and which way is uphill there
    clear_m : from the lip to the mound's toe, m
    own : number of the lip among the burnt ones, and of the end that it is
    burnt, goal, direction, marks : (rows, columns); a way stops where `goal` is not 0
    cell_m : m
    spacing_m : between stations of a way, m

    Returns
    -------
    (n,) end met, 0 for none, −1 where the way does not get clear of the lip, or leads back to it;
    (n,) flat index of the first cell below the lip; (n + 1,) place of each way's first station;
    (n,) length, m; (n,) marks passed; rows and columns of the stations, fractional, the sill first
    """
    count = places.shape[1]
    found, start = np.full(count, -1), np.full(count, -1)
    first = np.zeros(count + 1, np.int64)
    way_m = np.zeros(count)
    passed = np.zeros(count, np.uint8)
    rows_out, columns_out = [0.0][:0], [0.0][:0]
    for i in range(count):
        first[i] = len(rows_out)
        sill_row, sill_column, near_row, near_column, left_row, left_column = places[:, i]
        row, column = _first_below(
            near_row, near_column, left_row, left_column, clear_m / cell_m, burnt, own
        )
        if row < 0:
            continue
        start[i] = row * direction.shape[1] + column
        rows_out.append(sill_row)
        columns_out.append(sill_column)
        since_m = np.hypot(row - sill_row, column - sill_column) * cell_m
        way_m[i] = since_m
        while True:
            passed[i] |= marks[row, column]
            k = direction[row, column]
            last = goal[row, column] != 0 or k == END or k == VOID
            if last or since_m >= spacing_m - 1e-9:
                rows_out.append(float(row))
                columns_out.append(float(column))
                since_m = 0.0
            if last:
                break
            way_m[i] += DISTANCE_CELLS[k] * cell_m
            since_m += DISTANCE_CELLS[k] * cell_m
            row += ROW_STEP[k]
            column += COLUMN_STEP[k]
        found[i] = goal[row, column] if goal[row, column] != own else -1
    first[-1] = len(rows_out)
    return found, start, first, way_m, passed, np.array(rows_out), np.array(columns_out)


def lip_stations(line: LipLine) -> Stations:
    """Stations of a lip, as close as places to spill are looked for."""
    return stations_along(line.coordinates, _SAMPLE_M)


def exits_at(
    stations: Stations,
    swale: int,
    places: list[tuple[Stretch, float, bool]],
    clear_m: float,
    burnt: LabelArray,
    end_map: EndMap,
    direction: Uint8Array,
    marks: Uint8Array,
    grid: Grid,
) -> list[Exit]:
    """Exits at given places of a lip.

    Parameters
    ----------
    stations : of the lip, by `lip_stations`
    swale : its index
    places : stretch, distance along the lip in m, and whether it counts as an end of the swale
    clear_m : from the lip to the mound's toe, m
    burnt : (rows, columns) int32, cells of the lips
    end_map : EndMap
    direction : (rows, columns) uint8
    marks : (rows, columns) uint8; FORBIDDEN and TRACK where a way may not pass or crosses a track
    grid : Grid

    Returns
    -------
    the exits; ways back into the own swale are left out
    """
    along = np.array([at for _, at, _ in places])
    step = float(stations.along_m[1])
    near = np.clip(np.rint(along / step).astype(np.int64), 0, stations.along_m.size - 1)
    sill = (
        np.interp(along, stations.along_m, stations.easting_m),
        np.interp(along, stations.along_m, stations.northing_m),
    )
    beside = grid.row_column(stations.easting_m[near], stations.northing_m[near])
    uphill = (-stations.left_north[near], stations.left_east[near])
    found, start, first, way_m, passed, station_row, station_column = ways_down(
        np.array([*grid.row_column(*sill), *beside, *uphill]),
        clear_m,
        swale + 1,
        burnt,
        end_map.goal,
        direction,
        marks,
        grid.cell_m,
        REACH_M,
    )
    return [
        Exit(
            swale=swale,
            along_m=at,
            stretch=stretch,
            at_end=at_end,
            start_cell=int(start[j]),
            goal=int(found[j]),
            way_m=float(way_m[j]),
            forbidden=bool(passed[j] & FORBIDDEN),
            crosses_track=bool(passed[j] & TRACK),
            station_row=station_row[first[j] : first[j + 1]],
            station_column=station_column[first[j] : first[j + 1]],
        )
        for j, (stretch, at, at_end) in enumerate(places)
        if found[j] >= 0
    ]


def find_exits(
    lines: list[LipLine],
    clear_m: FloatArray,
    burnt: LabelArray,
    end_map: EndMap,
    direction: Uint8Array,
    marks: Uint8Array,
    ground_m: GroundArray,
    grid: Grid,
    taken_m: Sequence[Sequence[tuple[float, float]]],
) -> list[list[Exit]]:
    """Every place to try on every lip.

    Parameters
    ----------
    lines : lips, in the order of their numbers
    clear_m : (lines,) from the lip to the mound's toe, m
    ground_m : (rows, columns) float32, m
    taken_m : of each lip, stretches that tracks take, from and to along it, m; no sill lies there
    others : as in `exits_at`

    Returns
    -------
    for each lip its exits along the lip
    """
    exits: list[list[Exit]] = []
    for i, line in enumerate(lines):
        stations = lip_stations(line)
        length = float(stations.along_m[-1])
        places = [
            (stretch, at, at_end)
            for stretch in without(
                sill_stretches(stations, line.level_m, ground_m, grid), taken_m[i]
            )
            for at, at_end in places_on(stretch, length, line.closed)
        ]
        exits.append(
            exits_at(stations, i, places, float(clear_m[i]), burnt, end_map, direction, marks, grid)
            if places
            else []
        )
    return exits
