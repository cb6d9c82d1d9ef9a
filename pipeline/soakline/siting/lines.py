"""Lips as lines: what they carry along, and how they are cut, opened and put in order."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from itertools import count

import numpy as np

from soakline.grid import FloatArray
from soakline.ids import swale_id
from soakline.inputs.types import SwaleState
from soakline.section.stations import chainage_of
from soakline.section.stretches import Span
from soakline.section.trench import Trench

# The mound turns uphill round the end of the trench: room beyond the lip's end.
END_ROOM_M = 1.5
# Between the ends of two lips on one level line, along the line: 5 m straight, bends included,
# which leaves 2 m between the mounds' ends.
END_GAP_M = 5.5


def identity_of(lines: Sequence["LipLine"]) -> tuple[object, ...]:
    """All that lips are, in few pieces: what a key is made of."""
    names = [field.name for field in fields(LipLine) if field.name != "coordinates"]
    places = [line.coordinates for line in lines]
    return (
        np.concatenate([np.zeros((0, 2)), *places]),
        np.array([len(place) for place in places], dtype=np.int64),
        repr([[getattr(line, name) for name in names] for line in lines]),
    )


def part_of(line: FloatArray, start_m: float, end_m: float) -> FloatArray:
    """The part of a line between two distances along it."""
    along = chainage_of(line)
    inside = (along > start_m + 1e-6) & (along < end_m - 1e-6)
    at = np.concatenate([[start_m], along[inside], [end_m]])
    return np.column_stack([np.interp(at, along, line[:, 0]), np.interp(at, along, line[:, 1])])


def evenly(line: FloatArray, step_m: float) -> FloatArray:
    """Points of a line at an even distance along it, both ends kept.

    Parameters
    ----------
    line : (points, 2) m
    step_m : the distance asked for; the one used divides the length evenly, m

    Returns
    -------
    (n, 2) m
    """
    along = chainage_of(line)
    count = max(2, round(along[-1] / step_m) + 1)
    at = np.linspace(0.0, along[-1], count)
    return np.column_stack([np.interp(at, along, line[:, 0]), np.interp(at, along, line[:, 1])])


@dataclass(frozen=True, eq=False, slots=True)
class LipLine:
    """A downhill lip, uphill side on the left.

    Parameters
    ----------
    level_m : full-water level, m
    interval_m : tree height that the series of levels was laid for, m
    coordinates : (k, 2) easting and northing, m; a closed one repeats its start
    closed : whether it still is a whole ring
    group : part of the land whose series it belongs to
    swale_id : id of the swale; "" until lips are numbered
    state : `planned` by the rule, or given: `fixed`, or `built` already
    section : as it was dug; None where it is still to be chosen
    """

    level_m: float
    interval_m: float
    coordinates: FloatArray
    closed: bool
    group: int = 0
    swale_id: str = ""
    state: SwaleState = "planned"
    section: Trench | None = None

    @property
    def given(self) -> bool:
        """Whether the line is kept as it was given."""
        return self.state != "planned"

    def part(self, start_m: float, end_m: float) -> "LipLine":
        """The piece between two distances along the line, no ring any more."""
        return replace(self, coordinates=part_of(self.coordinates, start_m, end_m), closed=False)

    @property
    def length_m(self) -> float:
        return float(np.hypot(*np.diff(self.coordinates, axis=0).T).sum())


@dataclass(frozen=True, slots=True)
class PlacingLimits:
    """Keys of the run file that shape the pieces; m."""

    min_length_m: float
    max_length_m: float
    gap_limit_m: float
    ground_tolerance_m: float


def opened_at(ring: FloatArray, along_m: float) -> FloatArray:
    """A closed line started at another place, along it from its present start; m."""
    if along_m <= 0.0:
        return ring
    length = float(np.hypot(*np.diff(ring, axis=0).T).sum())
    return np.vstack([part_of(ring, along_m, length), part_of(ring, 0.0, along_m)[1:]])


def in_order(lines: list[LipLine]) -> list[LipLine]:
    """Lines as they are numbered: highest level first, then from west to east."""
    return sorted(lines, key=lambda p: (-p.level_m, *p.coordinates[0], *p.coordinates[-1]))


def unused_ids(used: Sequence[str]) -> Iterator[str]:
    """Ids by number, those left out that swales hold already.

    Examples
    --------
    >>> ids = unused_ids(["S001", "dam swale", "S003"])
    >>> next(ids), next(ids)
    ('S002', 'S004')
    """
    return (own for own in map(swale_id, count()) if own not in used)


def cut_where(
    lines: Sequence[LipLine], span_of: Callable[[LipLine], Span | None], least_m: float
) -> list[LipLine]:
    """What is left of lips when stretches are cut out of them until there is none to cut.

    Parameters
    ----------
    lines : LipLine
    span_of : next stretch to cut out of a lip, from and to, m along it; None where it stays
    least_m : shorter pieces are left out

    Returns
    -------
    the pieces, in no order
    """
    whole, to_cut = [], list(lines)
    while to_cut:
        pieces: list[LipLine] = []
        for line in to_cut:
            span = span_of(line)
            if span is None:
                whole.append(line)
            else:
                pieces += [own for own in cut_out(line, *span) if own.length_m >= least_m]
        to_cut = pieces
    return whole


def numbered(lines: list[LipLine]) -> list[LipLine]:
    """Lips with an id each, in their order; those that have one keep it."""
    free = unused_ids([line.swale_id for line in lines])
    return [line if line.swale_id else replace(line, swale_id=next(free)) for line in lines]


def cut_out(line: LipLine, from_m: float, to_m: float) -> list[LipLine]:
    """What is left of a lip without a stretch of it.

    Parameters
    ----------
    line : LipLine
    from_m, to_m : along the lip, m

    Returns
    -------
    up to two lips; of a ring one, begun behind the stretch
    """
    length = line.length_m
    if line.closed:
        whole = replace(line, coordinates=opened_at(line.coordinates, to_m % length), closed=False)
        kept = [(0.0, length - (to_m - from_m))]
    else:
        whole = line
        kept = [(0.0, from_m), (to_m, length)]
    return [whole.part(start, end) for start, end in kept if end - start > 0.1]
