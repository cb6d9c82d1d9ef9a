"""Pegs along a lip: where it is set out, and the ground beside each."""

from bisect import bisect_left
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.section.footprint import LipStations
from soakline.terrain.ground import sample

PegKind = Literal["start", "end", "bend", "sill", "line"]

LONGEST_GAP_M = 10.0
# Pegs of two kinds closer than this are one.
_SAME_M = 0.001


@dataclass(frozen=True, eq=False, slots=True)
class Pegs:
    """Pegs of one swale in order of chainage, with the ground beside each.

    Parameters
    ----------
    stations : LipStations at the pegs
    kind : (n,) PegKind
    ground_m : (n,) height of the ground, m
    """

    stations: LipStations
    kind: tuple[PegKind, ...]
    ground_m: FloatArray


def _chainages(vertex_m: FloatArray, sill_m: list[float]) -> tuple[FloatArray, tuple[PegKind, ...]]:
    """Chainage and kind of every peg; gaps filled evenly."""
    length = float(vertex_m[-1])
    kinds: dict[float, PegKind] = {0.0: "start", length: "end"}
    fixed = [0.0, length]
    wanted: list[tuple[PegKind, float]] = [("sill", at) for at in sill_m]
    wanted += [("bend", at) for at in vertex_m[1:-1].tolist()]
    for kind, at in wanted:
        place = bisect_left(fixed, at)
        if all(abs(at - known) > _SAME_M for known in fixed[max(place - 1, 0) : place + 1]):
            fixed.insert(place, at)
            kinds[at] = kind
    for start, end in pairwise(fixed):
        parts = int(np.ceil((end - start) / LONGEST_GAP_M - 1e-9))
        for i in range(1, parts):
            kinds[start + (end - start) * i / parts] = "line"
    chainage = sorted(kinds)
    return np.array(chainage), tuple(kinds[c] for c in chainage)


def set_pegs(
    coordinates: FloatArray,
    level_m: float,
    sill_m: list[float],
    across_m: float,
    ground_m: GroundArray,
    grid: Grid,
) -> Pegs:
    """Pegs at the ends, bends and sills of a lip, and at most 10 m apart.

    Parameters
    ----------
    coordinates : (k, 2) the lip, m
    level_m : m
    sill_m : chainages of sills, m
    across_m : distance over which the slope is measured on either side of the lip, m
    ground_m : (rows, columns) float32, m
    grid : Grid

    Returns
    -------
    Pegs
    """
    vertex_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(coordinates, axis=0).T))])
    chainage, kind = _chainages(vertex_m, sill_m)

    def at(along: FloatArray) -> tuple[FloatArray, FloatArray]:
        inside = np.clip(along, 0.0, vertex_m[-1])
        return (
            np.interp(inside, vertex_m, coordinates[:, 0]),
            np.interp(inside, vertex_m, coordinates[:, 1]),
        )

    easting, northing = at(chainage)
    # The direction at a bend is the mean over a metre to both sides.
    before, after = at(chainage - 1.0), at(chainage + 1.0)
    east, north = after[0] - before[0], after[1] - before[1]
    size = np.maximum(np.hypot(east, north), 1e-9)
    left_east, left_north = -north / size, east / size
    here = sample(ground_m, grid, easting, northing)
    above = sample(ground_m, grid, easting + across_m * left_east, northing + across_m * left_north)
    below = sample(ground_m, grid, easting - across_m * left_east, northing - across_m * left_north)
    # Beyond the edge of the heights the ground is taken to go on as on the other side.
    rise = np.where(np.isnan(above), here - below, above - here)
    fall = np.where(np.isnan(below), above - here, here - below)
    rise, fall = (np.maximum(np.nan_to_num(step), 0.0) / across_m for step in (rise, fall))
    stations = LipStations(
        easting, northing, chainage, left_east, left_north, here - level_m, rise, fall
    )
    return Pegs(stations, kind, here)
