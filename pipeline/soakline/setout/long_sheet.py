"""Long sections: ground, lip, base, crest and pegs along each swale; several to a sheet."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from soakline.grid import FloatArray
from soakline.setout.plan import SetOutPlan
from soakline.setout.sheet import GREY, GROUND, INK, MARGIN_MM, RED, Sheet, scale_that_fits
from soakline.setout.swale import Swale, Track

_LENGTH_SCALES = (100, 125, 200, 250, 400, 500, 750, 1000, 1250, 1500, 2000, 2500, 5000, 10000)
_HEIGHT_SCALES = (10, 20, 25, 30, 40, 50, 75, 100, 125, 150, 200, 300, 500)
_ROW_MM = 53.0
_GRAPH_MM = 16.5
_HEAD_MM, _NAMES_MM, _LABELS_MM = 6.5, 2.2, 4.9
_LEFT_MM = 24.0  # names of the rows of figures
_LEAST_GAP_MM = 3.0  # between upright figures
_BANDS = (("peg", 5.5), ("chainage", 8.3), ("ground", 8.5), ("cut", 5.5))
_BLUE, _BASE, _CREST, _TRACK = "#2d6f9f", "#222222", "#9a6a1f", "#6b3fa0"
_HOLLOW = "#1b7f79"
_LABELS = {"pond": "pond", "basin": "basin", "organic_pit": "pit"}
_LEAST_LABEL_GAP_MM = 12.0
_FIRST = {"start": 0, "end": 0, "sill": 1}


def long_sheets(plan: SetOutPlan, paper: str) -> list[Sheet]:
    """Draw the long section of every swale, in the plan's order."""
    sheets: list[Sheet] = []
    room = 0.0
    for swale in plan.swales:
        if room < _ROW_MM:
            sheets.append(_new_sheet(plan, paper))
            room = sheets[-1].body_mm[1] - sheets[-1].body_mm[0] - 5.0
            top = sheets[-1].body_mm[1] - 5.0
        _draw(sheets[-1], plan, swale, top)
        top, room = top - _ROW_MM, room - _ROW_MM
    return sheets


def _new_sheet(plan: SetOutPlan, paper: str) -> Sheet:
    sheet = Sheet(paper, "Long sections", plan.name)
    y = sheet.body_mm[1] - 1.5
    x = MARGIN_MM
    keys: tuple[tuple[str, str, Literal["-", "--"]], ...] = (
        ("ground", GROUND, "--"),
        ("lip", _BLUE, "-"),
        ("base", _BASE, "-"),
        ("mound, settled", _CREST, "-"),
        ("sill = full water", RED, "-"),
        ("ford or causeway", _TRACK, "-"),
        ("pond, basin or pit", _HOLLOW, "-"),
    )
    for words, colour, style in keys:
        sheet.line([x, x + 8], [y, y], colour, 1.6 if colour == RED else 1.1, style)
        sheet.text(x + 10, y, words, 7)
        x += 16 + 1.55 * len(words)
    words = "Cut: ground down to the base, m. Locate services at every peg before digging."
    sheet.text(MARGIN_MM + 48.0, sheet.height_mm - MARGIN_MM - 4.0, words, 7, RED)
    return sheet


@dataclass(frozen=True, eq=False, slots=True)
class _Place:
    """Where chainages and heights of one swale lie on the sheet."""

    left_mm: float
    bottom_mm: float
    length_scale: int
    height_scale: int
    lowest_m: float

    def x(self, along_m: FloatArray | float) -> FloatArray:
        return np.asarray(self.left_mm + 1000.0 * np.asarray(along_m) / self.length_scale)

    def y(self, level_m: FloatArray | float) -> FloatArray:
        above = np.asarray(level_m) - self.lowest_m
        return np.asarray(self.bottom_mm + 1000.0 * above / self.height_scale)


def _draw(sheet: Sheet, plan: SetOutPlan, swale: Swale, top: float) -> None:
    crest = swale.level_m + swale.crest_height_m
    floors = [hollow.floor_level_m for hollow in swale.hollows]
    lowest = min([swale.base_level_m, float(np.min(swale.ground_m)), *floors])
    highest = max(crest, float(np.max(swale.ground_m)))
    left = MARGIN_MM + _LEFT_MM
    room = sheet.width_mm - left - MARGIN_MM - 2.0
    place = _Place(
        left,
        top - _HEAD_MM - _GRAPH_MM,
        scale_that_fits(swale.length_m, room, _LENGTH_SCALES),
        scale_that_fits(highest - lowest, _GRAPH_MM, _HEIGHT_SCALES),
        lowest,
    )
    sheet.text(MARGIN_MM, top - _NAMES_MM, swale.swale_id, 9, weight="bold")
    sheet.text(MARGIN_MM + _LEFT_MM, top - _NAMES_MM, _head(plan, swale, place), 7)
    _lines(sheet, swale, place, crest)
    _hollows(sheet, swale, place, top - _LABELS_MM)
    _heights(sheet, swale, place, crest)
    _figures(sheet, swale, place)


def _head(plan: SetOutPlan, swale: Swale, place: _Place) -> str:
    mark = plan.benchmark

    def level(elevation: float) -> str:
        if mark is None:
            return f"{elevation:.3f}"
        return f"{elevation:.3f} (BM {elevation - mark.level_m:+.3f})"

    crest = swale.level_m + swale.crest_height_m
    words = f"length {swale.length_m:.2f} m, lip {level(swale.level_m)}, "
    words += f"base {level(swale.base_level_m)}"
    if swale.crest_height_m > 0:
        words += f", crest {level(crest)}"
    face = swale.open_face_m
    words += f", lengths 1 : {place.length_scale}, heights 1 : {place.height_scale}"
    if face > 1.2:
        words += f", face {face:.2f} m: trench safety"
    return words


def _lines(sheet: Sheet, swale: Swale, place: _Place, crest: float) -> None:
    length = swale.length_m
    inset = min(swale.trench.batter * swale.trench.depth_m, length / 2.0)
    base = swale.level_m, swale.base_level_m, swale.base_level_m, swale.level_m
    sheet.line(
        place.x(np.array([0, inset, length - inset, length])), place.y(np.array(base)), _BASE
    )
    sheet.line(place.x(swale.chainage_m), place.y(swale.ground_m), GROUND, 0.9, "--")
    ends, level = np.array([0.0, length]), np.full(2, swale.level_m)
    sheet.line(place.x(ends), place.y(level), _BLUE, 1.0)
    for reach in swale.mounded_m:
        sheet.line(place.x(np.array(reach)), place.y(np.full(2, crest)), _CREST, 1.1)
    for sill in swale.sills:
        gap = np.array([sill.start_m, sill.end_m])
        sheet.line(place.x(gap), place.y(np.full(2, sill.level_m)), RED, 2.2)
    for track in swale.tracks:
        _track(sheet, swale, place, track)


def _track(sheet: Sheet, swale: Swale, place: _Place, track: Track) -> None:
    """The crown over the track's width, which is solid down to the base under a causeway."""
    side = 0.0 if track.kind == "ford" else swale.trench.depth_m + track.crown_m
    start, end = track.start_m, track.end_m
    crown = swale.level_m + track.crown_m
    if side:
        run = side * 2.0  # sides of the fill, drawn as steep as most are
        along = np.array([start - run, start, end, end + run])
        levels = np.array([swale.base_level_m, crown, crown, swale.base_level_m])
        sheet.line(place.x(along), place.y(levels), _TRACK, 1.0)
    else:
        sheet.line(place.x(np.array([start, end])), place.y(np.full(2, crown)), _TRACK, 1.0)


def _hollows(sheet: Sheet, swale: Swale, place: _Place, top: float) -> None:
    """Floors of ponds, basins and pits, and their numbers; those that would meet left out."""
    taken = -np.inf
    for hollow in swale.hollows:
        run = hollow.end_run_m(swale.trench) if hollow.depth_m else 0.0
        along = [hollow.start_m, hollow.start_m + run, hollow.end_m - run, hollow.end_m]
        floor, base = hollow.floor_level_m, swale.base_level_m
        levels = np.array([base, floor, floor, base])
        sheet.line(place.x(np.array(along)), place.y(levels), _HOLLOW, 1.3)
        x = float(place.x(hollow.chainage_m))
        if x - taken >= _LEAST_LABEL_GAP_MM:
            taken = x
            name = hollow.point_id.rpartition("-")[2]
            sheet.text(x, top, f"{_LABELS[hollow.kind]} {name}", 6, _HOLLOW, ha="center")


def _heights(sheet: Sheet, swale: Swale, place: _Place, crest: float) -> None:
    """Heights at the left of the graph, those that would meet left out."""
    taken: list[float] = []
    for level in (swale.level_m, swale.base_level_m, crest):
        y = float(place.y(level))
        if all(abs(y - other) > 3.0 for other in taken):
            taken.append(y)
            sheet.text(place.left_mm - 2.0, y, f"{level:.3f}", 6, GREY, ha="right")


def labelled(x_mm: FloatArray, kinds: Sequence[str], least_gap_mm: float) -> list[int]:
    """Pegs whose figures are written: ends and sills first, then as many others as find room.

    Parameters
    ----------
    x_mm : (n,) places on the sheet, rising
    kinds : (n,) of the pegs
    least_gap_mm : between figures

    Returns
    -------
    indices, rising

    Examples
    --------
    >>> labelled(np.array([0.0, 2.0, 4.0, 5.0]), ("start", "line", "bend", "end"), 3.0)
    [0, 3]
    """
    kept: list[int] = []
    for k in sorted(range(len(kinds)), key=lambda k: (_FIRST.get(kinds[k], 2), k)):
        if all(abs(x_mm[k] - x_mm[other]) >= least_gap_mm for other in kept):
            kept.append(k)
    return sorted(kept)


def _figures(sheet: Sheet, swale: Swale, place: _Place) -> None:
    x = place.x(swale.chainage_m)
    top = place.bottom_mm - 1.5
    right = float(place.x(swale.length_m))
    shown = labelled(x, swale.peg_kind, _LEAST_GAP_MM)
    for k in range(x.size):
        y = float(place.y(swale.ground_m[k]))
        sheet.line([float(x[k])] * 2, [top, y], GREY, 0.5 if k in shown else 0.25)
    figures = {
        "peg": [name.rpartition("-")[2] for name in swale.peg_id],
        "chainage": [f"{at:.2f}" for at in swale.chainage_m],
        "ground": [f"{ground:.2f}" for ground in swale.ground_m],
        "cut": [f"{ground - swale.base_level_m:.2f}" for ground in swale.ground_m],
    }
    for name, high in _BANDS:
        sheet.line([MARGIN_MM, right + 2.0], [top, top], GREY, 0.3)
        unit = "" if name == "peg" else ", m"
        sheet.text(MARGIN_MM, top - high / 2.0, name + unit, 6.5, INK)
        for k in shown:
            sheet.text(
                float(x[k]), top - high / 2.0, figures[name][k], 6, ha="center", upright=True
            )
        top -= high
