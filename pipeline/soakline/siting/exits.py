"""Where each swale could spill: stretches of lip fit for a sill, and the way down from each."""

from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.siting.ends import EndMap
from soakline.siting.lines import LipLine
from soakline.siting.stations import Stations, stations_along
from soakline.siting.stretches import Stretch, places_on, sill_stretches
from soakline.terrain.cells import cells_of
from soakline.terrain.compass import COLUMN_STEP, DISTANCE_CELLS, END, ROW_STEP, VOID
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import LabelArray

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


@numba.njit(cache=True)
def _walk(
    direction: Uint8Array,
    goal: LabelArray,
    marks: Uint8Array,
    starts: npt.NDArray[np.int64],
) -> tuple[npt.NDArray[np.int32], FloatArray, Uint8Array]:
    """End, length in cells and marks of the way down from each start."""
    columns = direction.shape[1]
    found = np.zeros(starts.size, np.int32)
    way = np.zeros(starts.size)
    passed = np.zeros(starts.size, np.uint8)
    for i in range(starts.size):
        row, column = starts[i] // columns, starts[i] % columns
        while True:
            passed[i] |= marks[row, column]
            if goal[row, column] != 0:
                found[i] = goal[row, column]
                break
            k = direction[row, column]
            if k == END or k == VOID:
                break
            way[i] += 1.0 if k % 2 == 0 else 1.4142135623730951
            row += ROW_STEP[k]
            column += COLUMN_STEP[k]
    return found, way, passed


@numba.njit(cache=True)
def way_stations(
    direction: Uint8Array,
    goal: LabelArray,
    sill_row: float,
    sill_column: float,
    start: int,
    cell_m: float,
    spacing_m: float,
) -> tuple[FloatArray, FloatArray]:
    """Stations of a way along the cells' directions, from the sill to the end that it meets.

    Parameters
    ----------
    direction : (rows, columns) uint8
    goal : (rows, columns) int32; a way stops where it is not 0
    sill_row, sill_column : fractional place of the sill
    start : flat index of the first cell below the lip
    cell_m, spacing_m : m

    Returns
    -------
    rows and columns, (n,), n ≥ 2
    """
    columns = direction.shape[1]
    rows_out = [sill_row]
    columns_out = [sill_column]
    row, column = start // columns, start % columns
    since = np.hypot(row - sill_row, column - sill_column) * cell_m
    while True:
        k = direction[row, column]
        last = goal[row, column] != 0 or k == END or k == VOID
        if last or since >= spacing_m - 1e-9:
            rows_out.append(float(row))
            columns_out.append(float(column))
            since = 0.0
        if last:
            break
        since += DISTANCE_CELLS[k] * cell_m
        row += ROW_STEP[k]
        column += COLUMN_STEP[k]
    return np.array(rows_out), np.array(columns_out)


def _first_below(
    stations: Stations,
    at: npt.NDArray[np.int64],
    clear_m: float,
    burnt: LabelArray,
    own: int,
    grid: Grid,
) -> npt.NDArray[np.int64]:
    """First cell straight below the lip that is clear of the mound; −1 where there is none near.

    Water leaves through the gap in the mound, so its way is followed only from beyond the toe.
    """
    start = np.full(at.size, -1, dtype=np.int64)
    for steps in (1.0, 1.5, 2.0, 2.5, 3.0):
        reach = max(clear_m + (steps - 0.5) * grid.cell_m, steps * grid.cell_m)
        cell = cells_of(
            grid,
            stations.easting_m[at] - reach * stations.left_east[at],
            stations.northing_m[at] - reach * stations.left_north[at],
        )
        take = (start < 0) & (cell >= 0) & (burnt.ravel()[cell] != own)
        start[take] = cell[take]
    return start


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
    nearest = np.clip(np.rint(along / step).astype(np.int64), 0, stations.along_m.size - 1)
    easting = np.interp(along, stations.along_m, stations.easting_m)
    northing = np.interp(along, stations.along_m, stations.northing_m)
    start = _first_below(stations, nearest, clear_m, burnt, swale + 1, grid)
    goal, way, passed = _walk(direction, end_map.goal, marks, np.maximum(start, 0))
    row, column = grid.row_column(easting, northing)
    met = [j for j in range(len(places)) if start[j] >= 0 and goal[j] != swale + 1]
    followed = {
        j: way_stations(
            direction, end_map.goal, row[j], column[j], int(start[j]), grid.cell_m, REACH_M
        )
        for j in met
    }
    return [
        Exit(
            swale=swale,
            along_m=places[j][1],
            stretch=places[j][0],
            at_end=places[j][2],
            start_cell=int(start[j]),
            goal=int(goal[j]),
            way_m=float(way[j]) * grid.cell_m,
            forbidden=bool(passed[j] & FORBIDDEN),
            crosses_track=bool(passed[j] & TRACK),
            station_row=followed[j][0],
            station_column=followed[j][1],
        )
        for j in met
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
) -> list[list[Exit]]:
    """Every place to try on every lip.

    Parameters
    ----------
    lines : lips, in the order of their numbers
    clear_m : (lines,) from the lip to the mound's toe, m
    ground_m : (rows, columns) float32, m
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
            for stretch in sill_stretches(stations, line.level_m, ground_m, grid)
            for at, at_end in places_on(stretch, length, line.closed)
        ]
        exits.append(
            exits_at(stations, i, places, float(clear_m[i]), burnt, end_map, direction, marks, grid)
            if places
            else []
        )
    return exits
