"""The map on the screen: zoomable, with layers to switch, drawn by Bokeh without a network."""

import base64
import io
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from typing import Any

import geopandas as gpd
import matplotlib.image
import numpy as np
import pandas as pd
import shapely
from bokeh.embed import components
from bokeh.models import ColumnDataSource, HoverTool, OpenURL, Range1d, ScaleBar, TapTool
from bokeh.plotting import figure
from bokeh.resources import Resources
from markupsafe import Markup
from PIL import Image

from soakline.outputs.hillshade import Bounds, shade
from soakline.report.chains import anchor, end_in_words, safe_names
from soakline.report.ground import Ground

_SWALE, _ROUTE, _WATER, _SAFE, _CLEAR = "#3b1f5e", "#b4500a", "#1f6fa8", "#00695c", "#8d6e63"
_HOLLOW, _TREE = "#4a90c2", "#2e7d32"
_MOST_POINTS = 3000  # more would make the page heavy and slow: they become one picture
_MOST_NAMES = 40  # shown from the start; the names of more would hide the map
_LIP_SHARE = 0.05  # of the pixels between lips, a quarter on a phone: ground is seen there too
_STRIP = 0.08  # of the width, below the ground for the scale bar, which would hide safe ends
_PIXELS = 1800  # across the widest screen once zoomed in twice


@dataclass(frozen=True, slots=True)
class ScreenMap:
    """Parts of the page that make the map.

    Parameters
    ----------
    library : Bokeh's own script
    script, element : of this map
    layers : name of each layer that can be switched, title, colour, and whether it is shown first
    aspect : width over height
    """

    library: Markup
    script: Markup
    element: Markup
    layers: tuple[tuple[str, str, str, bool], ...]
    aspect: float


class _Map:
    """A map in the making, metres from its south-western corner."""

    def __init__(self, bounds: Bounds) -> None:
        self.west, self.south = bounds[:2]
        self.size_m = wide, tall = bounds[2] - bounds[0], bounds[3] - bounds[1]
        strip = _STRIP * wide
        self.step_m = max(wide, tall) / _PIXELS
        self.decimals = 0 if self.step_m > 1 else 1  # well within a pixel
        self.layers: list[tuple[str, str, str, bool]] = []
        self.figure = figure(
            x_range=Range1d(0, wide, name="map-x"),
            y_range=Range1d(-strip, tall, name="map-y"),
            tools="pan,wheel_zoom,box_zoom,reset",
            active_scroll=None,
            aspect_ratio=wide / (tall + strip),
            match_aspect=True,
            sizing_mode="stretch_width",
            toolbar_location="above",
            background_fill_color="#f4f2ec",
            output_backend="canvas",
            name="map",
        )
        self.figure.axis.visible = False
        self.figure.grid.visible = False
        self.figure.toolbar.logo = None

    def switched(self, renderers: list[Any], name: str, title: str, look: str, on: bool) -> None:
        for place, renderer in enumerate(renderers):
            renderer.name = f"{name}-{place}"
            renderer.visible = on
        self.layers.append((name, title, look, on))

    def ground(self, ground: Ground) -> None:
        light = np.clip(
            (shade(ground.ground_m.astype(float), ground.grid.cell_m) - 0.1) / 0.85, 0, 1
        )
        grey = np.nan_to_num(255 * (0.55 + 0.45 * light), nan=250).astype(np.uint8)
        picture = io.BytesIO()
        matplotlib.image.imsave(
            picture, np.stack([grey] * 3, axis=-1), format="jpg", pil_kwargs={"quality": 72}
        )
        west, south, east, north = ground.grid.bounds
        drawn = self.figure.image_url(
            url=["data:image/jpeg;base64," + base64.b64encode(picture.getvalue()).decode()],
            x=west - self.west, y=north - self.south, w=east - west, h=north - south,
        )  # fmt: skip
        self.switched([drawn], "hillshade", "Hillshade", "#9a958a", True)

    def areas(self, shapes: gpd.GeoSeries, **look: Any) -> Any:
        rings = [[self._ends(ring) for ring in (p.exterior, *p.interiors)]
                 for p in shapely.get_parts(shapes.to_numpy())]  # fmt: skip
        xs, ys = ([[[ring[k] for ring in own]] for own in rings] for k in (0, 1))
        return self.figure.multi_polygons(xs, ys, **look)

    def lines(self, shapes: gpd.GeoSeries, columns: Mapping[str, Any], **look: Any) -> Any:
        thinned = shapely.simplify(shapely.force_2d(shapes.to_numpy()), 0.3 * self.step_m)
        ends = [self._ends(line) for line in thinned]
        source = ColumnDataSource(
            {"xs": [e[0] for e in ends], "ys": [e[1] for e in ends], **columns}
        )
        return self.figure.multi_line("xs", "ys", source=source, **look)

    def points(self, shapes: gpd.GeoSeries, columns: Mapping[str, Any], **look: Any) -> Any:
        x, y = self._ends(shapes.to_numpy())
        return self.figure.scatter(
            "x", "y", source=ColumnDataSource({"x": x, "y": y, **columns}), **look
        )

    def dots(self, shapes: gpd.GeoSeries, colour: str) -> Any:
        """Very many points as one picture, a dot of it each."""
        wide, tall = self.size_m
        columns, rows = int(wide / self.step_m) + 1, int(tall / self.step_m) + 1
        place = shapely.get_coordinates(shapes.to_numpy())
        column = np.clip((place[:, 0] - self.west) / self.step_m, 0, columns - 1).astype(int)
        row = np.clip((self.south + tall - place[:, 1]) / self.step_m, 0, rows - 1).astype(int)
        seen = np.zeros((rows, columns), dtype=np.uint8)
        for down, right in product((-1, 0, 1), repeat=2):
            seen[np.clip(row + down, 0, rows - 1), np.clip(column + right, 0, columns - 1)] = 1
        drawing = Image.fromarray(seen, mode="P")
        drawing.putpalette(bytes(3) + bytes.fromhex(colour[1:]))
        picture = io.BytesIO()
        drawing.save(picture, format="PNG", bits=1, transparency=0, optimize=True)
        return self.figure.image_url(
            url=["data:image/png;base64," + base64.b64encode(picture.getvalue()).decode()],
            x=0, y=tall, w=columns * self.step_m, h=rows * self.step_m,
        )  # fmt: skip

    def names(self, places: Any, texts: Any) -> Any:
        x, y = self._ends(places)
        return self.figure.text(
            "x", "y", "text", source=ColumnDataSource({"x": x, "y": y, "text": texts}),
            text_font_size="11px", text_color=_SWALE, background_fill_color="white",
            background_fill_alpha=0.7,
            text_align="center", text_baseline="middle", text_font_style="bold",
        )  # fmt: skip

    def _ends(self, shape: Any) -> tuple[list[float], list[float]]:
        place = shapely.get_coordinates(shape) - (self.west, self.south)
        # Whole numbers without ".0" where there are no decimals: a third of the page's map.
        near = place.round(self.decimals) if self.decimals else place.round().astype(int)
        return near[:, 0].tolist(), near[:, 1].tolist()

    def tip(self, renderers: list[Any], tips: list[tuple[str, str]]) -> None:
        self.figure.add_tools(HoverTool(renderers=renderers, tooltips=tips, visible=False))


def screen_map(layers: Mapping[str, pd.DataFrame], ground: Ground, bounds: Bounds) -> ScreenMap:
    """Draw the map.

    Parameters
    ----------
    layers : of the plan, by name
    ground : under them
    bounds : west, south, east, north of what is shown, m
    """
    drawn = _Map(bounds)
    if ground.known:
        drawn.ground(ground)
    excluded = layers["excluded_ground"]
    if len(excluded):
        areas = drawn.areas(
            excluded.geometry, fill_color=_CLEAR, fill_alpha=0.22, line_width=0,
            hatch_pattern="/", hatch_color=_CLEAR, hatch_alpha=0.6, hatch_weight=0.7, hatch_scale=9,
        )  # fmt: skip
        drawn.switched([areas], "excluded", "Excluded ground", _CLEAR, True)
    land = drawn.areas(layers["property"].geometry, fill_alpha=0, line_color="#222222",
                       line_width=2, line_dash=[8, 3, 2, 3])  # fmt: skip
    drawn.switched([land], "boundary", "Property boundary", "#222222", True)
    _water(drawn, layers)
    _swales(drawn, layers)
    short = {"bar_length": 0.1, "padding": 4, "margin": 4, "background_fill_alpha": 0.85}
    drawn.figure.add_layout(
        ScaleBar(range=drawn.figure.x_range, unit="m", location="bottom_left", **short)
    )
    script, element = components(drawn.figure)
    library = Resources(mode="inline", components=["bokeh"]).render_js()
    return ScreenMap(
        Markup(library),  # noqa: S704 - Bokeh's own, which escapes what it is given
        Markup(_within_script(script)),  # noqa: S704
        Markup(element),  # noqa: S704
        tuple(drawn.layers),
        drawn.figure.aspect_ratio,
    )


def _water(drawn: _Map, layers: Mapping[str, pd.DataFrame]) -> None:
    lines = layers["drainage_lines"]
    if len(lines):
        widths = np.minimum(0.8 + 0.7 * lines["order_strahler"].fillna(1).astype(float), 4)
        columns = {"line": lines["line_id"].astype(str), "width": widths}
        renderer = drawn.lines(
            lines.geometry, columns, line_color=_WATER, line_width="width", line_cap="round"
        )
        drawn.tip([renderer], [("drainage line", "@line")])
        drawn.switched([renderer], "drainage", "Drainage lines", _WATER, True)
    if len(layers["hollows"]):
        renderer = drawn.areas(
            layers["hollows"].geometry, fill_color=_HOLLOW, fill_alpha=0.35, line_color=_HOLLOW
        )
        drawn.switched([renderer], "hollows", "Hollows", _HOLLOW, True)
    diversions = layers["diversions"]
    if len(diversions):
        columns = {"drain": diversions["diversion_id"].astype(str)}
        renderer = drawn.lines(
            diversions.geometry, columns, line_color="#8c1d6b", line_width=2, line_dash=[7, 2, 2, 2]
        )
        drawn.tip([renderer], [("diversion drain", "@drain")])
        drawn.switched([renderer], "diversions", "Diversion drains", "#8c1d6b", True)


def _swales(drawn: _Map, layers: Mapping[str, pd.DataFrame]) -> None:
    routes, named = layers["overflow_routes"], safe_names(layers["safe_points"])
    trees, swales = layers["trees"], layers["swales"]
    if len(trees):
        renderer = (
            drawn.points(trees.geometry, {}, size=3, marker="circle", color=_TREE, fill_alpha=0.8)
            if len(trees) <= _MOST_POINTS
            else drawn.dots(trees.geometry, _TREE)
        )
        drawn.switched([renderer], "trees", "Trees", _TREE, True)
    if len(routes):
        ends = zip(routes["to_kind"], routes["to_id"], strict=True)
        columns = {
            "route": routes["route_id"].astype(str),
            "to": [end_in_words(kind, to_id, named) for kind, to_id in ends],
            "peak": routes["peak_m3s"].round(3),
        }
        renderer = drawn.lines(
            routes.geometry, columns, line_color=_ROUTE, line_width=1.8, line_dash=[5, 3]
        )
        drawn.tip([renderer], [("route", "@route"), ("to", "@to"), ("peak", "@peak{0.000} m³/s")])
        drawn.switched([renderer], "routes", "Overflow routes", _ROUTE, True)
    if len(swales):
        columns = {
            "swale": swales["swale_id"].astype(str),
            "anchor": [anchor(i) for i in swales["swale_id"]],
            "level": swales["level_m"].round(2),
            "length": swales["length_m"].round(1),
            "holds": swales["capacity_m3"].round(0),
        }
        apart_m = layers["property"].area.sum() / swales.length.sum()
        width = float(np.clip(_LIP_SHARE * apart_m / drawn.step_m, 1.2, 2.6))
        halo = drawn.lines(
            swales.geometry, columns, line_color="white", line_width=1.9 * width, line_alpha=0.7
        )
        renderer = drawn.figure.multi_line(
            "xs", "ys", source=halo.data_source, line_color=_SWALE, line_width=width
        )
        tips = [
            ("swale", "@swale"), ("level", "@level{0.00} m"), ("length", "@length{0.0} m"),
            ("holds", "@holds{0} m³"),
        ]  # fmt: skip
        drawn.tip([renderer], tips)
        drawn.figure.add_tools(
            TapTool(
                renderers=[renderer],
                callback=OpenURL(url="#@anchor", same_tab=True),
                visible=False,
            )
        )
        drawn.switched([halo, renderer], "swales", "Swales", _SWALE, True)
    if len(swales):
        middles = shapely.line_interpolate_point(swales.geometry.to_numpy(), 0.5, normalized=True)
        names = drawn.names(middles, swales["swale_id"].astype(str))
        drawn.switched([names], "names", "Names of swales", "#ffffff", len(swales) <= _MOST_NAMES)
    safe = layers["safe_points"]
    if len(safe):
        columns = {
            "safe": safe["safe_id"].astype(str),
            "name": safe["name"].fillna("").astype(str),
            "kind": safe["kind"].astype(str),
        }
        renderer = drawn.points(
            safe.geometry, columns, size=13, marker="inverted_triangle", color=_SAFE,
            line_color="white",
        )  # fmt: skip
        drawn.tip([renderer], [("safe end", "@safe @name"), ("kind", "@kind")])
        drawn.switched([renderer], "safe", "Safe ends", _SAFE, True)


def _within_script(script: str) -> str:
    """A script whose data cannot end it, whatever names the plan holds."""
    start, end = script.index(">") + 1, script.rindex("</script>")
    body = script[start:end].replace("</", "<\\/").replace("<!--", "<\\!--")
    return script[:start] + body + script[end:]
