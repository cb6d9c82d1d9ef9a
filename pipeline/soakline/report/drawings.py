"""Sections and long sections of swales, drawn from the plan's figures."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup

from soakline.grid import FloatArray
from soakline.report.svg import Frame, Svg, axes
from soakline.report.words import number

_WIDTH = 520


def section_points(
    swale: Mapping[str, Any], mound_batter: float
) -> dict[str, list[tuple[float, float]]]:
    """A swale's section on even ground of its mean slope.

    Parameters
    ----------
    swale : a row of the layer `swales`
    mound_batter : of the run

    Returns
    -------
    `ground`, `trench`, `water` and `mound`: metres downhill of the lip, metres above full water.
    The ground passes the lip at full water. The trench runs from the lip down and up to where the
    cut face meets the ground. `mound` is empty where there is none.

    Examples
    --------
    >>> row = {"base_width_m": 1.0, "depth_m": 0.5, "batter": 1.0, "slope_pct": 0.0,
    ...        "mound_height_m": 0.0, "mound_crest_m": 0.0, "berm_m": 0.0}
    >>> section_points(row, 2.0)["trench"]
    [(0.0, 0.0), (-0.5, -0.5), (-1.5, -0.5), (-2.0, 0.0)]
    """
    base, depth, batter = (float(swale[n]) for n in ("base_width_m", "depth_m", "batter"))
    berm_m = float(swale["berm_m"])
    slope = float(np.nan_to_num(swale["slope_pct"])) / 100
    toe = -(batter * depth + base)
    # Up the face by t: −depth + t is the ground's slope × (−toe + batter t) there.
    rise = (depth - slope * toe) / max(1 - slope * batter, 0.05)
    top = (toe - batter * rise, rise - depth)
    trench = [(0.0, 0.0), (-batter * depth, -depth), (toe, -depth), top]
    water = [(0.0, 0.0), (-batter * depth, -depth), (toe, -depth), (toe - batter * depth, 0.0)]
    height, crest = (float(np.nan_to_num(swale[n])) for n in ("mound_height_m", "mound_crest_m"))
    mound: list[tuple[float, float]] = []
    if height > 0:
        near = (berm_m, -slope * berm_m)
        first = berm_m + mound_batter * (height + slope * berm_m)
        second = first + crest
        # Down the far face by u: height − u is the ground at second + batter u, −slope × that.
        fall = (height + slope * second) / max(1 - slope * mound_batter, 0.05)
        far = second + mound_batter * fall
        mound = [near, (first, height), (second, height), (far, -slope * far)]
    end = (mound[-1][0] if mound else 0.5 * (base + depth)) + 0.5
    start = top[0] - 0.5
    ground = [(start, -slope * start), (end, -slope * end)]
    return {"ground": ground, "trench": trench, "water": water, "mound": mound}


def section(swale: Mapping[str, Any], mound_batter: float) -> Markup:
    """The section at one scale both ways, uphill on the left, with its measures."""
    parts = section_points(swale, mound_batter)
    every = np.array([point for own in parts.values() for point in own])
    low, high = every.min(axis=0), every.max(axis=0)
    left, top, width = 66.0, 24.0, _WIDTH - 74.0
    scale = min(width / (high[0] - low[0]), 120.0 / (high[1] - low[1]))
    tall = scale * (high[1] - low[1])
    wide = scale * (high[0] - low[0])
    frame = Frame(low[0], high[0], low[1], high[1], left + (width - wide) / 2, top, wide, tall)
    base, depth, height = (float(swale[n]) for n in ("base_width_m", "depth_m", "mound_height_m"))
    drawing = Svg(
        _WIDTH,
        round(tall + 56),
        "Section",
        f"Base {base:.2f} m wide, {depth:.2f} m below full water; mound {height:.2f} m above it",
    )
    drawing.line("ground dashed", frame.points(*zip(*parts["ground"], strict=True)))
    drawing.area("water", frame.points(*zip(*parts["water"], strict=True)))
    drawing.line("cut", frame.points(*zip(*parts["trench"], strict=True)))
    middle = frame.x((parts["trench"][1][0] + parts["trench"][2][0]) / 2)
    bottom = frame.y(-depth)
    batter = f"{float(swale['batter']):.2f}".rstrip("0").rstrip(".")
    drawing.text(f"base {base:.2f} m, batters {batter} : 1", middle, bottom + 13, "middle")
    drawing.text(f"depth {depth:.2f} m", middle, (frame.y(0) + bottom) / 2 + 4, "middle")
    if parts["mound"]:
        drawing.area("mound", frame.points(*zip(*parts["mound"], strict=True)))
        crest = frame.x((parts["mound"][1][0] + parts["mound"][2][0]) / 2)
        above = f"mound {height:.2f} m above full water"
        drawing.text(above, min(crest, _WIDTH - 4), frame.y(height) - 7, "end")
    drawing.text("full water", frame.x(parts["water"][3][0]) - 4, frame.y(0) + 13, "end")
    drawing.text("uphill", 4, round(tall + 50))
    drawing.text("downhill; one scale both ways", _WIDTH - 4, round(tall + 50), "end")
    return drawing.draw()


def long_section(
    pegs: Mapping[str, FloatArray], sills: Sequence[Mapping[str, Any]], swale_id: str
) -> Markup:
    """Ground, full water, base and mound along the lip; sills are marked.

    Parameters
    ----------
    pegs : chainage_m, ground_m, level_m, base_level_m and mound_top_level_m of each of a swale's
        pegs, by chainage; NaN where there is none
    sills : rows of its spillways with their chainage in `at_m`
    swale_id : for the description
    """
    at = pegs["chainage_m"]
    lines = {name: own for name, own in pegs.items() if name != "chainage_m"}
    heights = np.concatenate([*lines.values()])
    low, high = float(np.nanmin(heights)), float(np.nanmax(heights))
    length = max(float(at[-1]), 0.1)
    frame = Frame(0, length, low - 0.1, high + 0.15, 46, 20, _WIDTH - 56, 104)
    level = float(lines["level_m"][0])
    about = (
        f"Along {length:.1f} m of swale {swale_id}: full water at {level:.2f} m, ground from "
        f"{np.nanmin(lines['ground_m']):.2f} to {np.nanmax(lines['ground_m']):.2f} m, "
        f"{len(sills)} sill{'' if len(sills) == 1 else 's'}"
    )
    drawing = Svg(_WIDTH, 154, "Long section", about)
    axes(drawing, frame, "chainage, m", "elevation, m")
    base = lines["base_level_m"]
    water = [*zip(at, lines["level_m"], strict=True), *zip(at[::-1], base[::-1], strict=True)]
    drawing.area("water", frame.points(*zip(*water, strict=True)))
    looks = (("base_level_m", "cut"), ("mound_top_level_m", "mound-line"), ("ground_m", "ground"))
    for name, look in looks:
        known = ~np.isnan(lines[name])
        if known.sum() > 1:
            drawing.line(look, frame.points(at[known], lines[name][known]))
    drawing.line("level", frame.points([0, length], [level, level]))
    for own in sills:
        start, sill = float(own["at_m"]), float(own["sill_level_m"])
        half = float(own["sill_length_m"]) / 2
        ends = [max(start - half, 0), min(start + half, length)]
        drawing.line("sill", frame.points(ends, [sill, sill]))
        drawing.mark("sill-mark", frame.x(start), frame.y(sill) - 2)
    return drawing.draw()


_PARTS = (
    (("runoff_m3", "own runoff", "p1"), ("received_m3", "from above", "p2"),
     ("direct_m3", "rain on its water, drains", "p3")),
    (("infiltrated_m3", "soaked in", "p4"), ("stored_m3", "still held", "p5"),
     ("overflow_m3", "spilled", "p6")),
)  # fmt: skip


def water_budget(storm: Mapping[str, Any]) -> Markup:
    """Where a swale's water comes from and where it goes in one storm, as two bars.

    Parameters
    ----------
    storm : a row of `swale_storms`
    """
    figures = {name: float(np.nan_to_num(storm[name])) for own in _PARTS for name, *_ in own
               if name != "direct_m3"}  # fmt: skip
    inflow = float(np.nan_to_num(storm["inflow_m3"]))
    figures["direct_m3"] = max(inflow - figures["runoff_m3"] - figures["received_m3"], 0.0)
    total = max(inflow, sum(figures[name] for name, *_ in _PARTS[1]), 1e-9)
    told = "; ".join(
        f"{words} {number(figures[name], 0)} m³" for own in _PARTS for name, words, _ in own
    )
    drawing = Svg(_WIDTH, 106, "Water in and out in the governing storm", told)
    for row, (name, own) in enumerate(zip(("in", "out"), _PARTS, strict=True)):
        x, y = 30.0, 6.0 + 52.0 * row
        drawing.text(name, 24, y + 14, "end")
        label_at = x
        for key, words, look in own:
            width = figures[key] / total * (_WIDTH - 40.0)
            text = f"{words} {number(figures[key], 0)} m³"
            drawing.bars(look, (x, y, width, 20), (label_at, y + 26, 9, 9))
            drawing.text(text, label_at + 13, y + 35)
            label_at += 24 + 5.9 * len(text)
            x += width
    return drawing.draw()


def hydrograph(course: Mapping[str, FloatArray]) -> Markup:
    """What comes to a swale and what it spills in the storm that governs it, over time.

    Parameters
    ----------
    course : after_min, inflow_m3s and spill_m3s at a storm's moments
    """
    hours, inflow, spill = (
        np.asarray(course[name], dtype=float) for name in ("after_min", "inflow_m3s", "spill_m3s")
    )
    hours = hours / 60.0
    most, over = float(inflow.max(initial=0.0)), float(spill.max(initial=0.0))
    # Storms last for days: shown is the time in which more than a hundredth of the peak comes.
    wet = np.flatnonzero(np.maximum(inflow, spill) > 0.01 * max(most, over))
    first, last = (max(wet[0] - 1, 0), min(wet[-1] + 1, hours.size - 1)) if wet.size else (0, -1)
    frame = Frame(
        float(hours[first]), max(float(hours[last]), float(hours[first]) + 0.1),
        0.0, max(most, over, 1e-4) * 1.08, 52, 20, _WIDTH - 62, 96,
    )  # fmt: skip
    at = float(hours[int(np.argmax(inflow))]) if hours.size else 0.0
    about = f"Inflow peaks at {most:.3f} m³/s, {at:.1f} h after the start; spill at {over:.3f} m³/s"
    drawing = Svg(_WIDTH, 146, "Hydrograph of the governing storm", about)
    axes(drawing, frame, "h from the start of the storm", "m³/s")
    shown = slice(first, last + 1 if last >= 0 else None)
    for look, values in (("line1", inflow), ("line2", spill)):
        drawing.line(look, frame.points(hours[shown], values[shown]))
    return drawing.draw()


def rain_depths(storms: pd.DataFrame) -> Markup:
    """Depth against duration of the design and the check storms, durations by their logarithm."""
    rain = storms.drop_duplicates(["purpose", "duration_min"]).sort_values("duration_min")
    minutes = rain["duration_min"].to_numpy(float)
    top = float(rain["depth_mm"].max()) * 1.1
    low, high = float(np.log10(minutes.min())), float(np.log10(minutes.max()))
    frame = Frame(low, max(high, low + 0.1), 0, max(top, 1), 46, 20, _WIDTH - 60, 130)
    drawing = Svg(_WIDTH, 186, "Rain by duration", "Depths are in the table beside it")
    axes(drawing, frame, "", "depth, mm", x_ticks=())
    bottom = frame.top + frame.height
    drops = frame.x(np.log10(np.unique(minutes)))
    drawing.rules("grid", "".join(f"M{x:.1f} {frame.top:g}V{bottom:g}" for x in drops))
    shown = -100.0
    for own in np.unique(minutes):
        x = frame.x(np.log10(own))
        if x - shown > 34:
            text = f"{own:g} min" if own < 60 else f"{own / 60:g} h"
            drawing.text(text, x, bottom + 14, "middle")
            shown = x
    drawing.text("duration of the storm", _WIDTH - 14, bottom + 29, "end")
    for purpose, look in (("check", "line2"), ("design", "line1")):
        own_rain = rain[rain["purpose"] == purpose]
        if len(own_rain):
            x = np.log10(own_rain["duration_min"].to_numpy(float))
            depth = own_rain["depth_mm"].to_numpy(float)
            drawing.line(look, frame.points(x, depth))
    return drawing.draw()


def water_years(years: pd.DataFrame) -> Markup:
    """Soaked, evaporated and spilled water of all swales, year by year."""
    sums = years.groupby("year")[["soaked_m3", "evaporated_m3", "spilled_m3"]].sum().astype(float)
    top = max(float(sums.sum(axis=1).max()) * 1.05, 1.0)
    first, last = float(sums.index.min()), float(sums.index.max())
    frame = Frame(first - 0.6, last + 0.6, 0, top, 62, 34, _WIDTH - 72, 130)
    drawing = Svg(_WIDTH, 196, "Water of the years", "Figures are in the table beside it")
    axes(drawing, frame, "year from digging", "", None if last - first > 8 else sums.index)
    drawing.text("all swales, m³ a year", 2, 10)
    looks = (("soaked_m3", "soaked in", "p4"), ("evaporated_m3", "evaporated", "p3"),
             ("spilled_m3", "spilled", "p6"))  # fmt: skip
    below = np.zeros(len(sums))
    for place, (name, words, look) in enumerate(looks):
        value = sums[name].to_numpy()
        width = 0.8 * (frame.x(1.0) - frame.x(0.0))
        left, top, foot = frame.x(sums.index.to_numpy(float)) - width / 2, below + value, below
        bars = [
            (x, frame.y(high), width, frame.y(low) - frame.y(high))
            for x, high, low in zip(left, top, foot, strict=True)
        ]
        drawing.bars(look, *bars, (180.0 + 110 * place, 2, 9, 9))
        below = top
        drawing.text(words, 193 + 110 * place, 10)
    return drawing.draw()
