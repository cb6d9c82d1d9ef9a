"""A section drawing for each type of section: to scale, dimensioned, with soil, water and trees."""

import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.patches import Circle

from soakline.grid import FloatArray
from soakline.setout.breaklines import section_edges
from soakline.setout.plan import SetOutPlan
from soakline.setout.section_notes import mound_notes, trench_notes
from soakline.setout.section_types import SectionType
from soakline.setout.sheet import (
    GREY,
    GROUND,
    INK,
    LAYER,
    MARGIN_MM,
    SOIL,
    SPOIL,
    WATER,
    Sheet,
    scale_that_fits,
)
from soakline.setout.swale import Beside, Swale

Floats = Sequence[float] | FloatArray

_SCALES = (10, 20, 25, 30, 40, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500)
_TIER_MM = 6.5
_NOTES_MM = 42.0  # room for the notes under the drawing
_TREES_MM = 16.0  # symbols of trees over the ground
_BESIDE_M = 1.0  # ground shown on both sides
_SIDE_MM = 16.0  # room for upright dimensions on both sides
_LINE_MM = 3.9
_OVER_LINES = 5  # order of drawing
_FIGURE_MM = 3.6  # room for a figure of 7 points between two lines
_LETTER_MM = 1.35  # mean width of a letter of 7 points


def section_sheet(plan: SetOutPlan, kind: SectionType, paper: str) -> Sheet:
    """Draw one type; uphill on the left, as one sees it looking along the chainage."""
    swale, peg = kind.drawn, kind.peg
    beside = swale.beside_at(swale.chainage_m[peg : peg + 1])
    offset, height = (
        values[0]
        for values in section_edges(
            swale,
            beside,
            np.array([swale.trench.depth_m]),
            np.array([swale.crest_height_m > 0]),
        )
    )
    sheet = Sheet(paper, f"Section type {kind.number}", plan.name)
    if swale.crest_height_m <= 0:
        offset, height = offset[4:], height[4:]
    reach = (float(offset[0]) - _BESIDE_M, float(offset[-1]) + _BESIDE_M)
    room = sheet.width_mm - 2 * MARGIN_MM - 2 * _SIDE_MM
    bottom, top = sheet.body_mm
    high_room = top - bottom - _NOTES_MM - 4 * _TIER_MM - _TREES_MM - 8.0
    ground = ground_line_m(beside, np.array(reach))
    lowest = min(float(height.min()) - swale.below_m, float(ground.min()))
    span = max(float(height.max()), float(ground.max())) - lowest
    scale = max(
        scale_that_fits(reach[1] - reach[0], room, _SCALES),
        scale_that_fits(span, high_room, _SCALES),
    )
    spare = max(0.0, high_room - 1000.0 * span / scale)
    base_y = bottom + _NOTES_MM + 4 * _TIER_MM + spare / 2.0
    drawing = _Section(sheet, scale, reach, base_y - 1000.0 * lowest / scale, beside)
    drawing.ground_and_works(swale, offset, height)
    drawing.dimensions(swale, offset, height, base_y)
    drawing.trees(swale, offset, height)
    sheet.text(
        MARGIN_MM,
        top - 3,
        f"Scale 1 : {scale} on {paper}. Drawn at peg {swale.peg_id[peg]}, where the cut face is "
        "the highest of the type. Dimensions in m. Uphill is on the left.",
        7.5,
    )
    _notes(sheet, plan, kind, bottom + _NOTES_MM - 5.0)
    return sheet


def ground_line_m(beside: Beside, offset_m: FloatArray) -> FloatArray:
    """Ground less level at distances from one lip, uphill positive, m: straight to the daylight
    edge, and on at its slope.
    """
    above, edge = float(beside.above_m[0]), float(beside.daylight_m[0])
    rise = (float(beside.daylight_above_m[0]) - above) / max(edge, 1e-9)
    return above + np.where(offset_m < 0.0, float(beside.fall[0]), rise) * offset_m


class _Section:
    """Places of a section on the sheet, and what is drawn there."""

    def __init__(
        self, sheet: Sheet, scale: int, reach: tuple[float, float], level_y: float, beside: Beside
    ) -> None:
        self.sheet, self.scale, self.reach, self.level_y = sheet, scale, reach, level_y
        self.beside = beside
        middle = (reach[0] + reach[1]) / 2.0
        self.lip_x = sheet.width_mm / 2.0 + 1000.0 * middle / scale

    def x(self, offset_m: float) -> float:
        return float(self.lip_x - 1000.0 * offset_m / self.scale)

    def y(self, height_m: float) -> float:
        return float(self.level_y + 1000.0 * height_m / self.scale)

    def ground_m(self, offset_m: float) -> float:
        return float(ground_line_m(self.beside, np.array([offset_m]))[0])

    def ground_and_works(self, swale: Swale, offset: FloatArray, height: FloatArray) -> None:
        low, high = self.reach
        sides = [low, 0.0, float(offset[-1]), high]
        floor = self.y(float(height.min()) - swale.below_m) - 4.0
        xs = [self.x(u) for u in (low, *offset, high)]
        ys = [self.y(h) for h in (self.ground_m(low), *height, self.ground_m(high))]
        self.sheet.area([*xs, xs[-1], xs[0]], [*ys, floor, floor], SOIL)
        if swale.crest_height_m > 0:
            self.sheet.area(xs[1:5], ys[1:5], SPOIL)
        # Where spoil is spread the sill is cut below the lip, and water stands no higher.
        full = swale.sill_level_m - swale.level_m
        edge = -full * swale.trench.batter
        water = [edge, swale.trench.top_width_m - edge]
        wet = [water[0], float(offset[-3]), float(offset[-2]), water[1]]
        depth = [full, -swale.trench.depth_m, -swale.trench.depth_m, full]
        self.sheet.area([self.x(u) for u in wet], [self.y(h) for h in depth], WATER)
        if swale.below_m > 0.0:
            base, low = -swale.trench.depth_m, -swale.trench.depth_m - swale.below_m
            xs_below = [self.x(offset[k]) for k in (-3, -3, -2, -2)]
            self.sheet.area(xs_below, [self.y(h) for h in (base, low, low, base)], LAYER)
        self.sheet.line(
            [self.x(u) for u in sides], [self.y(self.ground_m(u)) for u in sides],
            GROUND, 0.9, "--",
        )  # fmt: skip
        self.sheet.line(xs, ys, INK, 1.4)
        self.sheet.line([self.x(u) for u in water], [self.y(full)] * 2, "#2d6f9f", 1.0)
        words = self.sheet.text(
            self.x(swale.trench.top_width_m * 0.72), self.y(full) + 2.2,
            "full water = sill" + f", {-full:.2f} under the lip" * (full < 0.0), 7, "#2d6f9f",
            ha="center",
        )  # fmt: skip
        # The ground as it was runs through here.
        words.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 0.6})

    def dimensions(
        self, swale: Swale, offset: FloatArray, height: FloatArray, base_y: float
    ) -> None:
        sheet, trench = self.sheet, swale.trench
        tiers = [base_y - _TIER_MM * (k + 1) - 3.0 for k in range(3)]
        lines = [
            (offset[-3], offset[-2], 0, f"base {trench.base_width_m:.2f}"),
            (0.0, trench.top_width_m, 1, f"top width {trench.top_width_m:.2f}"),
            (0.0, offset[-1], 2, f"lip to daylight {offset[-1]:.2f}"),
        ]
        if swale.crest_height_m > 0:
            lines += [
                (offset[1], offset[2], 0, f"crest {swale.crest_width_m:.2f}"),
                (offset[0], 0.0, 2, f"lip to toe {-offset[0]:.2f}"),
            ]
        if swale.crest_height_m > 0 and swale.mound.berm_m > 0.0:
            lines.append((-swale.mound.berm_m, 0.0, 1, f"berm {swale.mound.berm_m:.2f}"))
        for start, end, tier, words in lines:
            for at in (start, end):
                top = self.y(float(np.interp(at, offset, height)))
                sheet.line([self.x(at)] * 2, [tiers[tier] - 1, top], GREY, 0.3)
            sheet.across(self.x(end), self.x(start), tiers[tier], words)
        self._depth((offset[-3] + offset[-2]) / 2.0, trench.depth_m)
        face = float(height[-1]) + trench.depth_m
        self._beside(self.x(self.reach[1]) - 2.0, (offset[-2], offset[-1]), height[-2:], face, -1)
        if swale.crest_height_m > 0:
            x = self.x(self.reach[0]) + 2.0
            self._beside(x, (0.0, offset[1]), (0.0, height[1]), swale.crest_height_m, 1)

    def _depth(self, at: float, depth_m: float) -> None:
        """From the base to the lip's level; the figure under the base where it has no room."""
        x, low, high = self.x(at), self.y(-depth_m), self.y(0.0)
        fits = high - low > _FIGURE_MM
        self.sheet.up(x, low, high, f"{depth_m:.2f}" if fits else "", 1)
        if not fits:
            self.sheet.text(x + 1.4, low - _FIGURE_MM / 2.0 - 0.4, f"{depth_m:.2f}", 7)

    def _beside(self, x: float, at: Floats, heights: Floats, figure: float, side: int) -> None:
        for offset, height in zip(at, heights, strict=True):
            self.sheet.line([self.x(offset), x], [self.y(height)] * 2, GREY, 0.3)
        y1, y2 = self.y(heights[0]), self.y(heights[1])
        self.sheet.up(x, y1, y2, f"{figure:.2f}", side)

    def trees(self, swale: Swale, offset: FloatArray, height: FloatArray) -> None:
        """Symbols, not to scale, where bands of trees stand; letters lead to the notes."""
        places = [("D", offset[-1] + 0.6 * _BESIDE_M)]
        if swale.crest_height_m > 0:
            middle = (offset[1] + offset[2]) / 2.0
            face = (offset[0] + offset[1]) / 2.0
            places += [("A", middle), ("B", face), ("C", offset[0] - 0.6 * _BESIDE_M)]
        else:
            places += [("C", self.reach[0] * 0.6)]
        for letter, at in places:
            if offset[0] <= at <= offset[-1]:
                foot = float(np.interp(at, offset, height))
            else:
                foot = self.ground_m(at)
            x, y = self.x(at), self.y(foot)
            self.sheet.line([x, x], [y, y + 6.0], "#4c6b33", 1.2)
            crown = Circle((x, y + 9.0), 3.0, facecolor="#dbe8cf", edgecolor="#4c6b33", lw=0.8)
            crown.set_zorder(_OVER_LINES)
            self.sheet.axes.add_artist(crown)
            words = self.sheet.text(x, y + 9.0, letter, 7, ha="center", weight="bold")
            words.set_zorder(_OVER_LINES + 1)


def _notes(sheet: Sheet, plan: SetOutPlan, kind: SectionType, top: float) -> None:
    """What the drawing cannot show, in two columns; cautions beside their figures."""
    column_mm = (sheet.width_mm - 2 * MARGIN_MM) / 2.0
    letters = int(column_mm / _LETTER_MM)
    columns = trench_notes(plan, kind, letters), mound_notes(kind)
    for k, column in enumerate(columns):
        y = top
        for words, colour in column:
            for line in textwrap.wrap(words, letters):
                sheet.text(MARGIN_MM + k * column_mm, y, line, 7, colour)
                y -= _LINE_MM
