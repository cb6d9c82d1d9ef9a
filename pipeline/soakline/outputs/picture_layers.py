"""How each layer of the plan is drawn on the map, and what the legend says of it."""

from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from matplotlib import patheffects
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PathCollection, PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from soakline.grid import FloatArray
from soakline.outputs.hillshade import Bounds
from soakline.outputs.picture_labels import place_labels
from soakline.outputs.picture_looks import (
    EXCLUDED,
    MARKS,
    POINT_KINDS,
    RELIEF,
    SAFE_KINDS,
    SWALE_STATES,
)
from soakline.outputs.picture_shapes import arrow_head, legend_point, outline
from soakline.outputs.picture_trees import draw_trees
from soakline.styles.palette import DRAIN, INK, ROUTE, SAFE, SWALE, WATER

_LABEL_POINTS = 6.5
_MOST_LABELS = 120

_HALO = patheffects.withStroke(linewidth=2.2, foreground="white")

Layers = Mapping[str, gpd.GeoDataFrame | pd.DataFrame]
Shapes: TypeAlias = Sequence[Any] | npt.NDArray[Any] | gpd.GeoSeries


class MapDrawing:
    """A map in the making: draws on its axes and gathers the legend as it goes.

    Parameters
    ----------
    axes : the map's, which are set to `bounds`
    metres_per_inch : scale on paper
    bounds : west, south, east, north, m
    """

    def __init__(self, axes: Axes, metres_per_inch: float, bounds: Bounds) -> None:
        self.axes = axes
        self.point_m = metres_per_inch / 72  # a printer's point on the ground
        self.bounds = bounds
        self.legend: list[Artist] = []
        axes.set_xlim(bounds[0], bounds[2])
        axes.set_ylim(bounds[1], bounds[3])
        axes.set_xticks([])
        axes.set_yticks([])
        for spine in axes.spines.values():
            spine.set(color="#555555", linewidth=0.8)

    def ground(self, brightness: FloatArray, bounds: Bounds) -> None:
        """Lay the hillshade, (rows, columns) of 0 to 1, over its bounds, m."""
        west, south, east, north = bounds
        self.axes.imshow(
            brightness,
            cmap=RELIEF,
            vmin=0.15,
            vmax=0.95,
            extent=(west, east, south, north),
            interpolation="bilinear",
            aspect="auto",
            zorder=0,
        )
        self.axes.set_xlim(self.bounds[0], self.bounds[2])
        self.axes.set_ylim(self.bounds[1], self.bounds[3])

    def plan(self, layers: Layers) -> None:
        """Draw every layer that the map shows, lowest first; those not there are passed over."""
        shown = {name: layer for name, layer in layers.items() if len(layer)}
        # Lines of a plan of thousands are drawn finer, else they would run into one another.
        count = len(shown["swales"]) if "swales" in shown else 0
        self.fine = float(np.clip((60 / max(count, 1)) ** 0.25, 0.45, 1.0))
        if "swales" in shown:
            self._swales(shown["swales"])
        self.legend += draw_trees(self.axes, shown.get("trees"), self.point_m)
        for layer, (name, marker, size, look) in MARKS.items():
            if layer in shown:
                self._marks(shown[layer], name, marker, size, **look)
        if "swale_points" in shown:
            self._swale_points(shown["swale_points"])
        if "overflow_routes" in shown:
            self._courses(shown["overflow_routes"], "Overflow route", ROUTE, (3.2, 1.8))
        if "diversions" in shown:
            self._courses(shown["diversions"], "Diversion drain", DRAIN, (6.0, 1.2, 1.2, 1.2))
        if "drainage_lines" in shown:
            self._drainage(shown["drainage_lines"])
        if "hollows" in shown:
            self._hollows(shown["hollows"])
        if "safe_points" in shown:
            self._safe_points(shown["safe_points"])
        if "excluded_ground" in shown:
            self._excluded(shown["excluded_ground"])
        self._boundary(shown["property"])
        if "swales" in shown:
            self._swale_labels(shown)

    def _swales(self, swales: gpd.GeoDataFrame) -> None:
        self._lines(self._places(swales.geometry), "white", 3.0 * self.fine, zorder=6, alpha=0.75)
        for state, (name, colour, core) in SWALE_STATES.items():
            own = swales[swales["state"] == state]
            if len(own):
                lines = self._places(own.geometry)
                self._lines(lines, colour, 1.9 * self.fine, zorder=7)
                self._lines(lines, core, 0.5 * self.fine, zorder=7.1)
                around = [patheffects.withStroke(linewidth=1.9, foreground=colour)]
                label = _counted(name, own)
                self.legend.append(
                    Line2D([], [], color=core, lw=0.6, path_effects=around, label=label)
                )

    def _marks(
        self, layer: gpd.GeoDataFrame, name: str, marker: str, size: float, **look: Any
    ) -> None:
        """Points by one mark, which the legend shows a little larger."""
        places = shapely.get_coordinates(layer.geometry.array)
        self.axes.plot(*places.T, marker, ms=size * self.fine, **look)
        label = _counted(name, layer)
        self.legend.append(Line2D([], [], marker=marker, ms=1.3 * size, lw=0, label=label, **look))

    def _swale_points(self, points: gpd.GeoDataFrame) -> None:
        for kind, (name, marker, size, colours) in POINT_KINDS.items():
            own = points[points["kind"] == kind]
            if len(own):
                self._marks(own, name, marker, size, mew=0.7, zorder=8.4, **colours)

    def _courses(
        self, courses: gpd.GeoDataFrame, name: str, colour: str, dashes: tuple[float, ...]
    ) -> None:
        """Lines that water is led along, with a head where it arrives."""
        width = 1.2 * self.fine
        lines = self._places(courses.geometry)
        self._lines(lines, colour, width, zorder=8, linestyle=(0, dashes))
        heads = [arrow_head(line, 5.5 * self.fine * self.point_m) for line in lines]
        self.axes.add_collection(
            PolyCollection([h for h in heads if h is not None], facecolor=colour, lw=0, zorder=8),
            autolim=False,
        )
        self.legend.append(
            Line2D(
                [],
                [],
                color=colour,
                lw=1.4,
                linestyle=(0, dashes),
                marker=">",
                markevery=[1],
                markersize=5,
                label=_counted(name, courses),
            )
        )

    def _drainage(self, lines: gpd.GeoDataFrame) -> None:
        order = lines["order_strahler"].fillna(1).to_numpy(dtype=float)
        widths = np.minimum(0.9 + 0.65 * (order - 1), 3.5)
        places = self._places(lines.geometry)
        collection = LineCollection(
            places, colors=WATER, linewidths=widths, zorder=4, capstyle="round", joinstyle="round"
        )
        self.axes.add_collection(collection, autolim=False)
        name = "Drainage line, wider by order" if len(set(order)) > 1 else "Drainage line"
        self.legend.append(Line2D([], [], color=WATER, lw=1.6, label=name))

    def _hollows(self, hollows: gpd.GeoDataFrame) -> None:
        for treatment, face, style in (("kept", "#9cc9e8", "-"), ("filled", "none", ":")):
            some = hollows[(hollows["treatment"] == treatment).fillna(False).astype(bool)]
            if len(some):
                look: dict[str, Any] = {"facecolor": face, "edgecolor": WATER, "linestyle": style}
                self._areas(some.geometry, zorder=3, linewidth=0.9, **look)
                self.legend.append(Patch(lw=0.9, label=f"Hollow, {treatment}", **look))

    def _safe_points(self, safe_points: gpd.GeoDataFrame) -> None:
        for kind, (marker, name) in SAFE_KINDS.items():
            some = safe_points[(safe_points["kind"] == kind).fillna(False).astype(bool)]
            if len(some):
                size = 11.0 if marker == "*" else 8.0
                places = shapely.get_coordinates(some.geometry.array)
                self.axes.plot(
                    *places.T, marker, color=SAFE, ms=size, mec="white", mew=0.9, zorder=10
                )
                self.legend.append(legend_point(marker, SAFE, size, name))

    def _excluded(self, excluded: gpd.GeoDataFrame) -> None:
        for name, reasons, colour, hatch in EXCLUDED:
            some = excluded[excluded["reason"].isin(reasons)]
            if len(some):
                self._areas(some.geometry, zorder=1, facecolor=colour, linewidth=0, alpha=0.30)
                look: dict[str, Any] = {"hatch": hatch, "edgecolor": colour, "linewidth": 0}
                self._areas(some.geometry, zorder=1.5, facecolor="none", alpha=0.55, **look)
                self.legend.append(Patch(facecolor=colour, alpha=0.5, label=name, **look))

    def _boundary(self, land: gpd.GeoDataFrame) -> None:
        west, south, east, north = self.bounds
        shape = shapely.union_all(land.geometry.array)
        around = shapely.box(west, south, east, north) - shape
        self._areas([around], zorder=2, facecolor="white", alpha=0.5, linewidth=0)
        edges = self._places(shapely.get_parts(shapely.boundary(shape)))
        dashes = (0, (7, 2, 1.5, 2))
        self._lines(edges, "white", 3.0, zorder=5, alpha=0.8)
        self._lines(edges, INK, 1.3, zorder=5, linestyle=dashes)
        self.legend.insert(
            0, Line2D([], [], color=INK, lw=1.3, linestyle=dashes, label="Property boundary")
        )

    def _swale_labels(self, shown: Layers) -> None:
        swales = shown["swales"]
        points = [
            shapely.get_coordinates(shown[name].geometry.array)
            for name in ("spillways", "safe_points")
            if name in shown
        ]
        if "swale_points" in shown:
            # Pits stand too close for a name to keep off them all.
            wet = shown["swale_points"].query("kind != 'organic_pit'")
            points.append(shapely.get_coordinates(wet.geometry.array))
        labels = place_labels(
            swales["swale_id"].fillna("").tolist(),
            self._well_within(shapely.force_2d(swales.geometry.array)),
            _LABEL_POINTS * self.point_m,
            np.concatenate([np.empty((0, 2)), *points]),
            _MOST_LABELS,
            # The more swales, the more of them each label would hide.
            apart_em=float(np.clip(len(swales) / 80 - 0.5, 0.2, 3.0)),
        )
        for label in labels:
            self.axes.text(
                label.easting,
                label.northing,
                label.text,
                rotation=label.angle_deg,
                rotation_mode="anchor",
                ha="center",
                va="center",
                fontsize=_LABEL_POINTS,
                color=SWALE,
                path_effects=[_HALO],
                zorder=11,
                clip_on=True,
                parse_math=False,
            )

    def _well_within(self, lines: Shapes) -> list[shapely.LineString]:
        """The longest part of each line that has room for a name beside it on the map."""
        west, south, east, north = self.bounds
        edge = 1.5 * _LABEL_POINTS * self.point_m
        inside = np.asarray(lines, dtype=object).copy()
        frame = shapely.box(west + edge, south + edge, east - edge, north - edge)
        for k in np.flatnonzero(~shapely.covered_by(inside, frame)):
            parts = shapely.get_parts(shapely.intersection(inside[k], frame))
            lengths = shapely.length(parts)
            inside[k] = parts[lengths.argmax()] if lengths.any() else shapely.LineString()
        return list(inside)

    def _places(self, shapes: Shapes) -> list[FloatArray]:
        """(n, 2) vertices of each line, as many as the paper can show."""
        lines = shapely.simplify(np.asarray(shapes, dtype=object), 0.2 * self.point_m)
        return [shapely.get_coordinates(line) for line in lines]

    def _lines(self, lines: list[FloatArray], colour: str, width: float, **look: Any) -> None:
        collection = LineCollection(lines, colors=colour, linewidths=width, **look)
        self.axes.add_collection(collection, autolim=False)

    def _areas(self, shapes: Shapes, **look: Any) -> None:
        thinned = shapely.simplify(np.asarray(shapes, dtype=object), 0.2 * self.point_m)
        polygons = shapely.get_parts(thinned)
        outlines = [outline(p) for p in polygons if p.geom_type == "Polygon" and not p.is_empty]
        self.axes.add_collection(PathCollection(outlines, **look), autolim=False)


def _counted(name: str, layer: pd.DataFrame) -> str:
    return f"{name}s ({len(layer)})"
