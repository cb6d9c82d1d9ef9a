"""Sheets of the tree-height projection: each pair of neighbouring swales seen from the side."""

from collections.abc import Sequence

from matplotlib.patches import Ellipse

from soakline.setout.plan import SetOutPlan, Sight
from soakline.setout.sheet import GREY, GROUND, INK, MARGIN_MM, RED, Sheet, scale_that_fits

_SCALES = (50, 100, 200, 250, 300, 400, 500, 1000, 1500, 2000, 2500, 5000, 10_000, 50_000)
_PANEL_MM = (66.0, 50.0)  # at least
_HEAD_MM = 16.0  # three lines of text over each panel
_LINE_MM = 3.7
_PAD_MM = 5.0
_INTRO_MM = 12.0
_TREE, _CROWN = "#4c6b33", "#dbe8cf"
# What shows over trees is told from this height on, m.
_SHOWS_M = 0.05


def sight_sheets(plan: SetOutPlan, paper: str) -> list[Sheet]:
    """Draw every pair, so many to a sheet as have room; none where no swale has a neighbour."""
    sheets: list[Sheet] = []
    sights = list(plan.sights)
    while sights:
        sheet = Sheet(paper, f"Tree-height projection {len(sheets) + 1}", plan.name)
        bottom, top = sheet.body_mm
        across = int((sheet.width_mm - 2 * MARGIN_MM) // _PANEL_MM[0])
        down = int((top - bottom - _INTRO_MM) // _PANEL_MM[1])
        drawn, sights = sights[: across * down], sights[across * down :]
        _draw(sheet, drawn, across, down)
        sheets.append(sheet)
    return sheets


def _draw(sheet: Sheet, sights: Sequence[Sight], across: int, down: int) -> None:
    bottom, top = sheet.body_mm
    width = (sheet.width_mm - 2 * MARGIN_MM) / across
    height = (top - bottom - _INTRO_MM) / down
    long = scale_that_fits(max(own.distance_m for own in sights), width - 4 * _PAD_MM, _SCALES)
    tallest = max(max(own.drop_m, own.tree_height_m) for own in sights)
    high = scale_that_fits(tallest, height - _HEAD_MM - 2 * _PAD_MM, _SCALES)
    sheet.text(
        MARGIN_MM,
        top - 3.0,
        f"Lengths 1 : {long}, heights 1 : {high}. A level line from the tops of mature trees on "
        "the lower swale (left), and the hill up to the",
        7.5,
    )
    sheet.text(
        MARGIN_MM,
        top - 7.0,
        "lip above (right), where the two are nearest: who looks up from below sees one wall of "
        "trees where the line meets that lip. Crowns are symbols.",
        7.5,
    )
    for k, sight in enumerate(sights):
        row, column = divmod(k, across)
        left = MARGIN_MM + column * width
        _panel(sheet, sight, left, top - _INTRO_MM - row * height, height, (long, high))


def _panel(
    sheet: Sheet, sight: Sight, left: float, top: float, height: float, scale: tuple[int, int]
) -> None:
    seen, hidden = sight.drop_m - sight.tree_height_m, sight.tree_height_m - sight.drop_m
    words, colour = "one wall of trees", INK
    if seen > _SHOWS_M:
        words, colour = f"{seen:.2f} m of bare hill shows", RED
    elif hidden > _SHOWS_M:
        words = f"trees stand {hidden:.2f} m before the upper swale"
    sheet.text(left, top - 3.0, f"{sight.below_id} up to {sight.above_id}", 7.5, weight="bold")
    apart = f"{sight.distance_m:.1f} m apart, {sight.drop_m:.2f} m up"
    sheet.text(left, top - 3.0 - _LINE_MM, f"{apart}; trees grow {sight.tree_height_m:g} m", 6.5)
    sheet.text(left, top - 3.0 - 2 * _LINE_MM, words, 6.5, colour)
    x0, y0 = left + 2 * _PAD_MM, top - height + _PAD_MM
    x1 = x0 + 1000.0 * sight.distance_m / scale[0]
    y1 = y0 + 1000.0 * sight.drop_m / scale[1]
    tree_top = y0 + 1000.0 * sight.tree_height_m / scale[1]
    slope = (y1 - y0) / max(x1 - x0, 1e-9)
    sheet.line([x0 - _PAD_MM, x0, x1, x1 + _PAD_MM], [y0, y0, y1, y1], GROUND, 1.2)
    # The line of sight ends on the hill, or goes on over the upper lip.
    meets = x1 if tree_top >= y1 else x0 + (tree_top - y0) / max(slope, 1e-9)
    sheet.line([x0, meets], [tree_top, tree_top], GREY, 0.6, "--")
    if seen > _SHOWS_M:
        sheet.line([x1, x1], [tree_top, y1], RED, 1.0)
    tall = tree_top - y0
    sheet.line([x0, x0], [y0, y0 + 0.5 * tall], _TREE, 1.0)
    crown = Ellipse((x0, y0 + 0.65 * tall), 5.0, 0.7 * tall, facecolor=_CROWN, edgecolor=_TREE)
    crown.set_linewidth(0.7)
    sheet.axes.add_artist(crown)
