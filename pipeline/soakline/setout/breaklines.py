"""The edges of trench and mound in three dimensions: what surfaces and drawings are made of."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.section.aslant import AT_EDGE_M
from soakline.section.mound import MoundShape, toe_m
from soakline.section.stations import on_lips, vertices_of
from soakline.setout.swale import Beside, Swale, Track

EDGES = (
    "mound-toe", "mound-crest-downhill", "mound-crest-uphill", "mound-foot", "lip",
    "base-downhill", "base-uphill", "daylight",
)  # fmt: skip
"""Edges of a section from the downhill side to the uphill side."""
LIP = EDGES.index("lip")
# A gap in the mound has an upright end; a surface over plan positions needs some width for it.
_UPRIGHT_M = 0.01
# Sections turn back from a track's direction over so many times what it makes them slide at most.
_TURN_BACK = 1.2


@dataclass(frozen=True, eq=False, slots=True)
class Breaklines:
    """Edges of one swale at stations along its lip.

    Parameters
    ----------
    along_m : (n,) chainage of the stations, m
    offset_m : (n, 8) distance from the lip of each of `EDGES`, uphill positive, m
    points : (n, 8, 3) easting, northing and elevation, m
    mounded : (n,) whether the mound stands there; else its edges lie on the ground
    returns : (ends, 4, 4, 3) the mound's edges, as the first of `EDGES`, from its end at the lip's
        round the trench's to nothing
    """

    along_m: FloatArray
    offset_m: FloatArray
    points: FloatArray
    mounded: BoolArray
    returns: FloatArray


def section_edges(
    swale: Swale, beside: Beside, depth_m: FloatArray, mounded: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Offsets and heights of the edges of sections.

    Parameters
    ----------
    swale : Swale
    beside : Beside, n places
    depth_m : (n,) depth of the base there, less than the trench's own in its battered ends, m
    mounded : (n,) bool

    Returns
    -------
    offset from the lip, uphill positive, and height over the level, m; (n, 8) each, by the same
    geometry as the plan's volumes (`section.cuts`, `section.mound`)
    """
    trench, mound, above = swale.trench, swale.mound, beside.above_m
    n = above.size
    fall = mound.borne_by(beside.fall)
    run = trench.batter * trench.depth_m
    crest = np.full(n, swale.crest_height_m)
    width = np.full(n, swale.crest_width_m)
    foot = np.full(n, mound.berm_m)
    crest_start = foot + mound.batter * np.maximum(crest - (above - fall * foot), 0.0)
    # Where no mound stands, as where spoil is spread, the ground lies over its crest: edges that
    # went on down to the toe would turn back uphill.
    toe = np.maximum(toe_m(mound, crest, width, above, fall), crest_start + width)
    offset = np.column_stack(
        [
            -toe, -(crest_start + width), -crest_start, -foot, np.zeros(n),
            np.full(n, run), np.full(n, run + trench.base_width_m), beside.daylight_m,
        ]
    )  # fmt: skip
    height = above[:, None] + fall[:, None] * offset
    height[:, 1:3] = np.where(mounded[:, None], crest[:, None], height[:, 1:3])
    height[:, LIP] = 0.0  # trimmed, or made up, to the level
    height[:, LIP + 1 : LIP + 3] = -depth_m[:, None]
    height[:, -1] = beside.daylight_above_m
    return offset, height


def breaklines(swale: Swale) -> Breaklines:
    """Edges of a swale at its pegs, its bends, its battered ends, its tracks and its mound's ends.

    Parameters
    ----------
    swale : Swale

    Returns
    -------
    Breaklines; where the lip bends tightly, edges on the inner side may cross
    """
    length = swale.length_m
    along = _stations(swale)
    mounded = np.zeros(along.size, dtype=bool)
    for start, end in swale.mounded_m:
        mounded |= (along >= start - 1e-4) & (along <= end + 1e-4)
    for track in swale.tracks:
        mounded &= (along < track.start_m - 1e-4) | (along > track.end_m + 1e-4)
    depth = np.minimum(along, length - along) / max(swale.trench.batter, 1e-6)
    depth = np.clip(depth, 0.0, swale.trench.depth_m)
    offset, height = section_edges(swale, swale.beside_at(along), depth, mounded)
    for track in swale.tracks:
        _lay_track(track, swale.mound, along, offset, height)
    place, left = on_lip(swale, along)
    points = np.empty((*offset.shape, 3))
    points[:, :, :2] = place[:, None, :] + offset[:, :, None] * left[:, None, :]
    _lean_over(points, swale, along, offset)
    points[:, :, 2] = swale.level_m + height
    return Breaklines(
        along, offset, points, mounded, _returns(swale, along, offset, height, place, left)
    )


def on_lip(swale: Swale, along_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Places along a lip, and unit vectors uphill there; (n, 2) each."""
    vertices, corners = vertices_of([swale.lip])
    lip = np.zeros(along_m.size, dtype=np.int64)
    found = np.column_stack(on_lips(vertices, corners, lip, along_m))
    return found[:, :2], found[:, 2:]


def track_lines(swale: Swale) -> list[FloatArray]:
    """Both edges of every ford and causeway, over the breaks of its profile; (5, 3) each, m."""
    lines = []
    for track in swale.tracks:
        for at in (track.start_m, track.end_m):
            place, left = on_lip(swale, np.array([at]))
            ahead = np.array([left[0, 1], -left[0, 0]])
            flat = place + track.at_m[:, None] * (left + track.lean * ahead)
            lines.append(np.column_stack([flat, swale.level_m + track.height_m]))
    return lines


def apron_outlines(swale: Swale) -> list[FloatArray]:
    """Corners of every sill with its apron, (6, 3) m each, round from the lip at its start.

    The sill is level; the apron lies on the ground below it.
    """
    outlines = []
    for sill in swale.sills:
        ends = np.array([sill.start_m, sill.end_m])
        place, left = on_lip(swale, ends)
        below = swale.beside_at(ends)
        rows = []
        for down in (0.0, sill.width_m, sill.width_m + sill.apron_m):
            ground = swale.level_m + below.above_m - below.fall * down
            lined = np.minimum(ground, sill.level_m) if down > sill.width_m else sill.level_m
            rows.append(np.column_stack([place - down * left, np.broadcast_to(lined, 2)]))
        outlines.append(np.array([*(row[0] for row in rows), *(row[1] for row in rows[::-1])]))
    return outlines


def _stations(swale: Swale) -> FloatArray:
    length = swale.length_m
    inset = min(swale.trench.batter * swale.trench.depth_m, length / 2.0)
    ends = [0.0]
    for start, end in swale.mounded_m:
        ends += [start - _UPRIGHT_M, start, end, end + _UPRIGHT_M]
    for track in swale.tracks:
        ends += [track.start_m, track.end_m]
        for high in (0.0, track.crown_m, track.crown_m + swale.trench.depth_m):
            beyond = swale.mound.batter * high + _UPRIGHT_M
            ends += [track.start_m - beyond, track.end_m + beyond]
    along = _apart(np.array(ends), length)
    # A peg right beside the end of a mound takes no part: the mound would begin at the next one.
    others = np.array([*swale.vertex_m, *swale.chainage_m, inset, length - inset])
    near = np.abs(others[:, None] - along).min(axis=1) <= _UPRIGHT_M / 2.0
    along = _apart(np.concatenate([along, others[~near]]), length)
    along[-1] = length
    return along


def _apart(stations_m: FloatArray, length_m: float) -> FloatArray:
    """Stations that lie on a lip, in order, those too close to the one before left out."""
    on_lip_m = stations_m[(stations_m >= 0) & (stations_m <= length_m)]
    # Rounded up, the lip's end would not lie on it.
    along = np.unique(np.minimum(np.round(on_lip_m, 4), length_m))
    return np.asarray(along[np.concatenate([[True], np.diff(along) > _UPRIGHT_M / 2.0])])


def _lay_track(
    track: Track, mound: MoundShape, along: FloatArray, offset: FloatArray, height: FloatArray
) -> None:
    """Sections of a ford or causeway in place of the trench's, and the sides of its fill."""
    inside = (along >= track.start_m - 1e-4) & (along <= track.end_m + 1e-4)
    down, near, middle, far, up = track.at_m
    if track.kind == "ford":
        # Down the last ramp, over the crown, down to the base and up to the ground.
        places = np.array([down, near, near, near / 2.0, 0.0, middle, far, up])
    else:
        places = np.array([down, 0.0, 0.0, 0.0, 0.0, middle, far, up])
    offset[inside] = places
    height[inside] = np.interp(places, track.at_m, track.height_m)
    if track.kind == "causeway":
        beyond = np.maximum(np.maximum(track.start_m - along, along - track.end_m), 0.0)
        side = np.interp(offset, track.at_m, track.height_m) - beyond[:, None] / mound.batter
        under = (~inside)[:, None] & (offset >= down) & (offset <= up)
        height[:] = np.where(under, np.maximum(height, side), height)


def _lean_over(points: FloatArray, swale: Swale, along: FloatArray, offset: FloatArray) -> None:
    """Sections turned into the direction of a track that crosses aslant; in place.

    Within the track's width they lie along it, straight; beside it they turn back until they are
    square to the lip again, slowly enough that none crosses the next.
    """
    for track in swale.tracks:
        beyond = np.maximum(np.maximum(track.start_m - along, along - track.end_m), 0.0)
        inside = beyond <= 1e-4
        _, left = on_lip(swale, np.array([(track.start_m + track.end_m) / 2.0]))
        ahead = np.array([left[0, 1], -left[0, 0]])
        place, _ = on_lip(swale, along[inside])
        way = left + track.lean * ahead
        points[inside, :, :2] = place[:, None, :] + offset[inside][:, :, None] * way
        reach = np.abs(offset[~inside]).max(initial=0.0) * abs(track.lean) * _TURN_BACK
        turning = np.flatnonzero(~inside & (beyond < reach))
        outward = np.where(along[turning] > track.end_m, 1.0, -1.0)[:, None]
        # Where they slide apart they may turn back at once: a mound that ends at a sill is square.
        apart = track.lean * offset[turning] * outward < 0.0
        within = np.where(apart, _square_after_m(swale, track, outward, reach), reach)
        turned = np.minimum(beyond[turning, None] / np.maximum(within, 1e-9), 1.0)
        slid = along[turning, None] + track.lean * (1.0 - turned) * offset[turning]
        slid = np.clip(slid, 0.0, swale.length_m)
        at, square = on_lip(swale, slid.ravel())
        flat = at + offset[turning].reshape(-1, 1) * square
        points[turning, :, :2] = flat.reshape(turning.size, offset.shape[1], 2)


def _square_after_m(swale: Swale, track: Track, outward: FloatArray, reach_m: float) -> FloatArray:
    """How far from a track the mound beside it ends square to the lip; like `outward`, m."""
    before, after = reach_m, reach_m
    for start, end, lean_at_start, lean_at_end in swale.mound_edges().tolist():
        if abs(end - track.start_m) < AT_EDGE_M and lean_at_start == 0.0:
            before = min(before, end - start)
        if abs(start - track.end_m) < AT_EDGE_M and lean_at_end == 0.0:
            after = min(after, end - start)
    return np.where(outward > 0.0, after, before)


def _returns(
    swale: Swale,
    along: FloatArray,
    offset: FloatArray,
    height: FloatArray,
    place: FloatArray,
    left: FloatArray,
) -> FloatArray:
    """Edges of the mound's returns: at the lip's end, at the corner, beside the lip, at nothing."""
    found = []
    for at, end in swale.ends().items():
        k = 0 if at == 0.0 else along.size - 1
        forward = (-1.0 if k == 0 else 1.0) * np.array([left[k, 1], -left[k, 0]])
        down, high = offset[k, :LIP], height[k, :LIP]
        above, fall = float(end.above_m[0]), float(end.fall[0])
        width, face, tip = (float(v[0]) for v in (end.width_m, end.face_m, end.uphill_m))
        over = swale.crest_height_m - above
        # The face falls to ground that falls away, so that its top moves in.
        top = width - face * (swale.crest_height_m - (above + fall * down[1])) / max(over, 1e-9)
        ahead = np.array([
            np.zeros(4), [width, max(top, face), face, 0.0], [width, width - face, face, 0.0],
            np.zeros(4),
        ])  # fmt: skip
        uphill = np.array([down, down, np.zeros(4), np.full(4, tip)])
        ground = above + float(swale.beside_at(np.array([at])).rise[0]) * tip
        beside = [above, swale.crest_height_m, swale.crest_height_m, above]
        level = swale.level_m + np.array([high, high, beside, np.full(4, ground)])
        flat = place[k] + ahead[..., None] * forward + uphill[..., None] * left[k]
        found.append(np.concatenate([flat, level[..., None]], axis=2))
    return np.array(found).reshape(-1, 4, 4, 3)
