"""The plan over a hillshade, as one PNG to look at."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import matplotlib.style
import pandas as pd
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from soakline.grid import Grid, GroundArray
from soakline.outputs.hillshade import Bounds, ground_within, shade
from soakline.outputs.letters import drawable
from soakline.outputs.picture_layers import MapDrawing
from soakline.outputs.picture_panel import draw_panel
from soakline.outputs.whole_file import written_whole

CAUTION = "Level from an instrument on site; check with local codes and a licensed engineer."

_DPI = 200
_GAP_IN, _TITLE_IN, _FOOT_IN = 0.2, 0.55, 0.4
_NARROWEST_MAP_IN, _LOWEST_MAP_IN = 4.0, 5.6
_TITLE_LETTERS = 60
_MARGIN = 0.06  # of the property's longer side, shown around it


@dataclass(frozen=True, slots=True)
class Sheet:
    """What the map is drawn for, inches.

    Parameters
    ----------
    width_in, height_in : the most that map, legend and words take together
    panel_in : width of the legend beside the map, or its height below it
    columns : of the legend; one beside the map, more below it
    """

    width_in: float
    height_in: float
    panel_in: float
    columns: int

    @property
    def map_in(self) -> tuple[float, float]:
        """The most that the map takes: width and height."""
        width, height = self.width_in - 2 * _GAP_IN, self.height_in - _TITLE_IN - _FOOT_IN
        if self.columns == 1:
            return width - self.panel_in, height
        return width, height - self.panel_in


PICTURE = Sheet(12.0, 12.0, 2.9, 1)  # 2400 pixels
# The type area of the report, so that letters are printed as large as they are drawn.
A4 = Sheet(7.2, 9.2, 1.75, 2)

# The file's size is bound by its pixels: four bytes each, before compression.
_MOST_BYTES = 4 * int(PICTURE.width_in * _DPI) * int(PICTURE.height_in * _DPI)


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
    sheet: Sheet = PICTURE,
) -> Figure:
    """Map with title, legend, scale bar, north and caution."""
    bounds = with_margin(layers["property"])
    map_width, map_height = _map_size_in(bounds, sheet)
    if sheet.columns == 1:
        width, height = 2 * _GAP_IN + map_width + sheet.panel_in, map_height
        map_at = (_GAP_IN, _FOOT_IN)
        panel_at, panel_in = (2 * _GAP_IN + map_width, _FOOT_IN), (sheet.panel_in, map_height)
    else:
        width, height = sheet.width_in, map_height + sheet.panel_in
        map_at = ((width - map_width) / 2, _FOOT_IN + sheet.panel_in)
        panel_at, panel_in = (_GAP_IN, _FOOT_IN), (width - 2 * _GAP_IN, sheet.panel_in - _GAP_IN)
    height += _TITLE_IN + _FOOT_IN
    figure = Figure(figsize=(width, height), dpi=_DPI, facecolor="white")
    FigureCanvasAgg(figure)  # draws to pixels whatever screen there is

    def axes_on(corner: tuple[float, float], size: tuple[float, float]) -> Axes:
        left, bottom = corner[0] / width, corner[1] / height
        return figure.add_axes((left, bottom, size[0] / width, size[1] / height))

    pixels = int(max(map_width, map_height) * _DPI)
    coarse_m, cell_m, ground_bounds = ground_within(grid, ground_m, bounds, pixels)
    metres_per_inch = (bounds[2] - bounds[0]) / map_width
    drawing = MapDrawing(axes_on(map_at, (map_width, map_height)), metres_per_inch, bounds)
    drawing.ground(shade(coarse_m, cell_m), ground_bounds)
    drawing.plan(layers)
    draw_panel(
        axes_on(panel_at, panel_in), panel_in, drawing.legend, metres_per_inch, sheet.columns
    )
    figure.text(
        map_at[0] / width,
        1 - 0.34 / height,
        drawable(title, _TITLE_LETTERS),
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
    most_width, most_height = PICTURE.map_in
    width = max(width, height * _NARROWEST_MAP_IN / most_height)
    height = max(height, width * _LOWEST_MAP_IN / most_width)
    middle = shapely.box(west, south, east, north).centroid
    return (
        middle.x - width / 2,
        middle.y - height / 2,
        middle.x + width / 2,
        middle.y + height / 2,
    )


def _map_size_in(bounds: Bounds, sheet: Sheet) -> tuple[float, float]:
    """Width and height of the map on paper, inches: as large as the sheet lets it be."""
    aspect = (bounds[2] - bounds[0]) / (bounds[3] - bounds[1])
    most_width, most_height = sheet.map_in
    width = min(most_width, most_height * aspect)
    return width, width / aspect
