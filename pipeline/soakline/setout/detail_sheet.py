"""Sills with their aprons, and tracks over swales: one of each kind, to scale, on one sheet."""

from dataclasses import dataclass

import numpy as np
from matplotlib.patches import Circle

from soakline.grid import FloatArray
from soakline.section.crossings import LEAST_SINE
from soakline.setout.plan import SetOutPlan
from soakline.setout.section_sheet import ground_line_m
from soakline.setout.sheet import (
    GREY,
    GROUND,
    INK,
    MARGIN_MM,
    RED,
    SOIL,
    WATER,
    Sheet,
    scale_that_fits,
)
from soakline.setout.swale import Sill, Swale, Track

_SCALES = (20, 25, 30, 40, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500)
_COLUMNS, _ROWS = 2, 3
_HEAD_MM, _BELOW_MM, _SIDE_MM = 12.0, 16.0, 16.0
_LEAST_MM = 10.0  # of a dimension with its figure
_BESIDE_M = 1.0  # of ground shown on both sides
_SQUARE_DEG = 85.0  # a track at less than this to the lip is said to be aslant
_LINED, _PIPE = "#6b3fa0", "#444444"


def detail_sheets(plan: SetOutPlan, paper: str) -> list[Sheet]:
    """Draw the longest sill of each lining and the longest crossing of each kind, if any."""
    sills: dict[str, tuple[Swale, Sill]] = {}
    tracks: dict[str, tuple[Swale, Track]] = {}
    for swale in plan.swales:
        for sill in swale.sills:
            longest = sills.get(sill.lining)
            if longest is None or _length_m(sill) > _length_m(longest[1]):
                sills[sill.lining] = (swale, sill)
        for track in swale.tracks:
            drawn = tracks.get(track.kind)
            if drawn is None or np.ptp(track.along_m) > np.ptp(drawn[1].along_m):
                tracks[track.kind] = (swale, track)
    details = [_of_sill(*sills[lining]) for lining in sorted(sills)]
    details += [_of_track(*tracks[kind]) for kind in sorted(tracks)]
    if not details:
        return []
    sheet = Sheet(paper, "Sills and track crossings", plan.name)
    words = "Lining, stone, pipes and loads: local codes, and a licensed engineer's design."
    sheet.text(MARGIN_MM + 75.0, sheet.height_mm - MARGIN_MM - 4.0, words, 7, RED)
    bottom, top = sheet.body_mm
    wide, high = (sheet.width_mm - 2 * MARGIN_MM) / _COLUMNS, (top - bottom) / _ROWS
    for k, detail in enumerate(details):
        row, column = divmod(k, _COLUMNS)
        _draw(sheet, detail, MARGIN_MM + column * wide, top - row * high, wide, high)
    return [sheet]


def _length_m(sill: Sill) -> float:
    return sill.end_m - sill.start_m


@dataclass(frozen=True, eq=False, slots=True)
class _Detail:
    """A section across a lip; distances uphill of it and heights over its level, m.

    Parameters
    ----------
    title, words : above the drawing
    at_m, height_m : what is built, from downhill to uphill
    ground_m : as it was, at these places
    full_m : full water over the level
    water_m : its reach, from and to; empty where it is not drawn
    lined : places between which it is drawn thick
    dimensions : from, to and words, along the sheet
    pipe_m : diameter and height of its middle; none where it is 0
    """

    title: str
    words: str
    at_m: FloatArray
    height_m: FloatArray
    ground_m: FloatArray
    full_m: float
    water_m: tuple[float, ...]
    lined: tuple[float, float]
    dimensions: tuple[tuple[float, float, str], ...]
    pipe_m: tuple[float, float]


def _trench(swale: Swale, daylight_m: float, daylight_above_m: float) -> tuple[FloatArray, ...]:
    trench = swale.trench
    run = trench.batter * trench.depth_m
    at = np.array([0.0, run, run + trench.base_width_m, daylight_m])
    return at, np.array([0.0, -trench.depth_m, -trench.depth_m, daylight_above_m])


def _of_sill(swale: Swale, sill: Sill) -> _Detail:
    beside = swale.beside_at(np.array([(sill.start_m + sill.end_m) / 2.0]))
    at, height = _trench(swale, float(beside.daylight_m[0]), float(beside.daylight_above_m[0]))
    level = sill.level_m - swale.level_m
    edge = -level * swale.trench.batter
    at[0], height[0] = edge, level
    below = -np.array([sill.width_m + sill.apron_m + _BESIDE_M, sill.width_m + sill.apron_m])
    down = np.minimum(ground_line_m(beside, below), level)
    places = np.concatenate([below, [-sill.width_m], at, [at[-1] + _BESIDE_M]])
    ground = ground_line_m(beside, places)
    return _Detail(
        f"Sill lined with {sill.lining}",
        f"At {swale.swale_id}: {_length_m(sill):.2f} m long, level {sill.level_m:.3f} over "
        f"{sill.width_m:g} m across the lip",
        places,
        np.concatenate([down, [level], height, ground[-1:]]),
        ground,
        level,
        (edge, swale.trench.top_width_m - edge),
        (float(below[1]), edge),
        (
            (float(below[1]), -sill.width_m, f"apron {sill.apron_m:.2f}"),
            (edge, float(at[-1]), f"trench {at[-1] - edge:.2f}"),
        ),
        (0.0, 0.0),
    )


def _of_track(swale: Swale, track: Track) -> _Detail:
    at = track.along_m
    places = np.concatenate([[at[0] - _BESIDE_M], at, [at[-1] + _BESIDE_M]])
    # Along the track as the plan has it: straight through the lip.
    slope = (track.height_m[-1] - track.height_m[0]) / max(float(at[-1] - at[0]), 1e-9)
    if track.kind == "causeway":
        slope = track.height_m[0] / min(float(at[0]), -1e-9)
    ground = slope * places
    middle = -swale.trench.depth_m + track.pipe_diameter_m / 2.0
    words = f"At {swale.swale_id}: {track.end_m - track.start_m:.2f} m along the lip, crown "
    words += f"{swale.level_m + track.crown_m:.3f}, base {swale.base_level_m:.3f}"
    angle = np.degrees(np.arcsin(track.sine))
    if angle < _SQUARE_DEG:
        # Flatter ones are reckoned, and drawn, as at the flattest.
        words += f", at {angle:.0f}° to it" + " or less" * (track.sine <= LEAST_SINE + 1e-9)
    if track.pipes:
        words += f", {track.pipes} pipe{'s' * (track.pipes > 1)} of {track.pipe_diameter_m:g} m"
    crown = float(at[1])
    return _Detail(
        f"{track.kind.capitalize()} {track.crossing_id}",
        words,
        places,
        np.concatenate([ground[:1], track.height_m, ground[-1:]]),
        ground,
        swale.sill_level_m - swale.level_m,
        () if track.kind == "causeway" else _wet(swale, track),
        (float(at[0]), float(at[-1])),
        (
            (float(at[0]), crown, f"{crown - at[0]:.2f}"),
            (crown, float(at[3]), f"{at[3] - crown:.2f}"),
            (float(at[3]), float(at[-1]), f"{at[-1] - at[3]:.2f}"),
        ),
        (track.pipe_diameter_m if track.pipes else 0.0, middle),
    )


def _wet(swale: Swale, track: Track) -> tuple[float, float]:
    """Where full water meets the ramps of a ford."""
    full = swale.sill_level_m - swale.level_m
    near, far = (float(np.interp(full, [low, high], [a, b])) for low, high, a, b in (
        (track.height_m[2], track.height_m[1], track.along_m[2], track.along_m[1]),
        (track.height_m[3], track.height_m[4], track.along_m[3], track.along_m[4]),
    ))  # fmt: skip
    return near, far


def _draw(sheet: Sheet, detail: _Detail, left: float, top: float, wide: float, high: float) -> None:
    """One detail in its part of the sheet, uphill on the left."""
    low = min(float(detail.height_m.min()), float(detail.ground_m.min()))
    if detail.pipe_m[0] > 0.0:
        low = min(low, detail.pipe_m[1] - detail.pipe_m[0] / 2.0)
    span = max(float(detail.height_m.max()), float(detail.ground_m.max())) - low
    scale = max(
        scale_that_fits(float(np.ptp(detail.at_m)), wide - 2 * _SIDE_MM, _SCALES),
        scale_that_fits(span, high - _HEAD_MM - _BELOW_MM, _SCALES),
    )
    middle = (detail.at_m[0] + detail.at_m[-1]) / 2.0
    floor = top - high + _BELOW_MM

    def x(at_m: float | FloatArray) -> FloatArray:
        return np.asarray(left + wide / 2.0 - 1000.0 * (np.asarray(at_m) - middle) / scale)

    def y(height_m: float | FloatArray) -> FloatArray:
        return np.asarray(floor + 1000.0 * (np.asarray(height_m) - low) / scale)

    sheet.text(left, top - 3.0, detail.title, 8.5, weight="bold")
    sheet.text(left, top - 7.5, f"{detail.words}. Scale 1 : {scale}", 7)
    xs, ys = x(detail.at_m), y(detail.height_m)
    ends = [float(xs[-1]), float(xs[0])]
    sheet.area([*xs, *ends], [*ys, floor - 3.0, floor - 3.0], SOIL)
    if detail.water_m:
        inside = (detail.at_m > detail.water_m[0]) & (detail.at_m < detail.water_m[1])
        wet = [detail.water_m[0], *detail.at_m[inside], detail.water_m[1]]
        bed = [detail.full_m, *detail.height_m[inside], detail.full_m]
        sheet.area([float(x(at)) for at in wet], [float(y(h)) for h in bed], WATER)
        sheet.line(x(np.array(detail.water_m)), y(np.full(2, detail.full_m)), "#2d6f9f", 0.8)
    sheet.line(xs, y(detail.ground_m), GROUND, 0.8, "--")
    sheet.line(xs, ys, INK, 1.2)
    lined = (detail.at_m >= detail.lined[0] - 1e-9) & (detail.at_m <= detail.lined[1] + 1e-9)
    sheet.line(xs[lined], ys[lined], _LINED, 2.4)
    if detail.pipe_m[0] > 0.0:
        at = float(np.median(detail.at_m)), detail.pipe_m[1]
        size = 500.0 * detail.pipe_m[0] / scale
        place = float(x(at[0])), float(y(at[1]))
        sheet.axes.add_artist(Circle(place, size, facecolor="white", edgecolor=_PIPE, lw=1.0))
    line = floor - 8.0
    for start, end, words in detail.dimensions:
        if float(x(start) - x(end)) < _LEAST_MM:
            continue
        for place_m in (start, end):
            foot = float(y(np.interp(place_m, detail.at_m, detail.height_m)))
            sheet.line([float(x(place_m))] * 2, [line - 1.0, foot], GREY, 0.3)
        sheet.across(float(x(end)), float(x(start)), line, words, 6.5)
