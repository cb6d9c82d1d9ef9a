"""The edges of trench and mound in three dimensions: what surfaces and drawings are made of."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.section.mound import MoundShape, toe_m
from soakline.section.trench import STEEPEST_BATTER_SLOPE, daylight_m
from soakline.setout.plan import Swale

EDGES = (
    "mound-toe", "mound-crest-downhill", "mound-crest-uphill", "mound-foot", "lip",
    "base-downhill", "base-uphill", "daylight",
)  # fmt: skip
"""Edges of a section from the downhill side to the uphill side."""
LIP = EDGES.index("lip")
# A gap in the mound has an upright end; a surface over plan positions needs some width for it.
_UPRIGHT_M = 0.01


@dataclass(frozen=True, eq=False, slots=True)
class Breaklines:
    """Edges of one swale at stations along its lip.

    Parameters
    ----------
    along_m : (n,) chainage of the stations, m
    offset_m : (n, 8) distance from the lip of each of `EDGES`, uphill positive, m
    points : (n, 8, 3) easting, northing and elevation, m
    mounded : (n,) whether the mound stands there; else its edges lie on the ground
    """

    along_m: FloatArray
    offset_m: FloatArray
    points: FloatArray
    mounded: BoolArray


def section_edges(
    swale: Swale, mound: MoundShape, above_m: FloatArray, depth_m: FloatArray, mounded: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Offsets and heights of the edges of sections.

    Parameters
    ----------
    swale : Swale
    mound : MoundShape
    above_m : (n,) ground less level at the lip, m
    depth_m : (n,) depth of the base there, less than the trench's own in its battered ends, m
    mounded : (n,) bool

    Returns
    -------
    offset from the lip, uphill positive, and height over the level, m; (n, 8) each, by the same
    geometry as the plan's volumes (`section.trench`, `section.mound`)
    """
    trench = swale.trench
    n = above_m.size
    steepest = (STEEPEST_BATTER_SLOPE - 0.01) / max(trench.batter, 1e-6)
    rise = np.full(n, min(swale.slope, steepest))
    fall = np.full(n, min(swale.slope, 0.9 / mound.batter))
    run = trench.batter * trench.depth_m
    daylight = np.maximum(daylight_m(trench, above_m, rise), trench.top_width_m)
    crest = np.full(n, swale.crest_height_m)
    width = np.full(n, swale.crest_width_m)
    toe = toe_m(mound, crest, width, above_m, fall)
    foot = np.full(n, mound.berm_m)
    crest_start = foot + mound.batter * np.maximum(crest - (above_m - fall * foot), 0.0)
    offset = np.column_stack(
        [
            -toe, -(crest_start + width), -crest_start, -foot, np.zeros(n),
            np.full(n, run), np.full(n, run + trench.base_width_m), daylight,
        ]
    )  # fmt: skip
    height = above_m[:, None] + np.where(offset < 0, fall[:, None], rise[:, None]) * offset
    height[:, 1:3] = np.where(mounded[:, None], crest[:, None], height[:, 1:3])
    height[:, LIP] = 0.0  # trimmed, or made up, to the level
    height[:, LIP + 1 : LIP + 3] = -depth_m[:, None]
    return offset, height


def breaklines(swale: Swale, mound: MoundShape) -> Breaklines:
    """Edges of a swale at its pegs, its bends, its battered ends and the ends of its mound.

    Parameters
    ----------
    swale : Swale
    mound : MoundShape

    Returns
    -------
    Breaklines; where the lip bends tightly, edges on the inner side may cross
    """
    length = swale.length_m
    inset = min(swale.trench.batter * swale.trench.depth_m, length / 2.0)
    edges = [at for reach in swale.mounded_m for at in reach if 0.0 < at < length]
    gap_side = [
        at for start, end in swale.mounded_m for at in (start - _UPRIGHT_M, end + _UPRIGHT_M)
    ]
    stations = np.concatenate(
        [swale.vertex_m, swale.chainage_m, [inset, length - inset], edges, gap_side]
    )
    along = np.unique(np.round(stations[(stations >= 0) & (stations <= length)], 4))
    along = along[np.concatenate([[True], np.diff(along) > _UPRIGHT_M / 2.0])]
    along[-1] = length
    mounded = np.zeros(along.size, dtype=bool)
    for start, end in swale.mounded_m:
        mounded |= (along >= start - 1e-4) & (along <= end + 1e-4)
    above = np.interp(along, swale.chainage_m, swale.ground_m) - swale.level_m
    depth = np.minimum(along, length - along) / max(swale.trench.batter, 1e-6)
    depth = np.clip(depth, 0.0, swale.trench.depth_m)
    offset, height = section_edges(swale, mound, above, depth, mounded)
    vertex = swale.vertex_m
    place = np.column_stack([np.interp(along, vertex, swale.lip[:, k]) for k in (0, 1)])
    left = _left(swale, along)
    points = np.empty((*offset.shape, 3))
    points[:, :, :2] = place[:, None, :] + offset[:, :, None] * left[:, None, :]
    points[:, :, 2] = swale.level_m + height
    return Breaklines(along, offset, points, mounded)


def _left(swale: Swale, along_m: FloatArray) -> FloatArray:
    """Unit vectors uphill, (n, 2); at a bend the mean direction over a metre to both sides."""
    vertex = swale.vertex_m
    before, after = (
        np.column_stack([np.interp(along_m + step, vertex, swale.lip[:, k]) for k in (0, 1)])
        for step in (-1.0, 1.0)
    )
    run = after - before
    run /= np.maximum(np.hypot(*run.T), 1e-9)[:, None]
    return np.column_stack([-run[:, 1], run[:, 0]])
