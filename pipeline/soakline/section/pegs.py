"""Pegs along lips: where they are set out, and the ground beside each."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.section.profiles import with_profiles
from soakline.section.stations import (
    Chainages,
    IntArray,
    LipStations,
    on_lips,
    starts_of,
    vertices_of,
)
from soakline.terrain.ground import sample

PegKind = Literal["start", "end", "bend", "sill", "line"]
# Where two kinds fall on one place, the peg is of the kind that stands first here.
_KINDS: tuple[PegKind, ...] = ("start", "end", "sill", "bend", "line")

LONGEST_GAP_M = 10.0
# Pegs of two kinds closer than this are one.
_SAME_M = 0.001


@dataclass(frozen=True, eq=False, slots=True)
class Pegs:
    """Pegs of swales in order of chainage, swale after swale, with the ground beside each.

    Parameters
    ----------
    stations : LipStations at the n pegs
    kind : (n,) PegKind
    ground_m : (n,) height of the ground, m
    """

    stations: LipStations
    kind: npt.NDArray[np.str_]
    ground_m: FloatArray


def _chainages(
    vertices: Chainages, sill_m: Sequence[Sequence[float]]
) -> tuple[Chainages, npt.NDArray[np.str_]]:
    """Chainage and kind of every peg; gaps filled evenly, at whole metres where that fits.

    A tape is read at whole metres, and SQLite keeps them in two bytes, not eight.
    """
    lips = np.arange(vertices.lips)
    sill_lip = np.repeat(lips, [len(own) for own in sill_m])
    bend = np.ones(vertices.along_m.size, dtype=bool)
    bend[vertices.start[:-1]] = bend[vertices.start[1:] - 1] = False
    lip = np.concatenate([lips, lips, sill_lip, vertices.lip[bend]])
    along = np.concatenate(
        [
            np.zeros(lips.size),
            vertices.length_m,
            np.array([at for own in sill_m for at in own], dtype=float),
            vertices.along_m[bend],
        ]
    )
    rank = np.repeat(np.arange(4), [lips.size, lips.size, sill_lip.size, int(bend.sum())])
    order = np.lexsort((rank, along, lip))
    lip, along, rank = lip[order], along[order], rank[order]
    place = np.cumsum((np.diff(lip, prepend=-1) > 0) | (np.diff(along, prepend=-1.0) > _SAME_M))
    order = np.lexsort((rank, place))
    one = order[np.diff(place[order], prepend=0) > 0]
    lip, along, rank = lip[one], along[one], rank[one]
    step = np.where(rank == 1, 0.0, np.diff(along, append=0.0))
    parts = np.maximum(np.ceil(step / LONGEST_GAP_M - 1e-9).astype(np.int64), 1)
    fixed = np.repeat(np.arange(one.size), parts)
    i = np.arange(fixed.size) - starts_of(parts)[fixed]
    low, high = np.floor(along), np.ceil(along + step)
    fits = ((high - low) <= LONGEST_GAP_M * parts)[fixed] & (i > 0)
    whole = low[fixed] + np.floor(i * (high - low)[fixed] / parts[fixed])
    chainage = np.where(fits, whole, along[fixed] + step[fixed] * i / parts[fixed])
    kind = np.array(_KINDS)[np.where(i == 0, rank[fixed], 4)]
    count: IntArray = np.bincount(lip[fixed], minlength=lips.size)
    return Chainages(starts_of(count), chainage), kind


def set_pegs(
    lines: Sequence[FloatArray],
    level_m: FloatArray,
    sill_m: Sequence[Sequence[float]],
    across_m: float,
    uphill_m: float,
    downhill_m: float,
    ground_m: GroundArray,
    grid: Grid,
) -> Pegs:
    """Pegs at the ends, bends and sills of lips, and at most 10 m apart.

    Parameters
    ----------
    lines : (k, 2) of each lip, m
    level_m : (lips,) m
    sill_m : of each lip, chainages of its sills, m
    across_m : distance over which the slope is measured on either side of the lip, m
    uphill_m, downhill_m : least length of the profiles on either side of the lip, m; 0 where nobody
        cuts, or heaps, along them
    ground_m : (rows, columns) float32, m
    grid : Grid

    Returns
    -------
    Pegs
    """
    vertices, place = vertices_of(lines)
    pegs, kind = _chainages(vertices, sill_m)
    lip, chainage = pegs.lip, pegs.along_m

    easting, northing, left_east, left_north = on_lips(vertices, place, lip, chainage)
    here = sample(ground_m, grid, easting, northing)
    above = sample(ground_m, grid, easting + across_m * left_east, northing + across_m * left_north)
    below = sample(ground_m, grid, easting - across_m * left_east, northing - across_m * left_north)
    # Beyond the edge of the heights the ground is taken to go on as on the other side.
    rise = np.where(np.isnan(above), here - below, above - here)
    fall = np.where(np.isnan(below), above - here, here - below)
    rise, fall = (np.maximum(np.nan_to_num(step), 0.0) / across_m for step in (rise, fall))
    level = level_m[lip]
    stations = LipStations(
        pegs,
        easting,
        northing,
        left_east,
        left_north,
        here - level,
        rise,
        fall,
        *(np.empty((lip.size, 0)),) * 2,
    )
    stations = with_profiles(stations, level, uphill_m, downhill_m, ground_m, grid)
    return Pegs(stations, kind, here)
