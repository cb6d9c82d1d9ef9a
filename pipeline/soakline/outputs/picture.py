"""The plan over a hillshade, as one PNG to look at."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import geopandas as gpd
import matplotlib.style
import pandas as pd
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from soakline.grid import Grid, GroundArray
from soakline.outputs.hillshade import Bounds, ground_within, shade
from soakline.outputs.picture_layers import MapDrawing
from soakline.outputs.picture_panel import draw_panel
from soakline.outputs.whole_file import written_whole

CAUTION = "Level from an instrument on site; check with local codes and a licensed engineer."

_DPI = 200
_WIDEST_IN, _HIGHEST_IN = 12.0, 12.0  # 2400 pixels
_PANEL_IN, _GAP_IN, _TITLE_IN, _FOOT_IN = 2.9, 0.2, 0.55, 0.4
_NARROWEST_MAP_IN, _LOWEST_MAP_IN = 4.0, 5.6
_MARGIN = 0.06  # of the property's longer side, shown around it

# The file's size is bound by its pixels: four bytes each, before compression.
_MOST_BYTES = 4 * int(_WIDEST_IN * _DPI) * int(_HIGHEST_IN * _DPI)


@contextmanager
def drawn_map(
    path: Path,
    grid: Grid,
    ground_m: GroundArray,
    layers: Mapping[str, gpd.GeoDataFrame | pd.DataFrame],
    title: str,
) -> Iterator[None]:
    """Draw the plan over its ground; the picture takes its place when the block ends well.

    The picture shows the property and a margin, north up, at most 2400 pixels a side. Two runs of
    the same input give the same bytes. It is drawn before the block, so that what the block writes
    and the picture stand together or not at all.

    Parameters
    ----------
    path : the PNG; a file that stands there is replaced
    grid : of `ground_m`
    ground_m : (rows, columns) float32, m; NaN where not valid
    layers : the plan's layers by name, in the grid's CRS; `property` must be there
    title : one line

    Raises
    ------
    InputRefused
        If the picture cannot be written where it shall stand.
    """
    with written_whole(path, _MOST_BYTES) as temporary:
        # A user's own style sheet shall not change what the plan looks like.
        with matplotlib.style.context("default", after_reset=True):
            figure = map_figure(grid, ground_m, layers, title)
            figure.savefig(temporary, format="png", metadata={"Software": None})
        yield


def map_figure(
    grid: Grid,
    ground_m: GroundArray,
    layers: Mapping[str, gpd.GeoDataFrame | pd.DataFrame],
    title: str,
) -> Figure:
    """Map with title, legend, scale bar, north and caution."""
    bounds = with_margin(layers["property"])
    map_width, map_height = _map_size_in(bounds)
    width = _GAP_IN + map_width + _GAP_IN + _PANEL_IN
    height = _TITLE_IN + map_height + _FOOT_IN
    figure = Figure(figsize=(width, height), dpi=_DPI, facecolor="white")
    FigureCanvasAgg(figure)  # draws to pixels whatever screen there is
    axes = figure.add_axes(
        (_GAP_IN / width, _FOOT_IN / height, map_width / width, map_height / height)
    )
    pixels = int(max(map_width, map_height) * _DPI)
    coarse_m, cell_m, ground_bounds = ground_within(grid, ground_m, bounds, pixels)
    metres_per_inch = (bounds[2] - bounds[0]) / map_width
    drawing = MapDrawing(axes, metres_per_inch, bounds)
    drawing.ground(shade(coarse_m, cell_m), ground_bounds)
    drawing.plan(layers)

    left = (_GAP_IN + map_width + _GAP_IN) / width
    panel = figure.add_axes((left, _FOOT_IN / height, _PANEL_IN / width, map_height / height))
    draw_panel(panel, (_PANEL_IN, map_height), drawing.legend, metres_per_inch)
    figure.text(
        _GAP_IN / width,
        1 - 0.34 / height,
        title,
        fontsize=14,
        weight="bold",
        color="#222222",
        va="center",
        parse_math=False,
    )
    figure.text(_GAP_IN / width, 0.19 / height, CAUTION, fontsize=8.5, color="#444444", va="center")
    return figure


def with_margin(land: gpd.GeoDataFrame) -> Bounds:
    """West, south, east and north of the land and some ground around it, m."""
    west, south, east, north = (float(edge) for edge in land.total_bounds)
    margin = _MARGIN * max(east - west, north - south)
    width, height = east - west + 2 * margin, north - south + 2 * margin
    # A long strip of land gets ground on both sides, so that the picture is no strip itself.
    most_width = _WIDEST_IN - _PANEL_IN - 2 * _GAP_IN
    most_height = _HIGHEST_IN - _TITLE_IN - _FOOT_IN
    width = max(width, height * _NARROWEST_MAP_IN / most_height)
    height = max(height, width * _LOWEST_MAP_IN / most_width)
    middle = shapely.box(west, south, east, north).centroid
    return (
        middle.x - width / 2,
        middle.y - height / 2,
        middle.x + width / 2,
        middle.y + height / 2,
    )


def _map_size_in(bounds: Bounds) -> tuple[float, float]:
    """Width and height of the map on paper, inches: as large as the picture may be."""
    aspect = (bounds[2] - bounds[0]) / (bounds[3] - bounds[1])
    most_width = _WIDEST_IN - _PANEL_IN - 2 * _GAP_IN
    most_height = _HIGHEST_IN - _TITLE_IN - _FOOT_IN
    width = min(most_width, most_height * aspect)
    return width, width / aspect
