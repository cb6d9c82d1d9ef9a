"""Crowns of trees on the map, as wide as they grow, where the scale leaves them legible."""

import geopandas as gpd
import shapely
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import EllipseCollection
from matplotlib.lines import Line2D

from soakline.styles.palette import CROWN, WINDBREAK

# Crowns that come out narrower than this are left away: they would be a green smear, points.
_LEAST_POINTS = 1.2


def draw_trees(axes: Axes, trees: gpd.GeoDataFrame | None, point_m: float) -> list[Artist]:
    """Draw full-grown crowns to scale.

    Parameters
    ----------
    axes : the map's, in metres
    trees : the layer; None where no tree is placed
    point_m : a printer's point on the ground, m

    Returns
    -------
    rows of the legend; none where half of the crowns would be too small to see
    """
    if trees is None or trees["crown_m"].median() < _LEAST_POINTS * point_m:
        return []
    breaks = trees["group"] == "windbreak"
    legend: list[Artist] = []
    for own, colour, name in (
        (trees[~breaks], CROWN, "Trees, full-grown crowns"),
        (trees[breaks], WINDBREAK, "Windbreak trees"),
    ):
        if own.empty:
            continue
        width = own["crown_m"].to_numpy()
        axes.add_collection(
            EllipseCollection(
                width,
                width,
                0.0 * width,
                units="xy",
                offsets=shapely.get_coordinates(own.geometry.array),
                offset_transform=axes.transData,
                facecolors=colour,
                edgecolors="white",
                linewidths=0.25,
                alpha=0.6,
                zorder=5.5,
            ),
            autolim=False,
        )
        label = f"{name} ({len(own)})"
        legend.append(
            Line2D(
                [], [], marker="o", ms=7, lw=0, color=colour, mec="white", alpha=0.7, label=label
            )
        )
    return legend
