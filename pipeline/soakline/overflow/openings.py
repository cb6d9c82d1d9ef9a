"""Rings round a knoll, opened where the water leaves best."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from soakline.grid import FloatArray
from soakline.overflow.ranking import LONGEST_SILL_M, JudgedExits, SillRules, ranked_exits
from soakline.siting.ends import End
from soakline.siting.lines import LipLine, opened_at

# Along the ring, so that the ends stand 6 m apart in a straight line too.
LEAST_OPENING_M = 6.5


def open_rings(
    lines: list[LipLine],
    judged: JudgedExits,
    ends: Sequence[End],
    rules: SillRules,
    sill_m: FloatArray,
    least_m: float,
) -> list[LipLine]:
    """Each closed lip with a gap at its best exit.

    Parameters
    ----------
    lines : may hold rings
    judged : exits of the rings
    ends : of the end map
    rules : SillRules
    sill_m : (lines,) length of sill that each ring's own catchment asks for
    least_m : length that a lip has at least; rings are longer by `LEAST_OPENING_M`

    Returns
    -------
    the lips in their order, none closed; the gap is twice the length of a sill, of which more than
    `LONGEST_SILL_M` takes several, and at least 6 m
    """
    one_sill_m = sill_m / np.ceil(sill_m / LONGEST_SILL_M)
    opened = []
    best = ranked_exits(judged, ends, rules)
    for i, line in enumerate(lines):
        if not line.closed:
            opened.append(line)
            continue
        at = float(judged.exits.along_m[best[i][0]]) if best[i].size else 0.0
        length = line.length_m
        most = max(LEAST_OPENING_M, min(length / 2.0, length - least_m))
        gap = min(max(LEAST_OPENING_M, 2.0 * float(one_sill_m[i])), most)
        start = (at + gap / 2.0) % length
        ring = opened_at(line.coordinates, start)
        opened.append(
            replace(line, coordinates=ring, closed=False).part(
                0.0, float(np.hypot(*np.diff(ring, axis=0).T).sum()) - gap
            )
        )
    return opened
