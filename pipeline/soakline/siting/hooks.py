"""Ends of lips without hooks: the last metres cut off where they bend more tightly than is dug."""

from dataclasses import replace

import numpy as np

from soakline.grid import FloatArray
from soakline.siting.bends import tight_vertices
from soakline.siting.lines import LipLine


def _without_hook(line: FloatArray, radius_m: float, most_m: float) -> FloatArray:
    """Vertices of a line from where it bends no more tightly than a radius near its start.

    No more is cut off than bends too tightly there, lest long ends go for one bend.
    """
    tight, tight_m = tight_vertices(line, radius_m)
    cut_m = np.cumsum(np.hypot(*np.diff(line, axis=0).T))[:-1]
    worth = tight & (cut_m <= min(radius_m, most_m)) & (cut_m <= np.cumsum(tight_m))
    first = int(np.flatnonzero(worth)[-1]) + 1 if worth.any() else 0
    return line[first:]


def without_hooks(line: LipLine, radius_m: float, min_length_m: float) -> LipLine:
    """A lip that ends before the tight bends in its first and last metres.

    Trimming leaves lines with short chords and hooks at their ends; whoever digs stops before them.

    Parameters
    ----------
    line : LipLine; a ring, or a given one, stays as it is
    radius_m : asked for, and the most that an end is cut back by; 0 for any bend; m
    min_length_m : of what is left; an end is not cut back where less would be, m

    Returns
    -------
    LipLine, a part of the one given: its ground and its works are where they were
    """
    if radius_m <= 0.0 or line.closed or line.given:
        return line
    kept = line
    for _ in range(2):  # start, end
        spare_m = kept.length_m - min_length_m
        left = _without_hook(kept.coordinates, radius_m, spare_m)
        kept = replace(kept, coordinates=left[::-1])
    return kept
