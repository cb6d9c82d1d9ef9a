"""Where each swale could spill: stretches of lip fit for a sill, and the way down from each."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.inputs.types import IndexArray
from soakline.section.stations import starts_of
from soakline.siting.ends import EndMap
from soakline.siting.lines import LipLine
from soakline.siting.stations import Stations, stations_along
from soakline.siting.stretches import Stretch, places_on, sill_stretches, without
from soakline.siting.ways_down import LipPlaces, WaysDown, ways_down
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import LabelArray

# Marks of cells that a way passes.
FORBIDDEN, TRACK = 1, 2

# A way is judged over reaches of this length.
REACH_M = 5.0

_SAMPLE_M = 0.5
# A swale takes water only from one that stands at least this much higher.
_LEAST_FALL_M = 0.02


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
    crosses_track : whether the way does
    arrival : row and column of the last cell
    """

    swale: int
    along_m: float
    stretch: Stretch
    at_end: bool
    start_cell: int
    goal: int
    way_m: float
    crosses_track: bool
    arrival: tuple[float, float]


@dataclass(frozen=True, eq=False, slots=True)
class Exits:
    """Places where swales could spill, in flat arrays, swale after swale; n of them.

    Parameters
    ----------
    first : (swales + 1,) place of each swale's first exit, and the number of exits
    leads_off : (swales,) bool; whether water could leave it at all, if only where it may not
    swale, along_m, at_end, start_cell, goal, way_m, crosses_track : (n,) as of `Exit`
    start_m, end_m, cut_in : (n,) as of its `Stretch`
    first_station : (n + 1,) place of each way's first station, and the number of stations
    station_row, station_column : (stations,) fractional; the place, and the way about every 5 m
    """

    first: IndexArray
    leads_off: BoolArray
    swale: IndexArray
    along_m: FloatArray
    start_m: FloatArray
    end_m: FloatArray
    cut_in: BoolArray
    at_end: BoolArray
    start_cell: IndexArray
    goal: IndexArray
    way_m: FloatArray
    crosses_track: BoolArray
    first_station: IndexArray
    station_row: FloatArray
    station_column: FloatArray

    def one(self, j: int) -> Exit:
        """The exit at a place in the arrays."""
        last = self.first_station[j + 1] - 1
        return Exit(
            swale=int(self.swale[j]),
            along_m=float(self.along_m[j]),
            stretch=Stretch(float(self.start_m[j]), float(self.end_m[j]), bool(self.cut_in[j])),
            at_end=bool(self.at_end[j]),
            start_cell=int(self.start_cell[j]),
            goal=int(self.goal[j]),
            way_m=float(self.way_m[j]),
            crosses_track=bool(self.crosses_track[j]),
            arrival=(float(self.station_row[last]), float(self.station_column[last])),
        )

    def only(self, kept: BoolArray) -> "Exits":
        """Some of the exits alone; `kept` (n,)."""
        count = np.diff(self.first_station)
        of_station = np.repeat(kept, count)
        lips = self.first.size - 1
        return Exits(
            first=starts_of(np.bincount(self.swale[kept], minlength=lips).astype(np.int64)),
            leads_off=self.leads_off,
            **{
                name: getattr(self, name)[kept]
                for name in (
                    *("swale", "along_m", "start_m", "end_m", "cut_in", "at_end"),
                    *("start_cell", "goal", "way_m", "crosses_track"),
                )
            },
            first_station=starts_of(count[kept]),
            station_row=self.station_row[of_station],
            station_column=self.station_column[of_station],
        )


def lip_stations(lines: Sequence[LipLine]) -> list[Stations]:
    """Stations of lips, as close as places to spill are looked for."""
    return [stations_along(line.coordinates, _SAMPLE_M) for line in lines]


def lip_places(
    lines: Sequence[LipLine], stations: Sequence[Stations], clear_m: FloatArray, grid: Grid
) -> LipPlaces:
    """Lips ready to be asked; stations of `lip_stations`, `clear_m` to their mounds' toes."""

    def joined(name: str) -> FloatArray:
        return np.concatenate([np.zeros(0), *(getattr(own, name) for own in stations)])

    row, column = grid.row_column(joined("easting_m"), joined("northing_m"))
    return LipPlaces(
        start=starts_of(np.array([own.along_m.size for own in stations], dtype=np.int64)),
        along_m=joined("along_m"),
        row=row,
        column=column,
        up_row=-joined("left_north"),
        up_column=joined("left_east"),
        clear_m=clear_m,
        level_m=np.array([line.level_m for line in lines], dtype=float),
    )


@dataclass(frozen=True, eq=False, slots=True)
class WayGround:
    """The ground that ways run over, and the marks that tell where they may.

    Parameters
    ----------
    places : LipPlaces
    burnt : (rows, columns) int32, cells of the lips
    end_map : EndMap
    direction : (rows, columns) uint8
    marks : (rows, columns) uint8; FORBIDDEN and TRACK where a way may not pass or crosses a track
    grid : Grid
    """

    places: LipPlaces
    burnt: LabelArray
    end_map: EndMap
    direction: Uint8Array
    marks: Uint8Array
    grid: Grid

    def followed(self, swale: IndexArray, along_m: FloatArray) -> WaysDown:
        """Ways from places of lips; (n,) lip of each and where on it, m."""
        return WaysDown(
            *ways_down(
                swale,
                along_m,
                self.places,
                self.burnt,
                self.end_map.goal,
                self.direction,
                self.marks,
                self.grid.cell_m,
                REACH_M,
            )
        )

    def usable(self, swale: int, goal: int, passed: int) -> bool:
        """Whether a way may be taken: not back to its own swale or to a higher one, nor over
        forbidden ground.
        """
        if goal < 0 or passed & FORBIDDEN:
            return False
        # Swales are the first ends, in their order: value k + 1 of the map is swale k.
        level = self.places.level_m
        return goal == 0 or goal > level.size or level[goal - 1] < level[swale] - _LEAST_FALL_M

    def exit_at(self, stretch: Stretch, swale: int, along_m: float, at_end: bool) -> Exit | None:
        """Exit at a place of a lip; None where it may not be taken."""
        way = self.followed(np.array([swale]), np.array([along_m]))
        goal, passed = int(way.goal[0]), int(way.passed[0])
        if not self.usable(swale, goal, passed):
            return None
        return Exit(
            swale=swale,
            along_m=along_m,
            stretch=stretch,
            at_end=at_end,
            start_cell=int(way.start_cell[0]),
            goal=goal,
            way_m=float(way.way_m[0]),
            crosses_track=bool(passed & TRACK),
            arrival=(float(way.station_row[-1]), float(way.station_column[-1])),
        )


Place = tuple[int, float, Stretch, bool]
"""Lip, m along it, the stretch that this lies on, and whether it counts as an end of the swale."""


def exits_at(ground: WayGround, places: Sequence[Place]) -> Exits:
    """Exits at given places of lips.

    Parameters
    ----------
    ground : WayGround
    places : lip after lip

    Returns
    -------
    those that may be taken
    """
    swale = np.array([lip for lip, _, _, _ in places], dtype=np.int64)
    along_m = np.array([at for _, at, _, _ in places], dtype=float)
    way = ground.followed(swale, along_m)
    usable = [
        ground.usable(*of)
        for of in zip(swale.tolist(), way.goal.tolist(), way.passed.tolist(), strict=True)
    ]
    lips = ground.places.level_m.size
    every = Exits(
        first=starts_of(np.bincount(swale, minlength=lips).astype(np.int64)),
        leads_off=np.bincount(swale[way.goal >= 0], minlength=lips) > 0,
        swale=swale,
        along_m=along_m,
        start_m=np.array([own.start_m for _, _, own, _ in places], dtype=float),
        end_m=np.array([own.end_m for _, _, own, _ in places], dtype=float),
        cut_in=np.array([own.cut_in for _, _, own, _ in places], dtype=bool),
        at_end=np.array([at_end for _, _, _, at_end in places], dtype=bool),
        start_cell=way.start_cell,
        goal=way.goal,
        way_m=way.way_m,
        crosses_track=(way.passed & TRACK) > 0,
        first_station=way.first,
        station_row=way.station_row,
        station_column=way.station_column,
    )
    return every.only(np.array(usable, dtype=bool))


def find_exits(
    lines: Sequence[LipLine],
    stations: Sequence[Stations],
    ground: WayGround,
    ground_m: GroundArray,
    taken_m: Sequence[Sequence[tuple[float, float]]],
) -> Exits:
    """Every place to try on every lip.

    Parameters
    ----------
    lines : lips, in the order of their numbers
    stations : of each, of `lip_stations`
    ground : WayGround beside them
    ground_m : (rows, columns) float32, m
    taken_m : of each lip, stretches that tracks take, from and to along it, m; no sill lies there

    Returns
    -------
    the exits along the lips, those that may be taken
    """
    places = [
        (i, at, stretch, at_end)
        for i, (line, own) in enumerate(zip(lines, stations, strict=True))
        for stretch in without(sill_stretches(own, line.level_m, ground_m, ground.grid), taken_m[i])
        for at, at_end in places_on(stretch, float(own.along_m[-1]), line.closed)
    ]
    return exits_at(ground, places)
