"""Maps to take to the field: an index of the property, then sheet by sheet at one scale."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke

from soakline.grid import FloatArray
from soakline.outputs.hillshade import Bounds, shade
from soakline.outputs.picture_layers import MapDrawing
from soakline.outputs.picture_panel import draw_panel
from soakline.setout.map_layers import MapLayers
from soakline.setout.sheet import INK, MARGIN_MM, RED, Sheet

_SCALES = (500, 1000, 1250, 2000, 2500, 5000, 10_000, 20_000)
_MOST_SHEETS = 16
_PANEL_MM = 76.0
_GRID_MM = 5.0  # beside the map, for the grid's figures
_LAP = 0.05  # of a sheet that its neighbour shows too
_GRID_STEPS_M = (50, 100, 200, 250, 500, 1000, 2000)
_GRID_APART_MM = 60.0
_PEG_POINTS = 4.8
_POINT_MM = 25.4 / 72.0
_LINE_SHARE = 1.5  # height of a line over its points
_LETTER_SHARE = 0.46  # width of a letter over the line's height
_PEGS_UP_TO = 2500  # scale at which single pegs can still be told apart
_PIXELS = 600
_FIRST = ("start", "end", "sill", "bend", "line")
_HALO = withStroke(linewidth=2.0, foreground="white")


@dataclass(frozen=True, slots=True)
class Frame:
    """One sheet's ground.

    Parameters
    ----------
    name : letter of its row from the north, number of its column from the west
    bounds : west, south, east, north, m
    """

    name: str
    bounds: Bounds


def frames_of(
    land: Bounds, works: shapely.STRtree, size_mm: tuple[float, float]
) -> tuple[int, list[Frame]]:
    """Scale and frames: the largest scale that covers the works with a bearable number of sheets.

    Parameters
    ----------
    land : bounds of the property, m
    works : tree of what has to be shown; frames without any are left out
    size_mm : width and height of the map on paper
    """
    for scale in _SCALES:
        found = [frame for frame in _tiles(land, scale, size_mm) if _meets(frame, works)]
        if len(found) <= _MOST_SHEETS:
            break
    return scale, found


def _tiles(land: Bounds, scale: int, size_mm: tuple[float, float]) -> list[Frame]:
    """Frames over the land, each lapping over the next, the whole in its middle."""
    width, height = (side * scale / 1000.0 for side in size_mm)
    step = np.array([width, height]) * (1.0 - _LAP)
    west, south, east, north = land
    lapped = np.array([width, height]) * _LAP
    columns, rows = (
        max(1, int(np.ceil((extent - lap) / advance)))
        for extent, lap, advance in zip((east - west, north - south), lapped, step, strict=True)
    )
    left = (west + east) / 2 - ((columns - 1) * step[0] + width) / 2
    top = (south + north) / 2 + ((rows - 1) * step[1] + height) / 2
    return [
        Frame(
            f"{_letters(row)}{column + 1}",
            (
                left + column * step[0],
                top - row * step[1] - height,
                left + column * step[0] + width,
                top - row * step[1],
            ),
        )
        for row, column in product(range(rows), range(columns))
    ]


def _letters(row: int) -> str:
    """A to Z, then AA and so on.

    Examples
    --------
    >>> _letters(0), _letters(25), _letters(26)
    ('A', 'Z', 'AA')
    """
    letters = ""
    row += 1
    while row > 0:
        row, last = divmod(row - 1, 26)
        letters = chr(ord("A") + last) + letters
    return letters


def _meets(frame: Frame, works: shapely.STRtree) -> bool:
    return bool(works.query(shapely.box(*frame.bounds), predicate="intersects").size)


def map_sheets(shown: MapLayers, name: str, paper: str) -> list[Sheet]:
    """Draw the index and every sheet.

    Parameters
    ----------
    shown : MapLayers
    name : of the property
    paper : "A4" or "A3"
    """
    land = tuple(float(edge) for edge in shown.layers["property"].total_bounds)
    probe = Sheet(paper, "", "")
    low, high = probe.body_mm
    size = (probe.width_mm - 2 * MARGIN_MM - _PANEL_MM - _GRID_MM, high - low - _GRID_MM)
    works = [
        shown.layers[layer].geometry.array
        for layer in ("swales", "overflow_routes", "diversions")
        if layer in shown.layers
    ]
    tree = shapely.STRtree(np.concatenate([np.asarray(own, dtype=object) for own in works]))
    scale, frames = frames_of((land[0], land[1], land[2], land[3]), tree, size)
    whole = _index_bounds((land[0], land[1], land[2], land[3]), size)
    index_scale = (whole[2] - whole[0]) * 1000.0 / size[0]
    index = _sheet(shown, paper, size, Frame("index", whole), index_scale, name, pegs=False)
    _draw_frames(index[1], frames)
    pegs = scale <= _PEGS_UP_TO
    drawn = [_sheet(shown, paper, size, frame, scale, name, pegs=pegs)[0] for frame in frames]
    return [index[0], *drawn]


def _index_bounds(land: Bounds, size_mm: tuple[float, float]) -> Bounds:
    west, south, east, north = land
    metres_per_mm = 1.06 * max((east - west) / size_mm[0], (north - south) / size_mm[1])
    half = (metres_per_mm * size_mm[0] / 2, metres_per_mm * size_mm[1] / 2)
    middle = ((west + east) / 2, (south + north) / 2)
    return middle[0] - half[0], middle[1] - half[1], middle[0] + half[0], middle[1] + half[1]


def _sheet(
    shown: MapLayers,
    paper: str,
    size_mm: tuple[float, float],
    frame: Frame,
    scale: float,
    name: str,
    *,
    pegs: bool,
) -> tuple[Sheet, Axes]:
    told = f"1 : {scale:,.0f}".replace(",", " ")
    note = f"index, about {told}" if frame.name == "index" else f"sheet {frame.name}, {told}"
    sheet = Sheet(paper, name, note)
    low = sheet.body_mm[0] + _GRID_MM
    left = MARGIN_MM + _GRID_MM
    axes = sheet.figure.add_axes(
        (
            left / sheet.width_mm,
            low / sheet.height_mm,
            size_mm[0] / sheet.width_mm,
            size_mm[1] / sheet.height_mm,
        )
    )
    metres_per_inch = scale * 0.0254
    drawing = MapDrawing(axes, metres_per_inch, frame.bounds)
    ground = shown.ground_within(frame.bounds, _PIXELS)
    if ground is not None:
        grid, height = ground
        drawing.ground(shade(height.astype(float), grid.cell_m), grid.bounds)
    within = {
        layer: frame_of.cx[frame.bounds[0] : frame.bounds[2], frame.bounds[1] : frame.bounds[3]]
        for layer, frame_of in shown.layers.items()
    }
    within["property"] = shown.layers["property"]
    drawing.plan(within)
    if pegs and "pegs" in within:
        draw_pegs(axes, within["pegs"], scale)
    _draw_grid(axes, frame.bounds, scale)
    panel = sheet.figure.add_axes(
        (
            (left + size_mm[0] + 6.0) / sheet.width_mm,
            low / sheet.height_mm,
            (_PANEL_MM - 6.0) / sheet.width_mm,
            size_mm[1] / sheet.height_mm,
        )
    )
    draw_panel(
        panel, ((_PANEL_MM - 6.0) / 25.4, size_mm[1] / 25.4), drawing.legend, metres_per_inch
    )
    return sheet, axes


def draw_pegs(axes: Axes, pegs: gpd.GeoDataFrame, scale: float) -> None:
    """Pegs as dots; names of those that are not lost in others, ends and sills before bends."""
    places = shapely.get_coordinates(pegs.geometry.array)
    axes.plot(*places.T, "o", ms=1.6, color=INK, mec="white", mew=0.3, zorder=9.5)
    order = np.argsort([_FIRST.index(kind) for kind in pegs["kind"]], kind="stable")
    # A name is so wide and so high on the ground; at the map's edges it stands inwards of its peg.
    high_m = _LINE_SHARE * _PEG_POINTS * _POINT_MM * scale / 1000.0
    (_, east), (_, north) = axes.get_xlim(), axes.get_ylim()
    boxes = _written(axes)
    for k in order.tolist():
        name, (x, y) = str(pegs["peg_id"].iloc[k]), places[k]
        wide_m = _LETTER_SHARE * len(name) * high_m
        right, up = x + 1.3 * wide_m < east, y + 2.0 * high_m < north
        corner = np.array([x - wide_m * (not right), y - high_m * (not up)])
        box = np.concatenate([corner, corner + np.array([wide_m, high_m])])
        if np.any((boxes[:, :2] < box[2:]).all(axis=1) & (boxes[:, 2:] > box[:2]).all(axis=1)):
            continue
        boxes = np.vstack([boxes, box])
        axes.annotate(
            name,
            (x, y),
            (1.6 if right else -1.6, 1.6 if up else -1.6),
            textcoords="offset points",
            ha="left" if right else "right",
            va="bottom" if up else "top",
            fontsize=_PEG_POINTS,
            color=INK,
            path_effects=[_HALO],
            zorder=11,
            annotation_clip=True,
        )


def _written(axes: Axes) -> FloatArray:
    """West, south, east and north of what is written on a map; (n, 4) m."""
    canvas = FigureCanvasAgg(axes.get_figure(root=True))
    renderer = canvas.get_renderer()  # type: ignore[no-untyped-call, unused-ignore]
    to_ground = axes.transData.inverted()
    extents = [
        text.get_window_extent(renderer).transformed(to_ground).extents for text in axes.texts
    ]
    return np.array(extents, dtype=np.float64).reshape(-1, 4)


def _draw_grid(axes: Axes, bounds: Bounds, scale: float) -> None:
    """Lines of whole eastings and northings, their figures at the edges."""
    step = next(
        (s for s in _GRID_STEPS_M if s * 1000.0 / scale >= _GRID_APART_MM), _GRID_STEPS_M[-1]
    )
    west, south, east, north = bounds
    for x in np.arange(np.ceil(west / step) * step, east, step):
        axes.axvline(x, color=INK, lw=0.3, alpha=0.45, zorder=3.5)
        axes.annotate(
            f"{x:.0f}", (x, south), (0, -2), textcoords="offset points",
            fontsize=6, ha="center", va="top", color=INK, annotation_clip=False,
        )  # fmt: skip
    for y in np.arange(np.ceil(south / step) * step, north, step):
        axes.axhline(y, color=INK, lw=0.3, alpha=0.45, zorder=3.5)
        axes.annotate(
            f"{y:.0f}", (west, y), (-2, 0), textcoords="offset points",
            fontsize=6, ha="right", va="center", rotation=90, color=INK, annotation_clip=False,
        )  # fmt: skip


def _draw_frames(axes: Axes, frames: Sequence[Frame]) -> None:
    for frame in frames:
        west, south, east, north = frame.bounds
        axes.add_patch(
            Rectangle(
                (west, south), east - west, north - south, fill=False, edgecolor=RED, lw=0.9,
                zorder=12,
            )
        )  # fmt: skip
        axes.text(
            (west + east) / 2, (south + north) / 2, frame.name, fontsize=13, color=RED, ha="center",
            va="center", weight="bold", path_effects=[_HALO], zorder=13, clip_on=True,
        )  # fmt: skip
