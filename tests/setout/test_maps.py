"""Map sheets and the page for the phone: everything is on a sheet, every peg where it is."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from lxml import html
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from pyproj import Geod, Transformer

from soakline.setout.field_page import write_field_page
from soakline.setout.map_layers import read_map_layers
from soakline.setout.map_sheets import draw_pegs, frames_of, map_sheets
from soakline.setout.plan import SetOutPlan
from soakline.setout.read import read_setout
from soakline.setout.sheet import drawing_style

SIZE_MM = (300.0, 220.0)


@given(
    st.floats(10.0, 12_000.0),
    st.floats(10.0, 12_000.0),
    st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), min_size=1, max_size=30),
)
def test_every_work_is_on_a_sheet_at_one_bearable_scale(
    width: float, height: float, places: list[tuple[float, float]]
) -> None:
    land = (500_000.0, 6_000_000.0, 500_000.0 + width, 6_000_000.0 + height)
    at = np.array(places) * [width, height] + land[:2]
    works = shapely.buffer(shapely.points(at), 1.0)
    scale, frames = frames_of(land, shapely.STRtree(works), SIZE_MM)
    assert 1 <= len(frames) <= 16
    sheets = shapely.union_all([shapely.box(*frame.bounds) for frame in frames])
    assert shapely.contains(sheets, shapely.points(at)).all()
    for frame in frames:
        west, south, east, north = frame.bounds
        assert east - west == pytest.approx(SIZE_MM[0] * scale / 1000.0)
        assert north - south == pytest.approx(SIZE_MM[1] * scale / 1000.0)
    assert len({frame.name for frame in frames}) == len(frames)


def test_a_small_property_is_one_sheet_at_the_largest_scale() -> None:
    land = (0.0, 0.0, 100.0, 80.0)
    scale, frames = frames_of(land, shapely.STRtree([shapely.box(*land)]), SIZE_MM)
    assert (scale, [frame.name for frame in frames]) == (500, ["A1"])


@pytest.mark.parametrize("paper", ["A4", "A3"])
def test_sheets_have_index_grid_scale_and_cautions(plan_file: Path, paper: str) -> None:
    with drawing_style():
        sheets = map_sheets(read_map_layers(plan_file), "Plane & hill", paper)
        assert len(sheets) >= 2
        for number, sheet in enumerate(sheets):
            words = [text.get_text() for axes in sheet.figure.axes for text in axes.texts]
            assert any("index" in word if number == 0 else "1 : " in word for word in words)
            assert any("licensed engineer" in word for word in words)
            # Whole eastings and northings beside the map, the north arrow and the scale bar.
            assert any(re.fullmatch(r"\d{6}", word) for word in words)
            assert any(re.fullmatch(r"\d{7}", word) for word in words)
            assert "N" in words
            assert any(word.endswith((" m", " km")) for word in words)


@pytest.mark.parametrize("step_mm", [2.0, 6.8, 12.0])
@pytest.mark.parametrize("bearing_deg", [0.0, 60.0, 90.0, 170.0])
@pytest.mark.parametrize("scale", [500, 2500])
def test_names_of_pegs_lie_on_the_map_and_not_over_another(
    step_mm: float, bearing_deg: float, scale: int
) -> None:
    """A row of pegs over the map's middle, from edge to edge."""
    wide, high = (own * scale / 1000.0 for own in SIZE_MM)
    figure = Figure(figsize=(SIZE_MM[0] / 25.4, SIZE_MM[1] / 25.4))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0), xlim=(0.0, wide), ylim=(0.0, high))
    along = np.arange(-wide, wide, step_mm * scale / 1000.0)
    east = wide / 2.0 + along * np.sin(np.radians(bearing_deg))
    north = high / 2.0 + along * np.cos(np.radians(bearing_deg))
    on_map = (east > 0.0) & (east < wide) & (north > 0.0) & (north < high)
    places = shapely.points(east[on_map], north[on_map])
    names = [f"S001-{k:03}" for k in range(len(places))]
    columns = {"peg_id": names, "kind": ["line"] * len(names)}
    draw_pegs(axes, gpd.GeoDataFrame(columns, geometry=places), scale)
    FigureCanvasAgg(figure).draw()
    boxes = [text.get_window_extent() for text in axes.texts]
    assert boxes
    inside = axes.get_window_extent()
    assert all(inside.x0 <= box.x0 and box.x1 <= inside.x1 for box in boxes)
    assert all(inside.y0 <= box.y0 and box.y1 <= inside.y1 for box in boxes)
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[:i])


def test_nothing_written_on_a_map_crosses_its_frame_or_lies_over_a_peg_s_name(
    plan_file: Path,
) -> None:
    with drawing_style():
        for sheet in map_sheets(read_map_layers(plan_file), "Plane & hill", "A4")[1:]:
            FigureCanvasAgg(sheet.figure).draw()
            for axes in sheet.figure.axes:
                named = [t for t in axes.texts if re.fullmatch(r"S\d+(-\d+)?", t.get_text())]
                inside = axes.get_window_extent()
                named = [t for t in named if inside.overlaps(t.get_window_extent())]
                boxes = {t: t.get_window_extent() for t in named}
                for box in boxes.values():
                    assert inside.x0 <= box.x0
                    assert box.x1 <= inside.x1
                    assert inside.y0 <= box.y0
                    assert box.y1 <= inside.y1
                pegs = [t for t in named if "-" in t.get_text()]
                assert not any(
                    boxes[peg].overlaps(boxes[other])
                    for peg in pegs
                    for other in named
                    if other is not peg
                )


def test_ground_comes_from_the_plan_itself(plan_file: Path) -> None:
    shown = read_map_layers(plan_file)
    west, south, east, north = shown.layers["property"].total_bounds
    found = shown.ground_within((west, south, east, north), 50)
    assert found is not None
    grid, ground = found
    cell_m = grid.cell_m
    assert 40 <= max(ground.shape) <= 60
    # The plane falls 8 % to the south.
    fall = (ground[0] - ground[-1]) / (cell_m * (ground.shape[0] - 1))
    assert np.allclose(fall, 0.08, atol=0.002)
    # Whole blocks of cells: the last one may end a block short.
    assert grid.bounds == pytest.approx((west, south, east, north), abs=cell_m)
    assert shown.ground_within((0.0, 0.0, 1.0, 1.0), 50) is None


def test_the_page_has_every_peg_within_a_tenth_of_a_metre(plan_file: Path, tmp_path: Path) -> None:
    plan = read_setout(plan_file)
    page = tmp_path / "field.html"
    write_field_page(plan, page)
    rows = html.parse(str(page)).getroot().xpath("//tbody/tr")
    assert len(rows) == len(plan.pegs.peg_id)
    to_degrees = Transformer.from_crs(plan.crs_wkt, "EPSG:4326", always_xy=True)
    geod = Geod(ellps="WGS84")
    at = {name: k for k, name in enumerate(plan.pegs.peg_id)}
    for row in rows:
        (link,) = row.xpath(".//a")
        k = at[link.text]
        latitude, longitude = map(
            float, re.match(r"geo:([^,]+),([^?]+)", link.get("href")).groups()
        )
        east, north = to_degrees.transform(plan.pegs.easting[k], plan.pegs.northing[k])
        assert geod.inv(longitude, latitude, east, north)[2] < 0.1
        _, chainage, level, cut = (cell.text_content() for cell in row)
        assert float(chainage) == pytest.approx(plan.pegs.chainage_m[k], abs=0.051)
        assert float(level) == pytest.approx(plan.pegs.level_m[k], abs=0.00051)
        assert float(cut) == pytest.approx(plan.pegs.cut_m[k], abs=0.0051)


class Loads(HTMLParser):
    """Collects what a page would fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "link", "img", "iframe", "object", "embed"):
            self.found.append(tag)
        self.found += [name for name, _ in attrs if name in ("src", "srcset", "onclick")]


def test_the_page_loads_nothing_and_runs_nothing(plan: SetOutPlan, tmp_path: Path) -> None:
    page = tmp_path / "field.html"
    write_field_page(replace(plan, name="<script>alert(1)</script>"), page)
    text = page.read_text(encoding="utf-8")
    loads = Loads()
    loads.feed(text)
    assert loads.found == []
    assert "&lt;script&gt;alert(1)" in text
    assert "http" not in text
