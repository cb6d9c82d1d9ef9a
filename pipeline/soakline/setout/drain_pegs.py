"""Pegs of diversion drains, along the bed's centre line."""

import numpy as np

from soakline.setout.drains import Drain
from soakline.setout.plan import SetOutPlan
from soakline.setout.point_pegs import PointPeg, point_pegs

_SPACING_M = 10.0
# A peg every so often that would stand this near to one at a bend is left out.
_NEAR_M = 2.0


def drain_pegs(plan: SetOutPlan) -> list[PointPeg]:
    """Pegs of drains: both ends, bends, and every 10 m at most between; on the bed."""
    return [peg for drain in plan.drains for peg in _pegs(drain)]


def pegs_beside(plan: SetOutPlan) -> list[PointPeg]:
    """Pegs that are not of lips: of ponds, basins and pits, then of drains."""
    return [*point_pegs(plan), *drain_pegs(plan)]


def _pegs(drain: Drain) -> list[PointPeg]:
    steps = np.hypot(*np.diff(drain.bed[:, :2], axis=0).T)
    bends_m = np.concatenate([[0.0], np.cumsum(steps)])
    even_m = np.linspace(0.0, bends_m[-1], int(np.ceil(bends_m[-1] / _SPACING_M)) + 1)
    off_m = np.abs(even_m[:, None] - bends_m).min(axis=1)
    along_m = np.sort(np.concatenate([bends_m, even_m[off_m > _NEAR_M]]))
    place = np.column_stack([np.interp(along_m, bends_m, axis) for axis in drain.bed.T])
    shape = f"base {drain.base_width_m:.2f} depth {drain.depth_m:.2f} batter {drain.batter:g}"
    last = along_m.size - 1
    pegs = []
    for k, (at, (easting, northing, level)) in enumerate(
        zip(along_m.tolist(), place.tolist(), strict=True)
    ):
        kind = "start" if k == 0 else "end" if k == last else "line"
        words = f"{drain.diversion_id} DRAIN to {drain.swale_id} {kind} ch {at:.2f} bed {level:.3f}"
        pegs.append(
            PointPeg(
                f"{drain.diversion_id}-{k + 1:03d}",
                "drain",
                easting,
                northing,
                level,
                f"{words} {shape}",
            )
        )
    return pegs
