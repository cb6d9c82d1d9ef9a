"""Rings round a knoll, opened where the water leaves best."""

from dataclasses import replace

import numpy as np

from soakline.grid import FloatArray
from soakline.overflow.ranking import SillRules, Ways, judged_exits, ranked_exits, wanted_sill_m
from soakline.siting.exits import Exit
from soakline.siting.lines import LipLine, opened_at

# Along the ring, so that the ends stand 6 m apart in a straight line too.
LEAST_OPENING_M = 6.5


def open_rings(
    exits: list[list[Exit]], ways: Ways, own_peak_m3s: FloatArray, rules: SillRules
) -> list[LipLine]:
    """Each closed lip with a gap at its best exit.

    Parameters
    ----------
    exits : places to try, by swale
    ways : Ways; its lines may hold rings
    own_peak_m3s : (swales,) peak bound of each swale's own catchment
    rules : SillRules

    Returns
    -------
    the lips in their order, none closed; the gap is twice the sill's length and at least 6 m
    """
    lines = []
    rings = [own if line.closed else [] for own, line in zip(exits, ways.lines, strict=True)]
    ranked = ranked_exits(judged_exits(rings, own_peak_m3s, ways, rules), ways, rules)
    for i, line in enumerate(ways.lines):
        if not line.closed:
            lines.append(line)
            continue
        at = ranked[i][0].along_m if ranked[i] else 0.0
        length = line.length_m
        gap = max(LEAST_OPENING_M, 2.0 * wanted_sill_m(float(own_peak_m3s[i]), rules))
        gap = min(gap, length / 2.0)
        start = (at + gap / 2.0) % length
        ring = opened_at(line.coordinates, start)
        lines.append(
            replace(line, coordinates=ring, closed=False).part(
                0.0, float(np.hypot(*np.diff(ring, axis=0).T).sum()) - gap
            )
        )
    return lines
