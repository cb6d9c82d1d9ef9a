"""Crossings of tracks: their layer, what is counted of them, and what is to be said of each."""

from collections.abc import Iterator

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from soakline.findings import Finding
from soakline.grid import FloatArray
from soakline.ids import crossing_id
from soakline.outputs.columns import SCHEMAS, Columns, frame
from soakline.outputs.designed import BuiltCrossings, Designed
from soakline.section.crossings import (
    DEEPEST_FORD_M,
    KINDS,
    LEAST_SINE,
    LONGEST_FORD_M,
    RAMP_GRADE,
    SHARP_DEG,
)
from soakline.section.stretches import SHORTEST_MOUND_M
from soakline.section.trench import trenches_of

# A crown that stands less than this over the highest water is as good as none.
_LEAST_FREEBOARD_M = 0.05
# Pipes side by side beyond which another kind of crossing is cheaper; common practice, no source.
_MOST_PIPES = 3


def _ids(plan: Designed) -> list[str]:
    lip = plan.crossings.met.lip
    first = np.searchsorted(lip, lip)
    return [
        crossing_id(plan.placed.lines[int(own)].swale_id, k - int(at))
        for k, (own, at) in enumerate(zip(lip, first, strict=True))
    ]


def _track(plan: Designed, track: int) -> str:
    name = plan.inputs.features.tracks["name"].iloc[track]
    return str(name) if pd.notna(name) and str(name).strip() else str(track + 1)


def _base_m(plan: Designed) -> FloatArray:
    """Elevation of the base of each crossing's swale, m."""
    depth = trenches_of(plan.figures.sections).depth_m
    return np.asarray((plan.figures.level_m - depth)[plan.crossings.met.lip], dtype=float)


def crossing_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `crossings` layer."""
    own, met, ids = plan.crossings, plan.crossings.met, plan.placed.ids
    piped = own.kind == "causeway"
    columns: Columns = {
        "crossing_id": _ids(plan),
        "swale_id": [ids[int(lip)] for lip in met.lip],
        "other_swale_id": [ids[int(lip)] if lip >= 0 else None for lip in met.other_lip],
        "track": [_track(plan, int(track)) for track in met.track],
        "kind": own.kind,
        "chainage_m": met.at_m,
        "start_m": own.start_m,
        "end_m": own.end_m,
        "bearing_deg": met.bearing_deg,
        "angle_deg": np.degrees(np.arcsin(np.clip(met.sine, 0.0, 1.0))),
        "slope_pct": 100.0 * own.slope,
        "width_m": own.top_m,
        "level_m": own.level_m,
        "base_level_m": np.where(own.kind == "gap", np.nan, _base_m(plan)),
        "run_m": own.run_m,
        "cut_m3": own.earth.cut_m3,
        "fill_m3": own.earth.fill_m3,
        "refill_m3": own.earth.refill_m3,
        "pipes": [int(n) if some else None for n, some in zip(own.pipes, piped, strict=True)],
        "pipe_diameter_m": own.pipe_diameter_m,
        "pipe_length_m": own.pipe_length_m,
        "pipe_flow_m3s": own.pipe_flow_m3s,
    }
    points = np.asarray(shapely.points(met.easting_m, met.northing_m), dtype=np.object_)
    return frame(SCHEMAS["crossings"], columns, points, crs)


def crossing_amounts(crossings: BuiltCrossings, swales: int) -> dict[str, FloatArray]:
    """What is counted of each swale, (swales,): crossings by kind, and pipe."""
    lip = crossings.met.lip
    counted = {
        f"track crossings, {kind}": np.bincount(
            lip[crossings.kind == kind], minlength=swales
        ).astype(float)
        for kind in KINDS
    }
    pipe_m = np.nan_to_num(crossings.pipes * crossings.pipe_length_m)
    counted["pipe under causeways"] = np.bincount(lip, weights=pipe_m, minlength=swales)
    earth = crossings.earth
    for item, volume in (("cut for tracks", earth.cut_m3), ("fill for tracks", earth.fill_m3)):
        counted[item] = np.bincount(lip, weights=volume, minlength=swales)
    return counted


def crossing_findings(plan: Designed) -> Iterator[Finding]:
    """What is to be said of each crossing, then of tracks that run along a swale."""
    met = plan.crossings.met
    for k, feature in enumerate(_ids(plan)):
        yield from _on_crossing(plan, k, feature)
    for lip, track, along in zip(met.beside_lip, met.beside_track, met.beside_m, strict=True):
        yield Finding(
            "track_along_swale",
            "caution",
            "swales",
            plan.placed.lines[int(lip)].swale_id,
            f'track "{_track(plan, int(track))}" runs along the lip for {along:.0f} m, or crosses '
            "it at a sharp angle: wheels cut the lip, and the track turns into a drain",
            "move the track, have it cross square, or keep the swale off it "
            "(siting.cross_tracks = false)",
        )


def _on_crossing(plan: Designed, k: int, feature: str) -> Iterator[Finding]:
    own = plan.crossings

    def on(code: str, message: str, advice: str) -> Finding:
        return Finding(code, "caution", "crossings", feature, message, advice)

    kind, track = str(own.kind[k]), _track(plan, int(own.met.track[k]))
    lip = int(own.met.lip[k])
    if kind == "gap":
        yield on(
            "track_between_swales",
            f'track "{track}" passes between the ends of two swales: what runs down it meets '
            "neither",
            "shed the track's water into the swales by cross-drains above; follow local codes for "
            "tracks",
        )
        return
    sine = float(own.met.sine[k])
    if sine < np.sin(np.radians(SHARP_DEG)):
        capped = (
            f"; lengths are those of {np.degrees(np.arcsin(LEAST_SINE)):.0f}°"
            if sine < LEAST_SINE
            else ""
        )
        yield on(
            "crossing_aslant",
            f'track "{track}" crosses the lip at {np.degrees(np.arcsin(sine)):.0f}°: it takes '
            f"{own.top_m[k]:.0f} m of the lip, and vehicles twist over its edges{capped}",
            "turn the track to cross square, or choose another place for it",
        )
    depth = float(plan.figures.sill_level_m[lip] - _base_m(plan)[k])
    if kind == "ford":
        yield on(
            "ford_under_water",
            f'track "{track}" goes through water up to {depth:.2f} m deep, on ground that stays '
            f"soft for up to {plan.figures.drain_down_h[lip]:.0f} h after rain",
            "pave the floor and ramps with rock, mark the depth, keep off while water stands; "
            "follow local codes for tracks",
        )
    else:
        many = int(own.pipes[k]) > _MOST_PIPES
        wide = float(own.pipes[k] * own.pipe_diameter_m[k])
        base = float(trenches_of(plan.figures.sections).base_width_m[lip])
        unfit = f"; side by side they are {wide:.1f} m wide, and do not fit on a base of {base:g} m"
        yield on(
            "pipe_may_block",
            f"{own.pipes[k]} × {own.pipe_diameter_m[k]:.3g} m of pipe pass "
            f"{own.pipe_flow_m3s[k]:.3f} m³/s under the track; blocked, the water on one side "
            "rises over its lip" + unfit * (wide > base),
            ("so many pipes say that a ford, a gap or a bridge would do better here; " * many)
            + "keep both ends clear and check them before the wet season; fill, cover over the "
            "pipe and loads to local codes, or by a licensed engineer",
        )
    if kind == "ford" and not (depth <= DEEPEST_FORD_M + 1e-9 and own.run_m[k] <= LONGEST_FORD_M):
        reshaped = f"{own.run_m[k]:.0f} m" if np.isfinite(own.run_m[k]) else "no length"
        yield on(
            "ford_does_not_fit",
            f"the run file asks for fords: this one is {depth:.2f} m deep and {reshaped} of track "
            f"would do for ramps of 1 in {1.0 / RAMP_GRADE:.0f}",
            'have it designed on site, or leave siting.crossing at "auto"',
        )
    before, after = own.met.start_m[k], plan.figures.length_m[lip] - own.met.end_m[k]
    beyond = max(float(min(before, after)), 0.0)
    if beyond < SHORTEST_MOUND_M:
        yield on(
            "crossing_at_lip_end",
            f"{beyond:.1f} m of lip beyond the track are too short for a mound: water that stands "
            "over the sills could leave there, beside the track",
            "carry the crown on to the lip's end and uphill round it, compacted; have it designed "
            "on site",
        )
    water = float(plan.figures.sill_level_m[lip] + plan.figures.check_head_m[lip])
    over = float(own.level_m[k]) - water
    if over < _LEAST_FREEBOARD_M or not np.isfinite(own.run_m[k]):
        why = (
            f"its crown stands {over:.2f} m over the water of the check storm"
            if over < _LEAST_FREEBOARD_M
            else f"no ramp of 1 in {1.0 / RAMP_GRADE:.0f} comes down from a crown on such ground"
        )
        yield on(
            "track_carries_water",
            f'water may leave the swale down track "{track}": {why}',
            "turn the track to a gentler line before it meets the swale, or raise the crown; have "
            "it designed on site",
        )
