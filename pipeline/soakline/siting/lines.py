"""Lips as lines: what they carry along, and how they are cut, opened and put in order."""

from dataclasses import dataclass, replace

import numpy as np

from soakline.grid import FloatArray

# The mound turns uphill round the end of the trench: room beyond the lip's end.
END_ROOM_M = 1.5
# Between the ends of two lips on one level line, along the line: 5 m straight, bends included,
# which leaves 2 m between the mounds' ends.
END_GAP_M = 5.5


def part_of(line: FloatArray, start_m: float, end_m: float) -> FloatArray:
    """The part of a line between two distances along it."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    inside = (along > start_m + 1e-6) & (along < end_m - 1e-6)
    at = np.concatenate([[start_m], along[inside], [end_m]])
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
    """

    level_m: float
    interval_m: float
    coordinates: FloatArray
    closed: bool
    group: int = 0

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
