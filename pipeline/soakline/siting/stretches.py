"""Stretches of a lip that can carry a sill, and the places on them to try."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.inputs.types import IndexArray
from soakline.section.stretches import SHORTEST_MOUND_M
from soakline.siting.band import SILL_BAND_M
from soakline.siting.stations import Stations
from soakline.terrain.ground import sample

_INNER_SPACING_M = 30.0
# A short stretch has two inner places, as far as they stand this far apart.
_INNER_PLACES, _LEAST_SPACING_M = 2, 5.0
# Within this of the lip's end a stretch counts as lying at the end.
AT_END_M = 3.0
_FALLS_WITHIN_M = 3.0
_DEEPEST_CUT_M = 0.15
_SHORTEST_M = 1.0
# Ground between two stations is not quite straight.
_SURE_M = 0.001
# Between a sill and a track the shortest mound that is heaped finds room: else the water that
# stands over the sill would leave beside the track.
_CLEAR_M = SHORTEST_MOUND_M + 0.05


@dataclass(frozen=True, eq=False, slots=True)
class Stretch:
    """A run of lip that can carry a sill.

    Parameters
    ----------
    start_m, end_m : along the lip, m
    cut_in : ground stands higher over the level than a sill wants, so that it must be cut through
    """

    start_m: float
    end_m: float
    cut_in: bool


def _runs(margin_m: FloatArray, along_m: FloatArray, cut_in: bool) -> list[Stretch]:
    """Runs of stations with some margin; one too short so ends between stations, where that does.

    The least of several margins bulges between stations: a run ends no later than it should.
    """
    fit = margin_m >= 0.0
    edges = np.diff(np.concatenate([[0], fit.astype(np.int8), [0]]))
    firsts, lasts = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1

    def reached(inner: IndexArray, outer: IndexArray) -> FloatArray:
        """Places between the last fit stations and their neighbours, m; the lip's ends as such."""
        outer = np.clip(outer, 0, fit.size - 1)
        beyond = np.where(fit[outer], -np.inf, margin_m[outer])
        share = np.maximum(margin_m[inner] - _SURE_M, 0.0) / (margin_m[inner] - beyond)
        return np.asarray(along_m[inner] + share * (along_m[outer] - along_m[inner]))

    starts, ends = along_m[firsts], along_m[lasts]
    short = ends - starts < _SHORTEST_M
    starts[short] = reached(firsts[short], firsts[short] - 1)
    ends[short] = reached(lasts[short], lasts[short] + 1)
    return [
        Stretch(start, end, cut_in)
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True)
        if end - start >= _SHORTEST_M
    ]


def sill_stretches(
    stations: Stations, level_m: float, ground_m: GroundArray, grid: Grid
) -> list[Stretch]:
    """Stretches of a lip where ground lies 0 to 0.05 m over the level and falls at once below.

    Parameters
    ----------
    stations : Stations of the lip, about 1 m apart
    level_m : m
    ground_m : (rows, columns) float32, m
    grid : Grid

    Returns
    -------
    stretches of 1 m and more along the lip; after them those with up to 0.15 m to cut through
    """
    above = sample(ground_m, grid, stations.easting_m, stations.northing_m) - level_m
    below_m = max(_FALLS_WITHIN_M, 1.5 * grid.cell_m)
    below = sample(
        ground_m,
        grid,
        stations.easting_m - below_m * stations.left_east,
        stations.northing_m - below_m * stations.left_north,
    )
    falls_by = np.where(below < level_m, level_m - below, -np.inf)
    natural = np.minimum(np.minimum(above, SILL_BAND_M - above), falls_by)
    to_cut = np.minimum(np.minimum(above, _DEEPEST_CUT_M - above), falls_by)
    to_cut[natural >= 0.0] = -np.inf
    # Off the DEM nothing is fit.
    return [
        *_runs(np.nan_to_num(natural, nan=-np.inf), stations.along_m, cut_in=False),
        *_runs(np.nan_to_num(to_cut, nan=-np.inf), stations.along_m, cut_in=True),
    ]


def without(stretches: list[Stretch], taken_m: Sequence[tuple[float, float]]) -> list[Stretch]:
    """Stretches less parts of the lip that are taken, with room for a mound between.

    Parameters
    ----------
    stretches : of one lip
    taken_m : from and to along the lip, m

    Returns
    -------
    what is left of them, 1 m and more

    Examples
    --------
    >>> [(s.start_m, s.end_m) for s in without([Stretch(0.0, 20.0, False)], [(8.0, 12.0)])]
    [(0.0, 4.95), (15.05, 20.0)]
    """
    for start, end in taken_m:
        low, high = start - _CLEAR_M, end + _CLEAR_M
        parts = [
            part
            for own in stretches
            for part in (
                (own,)
                if own.end_m <= low or own.start_m >= high
                else (
                    replace(own, end_m=min(own.end_m, low)),
                    replace(own, start_m=max(own.start_m, high)),
                )
            )
        ]
        stretches = [part for part in parts if part.end_m - part.start_m >= _SHORTEST_M]
    return stretches


def places_on(stretch: Stretch, length_m: float, closed: bool) -> list[tuple[float, bool]]:
    """Places to try on a stretch: both of its ends, and some between."""
    span_m = stretch.end_m - stretch.start_m
    inner = max(
        int(span_m // _INNER_SPACING_M), min(_INNER_PLACES, int(span_m // _LEAST_SPACING_M))
    )
    between = np.linspace(stretch.start_m, stretch.end_m, inner + 2)
    return [
        (float(at), not closed and (at <= AT_END_M or at >= length_m - AT_END_M)) for at in between
    ]
