"""Lines cut back to where their works have room, and bends eased where that costs no length."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import shapely

from soakline.grid import BoolArray, GroundArray
from soakline.inputs.types import IndexArray
from soakline.siting.bends import tight_bends
from soakline.siting.conflicts import meeting_stations
from soakline.siting.given import GivenLips
from soakline.siting.lines import END_ROOM_M, LipLine, PlacingLimits, opened_at
from soakline.siting.lip import ease_lips
from soakline.siting.stations import (
    BLOCKED,
    OPEN,
    Siteable,
    Stations,
    lies_beside,
    runs_of,
    stations_along,
)
from soakline.terrain.cells import cells_of

# A line keeps this share of its interval from lines that belong to another part of the land.
_SEAM_SHARE = 0.95
# A lip that easing its bends would leave less of than this stays as it was, unless more of it than
# that bends too tightly: then it is no line for the machine.
_LEAST_LEFT = 0.98
_MOST_TIGHT = 0.5


def _too_close_below(
    lines: list[LipLine], index: IndexArray, stations: Stations, siteable: Siteable
) -> BoolArray:
    """Stations of a line with a line of another part of the land less than its interval above."""
    close = np.zeros(index.size, dtype=bool)
    group = np.array([line.group for line in lines])
    if np.all(group == group[0]):
        return close
    interval = np.array([line.interval_m for line in lines])
    level = np.array([line.level_m for line in lines])
    cell = cells_of(siteable.grid, stations.easting_m, stations.northing_m)
    slope = np.maximum(np.nan_to_num(siteable.slope_pct.ravel()[cell]), 0.2) / 100.0
    reach = _SEAM_SHARE * interval[index] / slope
    ends = np.stack(
        [
            np.column_stack([stations.easting_m, stations.northing_m]),
            np.column_stack(
                [
                    stations.easting_m + reach * stations.left_east,
                    stations.northing_m + reach * stations.left_north,
                ]
            ),
        ],
        axis=1,
    )
    tree = shapely.STRtree([shapely.LineString(line.coordinates) for line in lines])
    own, other = tree.query(shapely.linestrings(ends), predicate="intersects")
    rise = level[other] - level[index[own]]
    too_close = (
        (group[other] != group[index[own]])
        & (rise > 0.0)
        & (rise < _SEAM_SHARE * interval[index[own]])
    )
    close[own[too_close]] = True
    return close


def trimmed(
    lines: list[LipLine], siteable: Siteable, limits: PlacingLimits, given: GivenLips
) -> Iterator[tuple[int, LipLine]]:
    """Lines cut back to where their footprints are clear of exclusions and of each other.

    Parameters
    ----------
    lines : LipLine
    siteable : Siteable
    limits : PlacingLimits
    given : swales that are there, from which lines keep their interval

    Yields
    ------
    index of the line, and what is left of it, piece by piece
    """
    if not lines:
        return
    own = [stations_along(line.coordinates) for line in lines]
    index = np.repeat(np.arange(len(lines)), [s.along_m.size for s in own])
    together = Stations(
        *(
            np.concatenate([getattr(s, name) for s in own])
            for name in ("easting_m", "northing_m", "along_m", "left_east", "left_north")
        )
    )
    state = np.concatenate([siteable.worst_of_lip(stations) for stations in own])
    joins = index[1:] != index[:-1]
    step_blocked = siteable.footprint_blocked(together) & ~joins
    hard = np.zeros(index.size, dtype=bool)
    hard[:-1] |= step_blocked
    hard[1:] |= step_blocked
    hard |= state == BLOCKED
    hard |= given.too_close(lines, index, together, siteable)
    uphill, downhill = siteable.reach_at(together.easting_m, together.northing_m)
    closed = np.array([line.closed for line in lines])

    # Blocked ground is cut out first, so that it cannot win a conflict.
    live = np.flatnonzero(~hard)
    meets = meeting_stations(
        Stations(*(getattr(together, n)[live] for n in Stations.__slots__)),
        index[live],
        closed,
        uphill[live],
        downhill[live],
    )
    hard[live[meets]] = True
    hard |= _too_close_below(lines, index, together, siteable)
    state[hard] = BLOCKED

    starts = np.searchsorted(index, np.arange(len(lines) + 1))
    for i, line in enumerate(lines):
        here = slice(starts[i], starts[i + 1])
        along, ground, cut = own[i].along_m, state[here], hard[here]
        if line.closed and not (ground != OPEN).any():
            yield i, line
            continue
        opened = line
        if line.closed:
            at = int(np.flatnonzero(ground != OPEN)[0])
            opened = replace(line, coordinates=opened_at(line.coordinates, float(along[at])))
            ground = np.append(np.roll(ground[:-1], -at), ground[at])
            cut = np.append(np.roll(cut[:-1], -at), cut[at])
        step = float(along[1] - along[0])
        for first, last in runs_of(ground, step, limits.gap_limit_m):
            # Beside excluded ground the mound's end needs room of its own.
            before, after = lies_beside(first, last, cut)
            from_m, to_m = along[first] + END_ROOM_M * before, along[last] - END_ROOM_M * after
            if to_m - from_m >= limits.min_length_m:
                yield i, opened.part(float(from_m), float(to_m))


def eased_pieces(
    pieces: list[LipLine],
    siteable: Siteable,
    ground_m: GroundArray,
    limits: PlacingLimits,
    given: GivenLips,
    radius_m: float,
) -> list[LipLine]:
    """Pieces with their tight bends laid anew, but for those that would be cut for it.

    Parameters
    ----------
    pieces : that lie clear of exclusions and of each other
    siteable, limits, given : as of `trimmed`
    ground_m : (rows, columns) float32, m
    radius_m : least that lines may bend by, m

    Notes
    -----
    A line laid anew may come to lie where it has no room. The tolerance and the length that a swale
    serves come before its bends: such a piece stays as it was, and its bend is reported. A piece
    that is little but bends is left to what becomes of it.
    """
    lips = ease_lips(
        [piece.coordinates for piece in pieces],
        np.array([piece.level_m for piece in pieces], dtype=float),
        np.array([piece.closed for piece in pieces], dtype=bool),
        ground_m,
        siteable.grid,
        limits.ground_tolerance_m,
        radius_m,
        siteable.of_lip,
        limits.min_length_m,
    )
    if all(lip is piece.coordinates for lip, piece in zip(lips, pieces, strict=True)):
        return pieces
    eased = [replace(piece, coordinates=lip) for piece, lip in zip(pieces, lips, strict=True)]
    left_m = np.zeros(len(pieces))
    for i, piece in trimmed(eased, siteable, limits, given):
        left_m[i] += piece.length_m
    chosen = [
        new if left >= _LEAST_LEFT * new.length_m or _is_crooked(old, radius_m) else old
        for new, old, left in zip(eased, pieces, left_m.tolist(), strict=True)
    ]
    return [piece for _, piece in trimmed(chosen, siteable, limits, given)]


def _is_crooked(line: LipLine, radius_m: float) -> bool:
    tight_m = tight_bends(line.coordinates, radius_m).length_m
    return tight_m > _MOST_TIGHT * line.length_m
