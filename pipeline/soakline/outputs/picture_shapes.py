"""Shapes that the map draws: outlines with holes, heads of arrows, marks of the legend."""

import numpy as np
import shapely
from matplotlib.lines import Line2D
from matplotlib.path import Path as Outline

from soakline.grid import FloatArray


def outline(polygon: shapely.Polygon) -> Outline:
    """A polygon with its holes as one path."""
    # Holes wound the other way stay empty.
    turned = shapely.orient_polygons(polygon)
    rings = [turned.exterior, *turned.interiors]
    return Outline.make_compound_path(*(Outline(ring.coords, closed=True) for ring in rings))


def arrow_head(line: FloatArray, length_m: float) -> FloatArray | None:
    """(3, 2) corners of a head at the line's end, pointing the way it last ran."""
    away = np.hypot(*(line - line[-1]).T)
    behind = np.flatnonzero(away >= length_m)
    start = line[behind[-1]] if behind.size else line[0]
    run = line[-1] - start
    if not run.any():
        return None
    along = run / np.hypot(*run) * length_m
    across = np.array([-along[1], along[0]]) * 0.45
    back = line[-1] - along
    return np.array([line[-1], back + across, back - across])


def legend_point(marker: str, colour: str, size: float, label: str) -> Line2D:
    """A mark as the legend shows it."""
    return Line2D(
        [], [], marker=marker, color=colour, ms=size, mec="white", mew=0.8, lw=0, label=label
    )
