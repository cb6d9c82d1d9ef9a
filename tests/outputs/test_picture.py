"""The picture of a plan: there, of the right size, and not empty."""

import warnings
from collections.abc import Callable
from itertools import combinations
from pathlib import Path

import geopandas as gpd
import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pytest
import shapely
from matplotlib.colors import to_rgb
from PIL import Image

from soakline.outputs.picture import A4, drawn_map, map_figure
from soakline.outputs.picture_layers import MapDrawing
from soakline.outputs.picture_panel import bar_length_m
from soakline.outputs.picture_shapes import arrow_head, outline
from soakline.problems import InputRefused
from tests.outputs.hillside import EAST_M, NORTH_M, Layers, ground_m, hillside_grid

GRID = hillside_grid()
GROUND_M = ground_m(GRID)


def drawn(path: Path, layers: Layers, title: str = "Two Valleys") -> np.ndarray:
    with drawn_map(path, GRID, GROUND_M, layers, title):
        pass
    with Image.open(path) as image:
        assert image.format == "PNG"
        return np.asarray(image.convert("RGB"))


def count_of(pixels: np.ndarray, colour: str) -> int:
    wanted = np.array(to_rgb(colour)) * 255
    return int((np.abs(pixels - wanted) < 3).all(axis=-1).sum())


@pytest.fixture(scope="module")
def pixels(layers: Layers, tmp_path_factory: pytest.TempPathFactory) -> np.ndarray:
    return drawn(tmp_path_factory.mktemp("map") / "plan.png", layers)


def test_the_longer_side_has_2400_pixels(pixels: np.ndarray) -> None:
    assert max(pixels.shape[:2]) in range(2390, 2401)
    assert min(pixels.shape[:2]) > 1000


@pytest.mark.parametrize("title", ["水の農場", "Joint holding of the two creeks " * 9])
def test_any_title_stays_on_the_picture_and_warns_of_nothing(layers: Layers, title: str) -> None:
    """The font that ships with matplotlib has no Chinese, and boxes stand for such letters."""
    warnings.simplefilter("error")
    figure = map_figure(GRID, GROUND_M, layers, title, A4)
    figure.canvas.draw()
    (written,) = [text for text in figure.texts if text.get_text()[:4] in ("□□□□", "Join")]
    assert written.get_window_extent().x1 < figure.bbox.x1


def test_the_legend_counts_swales_by_state(layers: Layers) -> None:
    drawing = MapDrawing(plt.figure().add_subplot(), 1000.0, GRID.bounds)
    drawing.plan(layers)
    plt.close("all")
    told = [
        str(own.get_label()) for own in drawing.legend if "swale" in str(own.get_label()).lower()
    ]
    states = layers["swales"].state.value_counts()
    assert told == [
        f"Swales ({states['planned']})",
        f"Fixed swales ({states['fixed']})",
        f"Built swales ({states['built']})",
    ]


@pytest.mark.parametrize(
    ("colour", "what"),
    [
        ("#3b1f5e", "planned and built swales"),
        ("#8f63b8", "fixed swales"),
        ("#d1620a", "routes"),
        ("#8c1d6b", "diversions"),
        ("#5b4a3a", "crossings"),
        ("#1f6fa8", "drainage, ponds and basins"),
        ("#00695c", "safe"),
    ],
)
def test_each_kind_of_thing_is_on_the_map(pixels: np.ndarray, colour: str, what: str) -> None:
    on_the_map = pixels[:, : int(0.72 * pixels.shape[1])]
    assert count_of(on_the_map, colour) > 200, what


def test_ground_is_shaded_and_ground_without_heights_is_white(pixels: np.ndarray) -> None:
    rows, columns = pixels.shape[:2]
    middle = pixels[rows // 3 : 2 * rows // 3, columns // 4 : columns // 2]
    assert len(np.unique(middle.reshape(-1, 3), axis=0)) > 100
    corner = pixels[int(0.09 * rows), int(0.73 * columns)]
    assert corner.tolist() == [255, 255, 255]


def test_legend_bar_and_arrow_stand_beside_the_map(pixels: np.ndarray) -> None:
    rows, columns = pixels.shape[:2]
    panel = pixels[:, int(0.755 * columns) :]
    assert (panel[: rows // 2] < 90).all(axis=-1).any()
    assert (panel[int(0.75 * rows) :] < 90).all(axis=-1).sum() > 500
    edge = pixels[:, -10:]
    assert (edge == 255).all()  # nothing runs out of the picture


@pytest.mark.parametrize("half", [(380, 300), (30, 250), (380, 20)], ids=["land", "narrow", "wide"])
def test_on_a_report_s_page_legend_bar_and_words_stand_below_the_map(
    layers: Layers, half: tuple[float, float]
) -> None:
    """A4 less margins, heading and two lines; letters of 7 points and more."""
    east, north = half
    land = shapely.box(EAST_M - east, NORTH_M - north, EAST_M + east, NORTH_M + north)
    own = gpd.GeoDataFrame(geometry=[land], crs=layers["property"].crs)
    figure = map_figure(GRID, GROUND_M, {**layers, "property": own}, "Two Valleys", A4)
    width, height = figure.get_size_inches()
    assert width <= 7.25
    assert height <= 9.25
    figure.canvas.draw()
    on_map, panel = figure.axes
    legend = panel.get_legend()
    assert legend is not None
    words = [*legend.get_texts(), *panel.texts, *figure.texts]
    assert min(text.get_fontsize() for text in words) >= 7.0
    boxes = [text.get_window_extent() for text in words]
    assert not [(a, b) for a, b in combinations(boxes, 2) if a.overlaps(b)]
    paper = figure.bbox
    assert all(paper.x0 <= box.x0 and box.x1 <= paper.x1 for box in boxes)
    assert legend.get_window_extent().y1 < on_map.get_window_extent().y0
    bars = [patch.get_window_extent() for patch in panel.patches]
    assert not any(bar.overlaps(box) for bar in bars for box in boxes)


def test_two_runs_give_the_same_bytes_whatever_the_users_own_style(
    layers: Layers, tmp_path: Path
) -> None:
    drawn(tmp_path / "one.png", layers)
    with mpl.rc_context({"lines.linewidth": 9, "font.size": 30, "figure.facecolor": "black"}):
        drawn(tmp_path / "two.png", layers)
    assert (tmp_path / "one.png").read_bytes() == (tmp_path / "two.png").read_bytes()


def test_a_title_is_shown_as_it_is_written(layers: Layers, tmp_path: Path) -> None:
    drawn(tmp_path / "plan.png", layers, r"Lots 3 & 4 $x^ \frac{")


def test_a_plan_with_nothing_but_its_boundary_is_drawn(layers: Layers, tmp_path: Path) -> None:
    bare = {n: layer if n == "property" else layer.iloc[:0] for n, layer in layers.items()}
    assert count_of(drawn(tmp_path / "bare.png", bare), "#3b1f5e") == 0


@pytest.mark.parametrize("half", [(30, 250), (380, 20)], ids=["narrow", "wide"])
def test_a_strip_of_land_makes_no_strip_of_a_picture(
    layers: Layers, tmp_path: Path, half: tuple[float, float]
) -> None:
    east, north = half
    strip = shapely.box(EAST_M - east, NORTH_M - north, EAST_M + east, NORTH_M + north)
    land = gpd.GeoDataFrame(geometry=[strip], crs=layers["property"].crs)
    rows, columns = drawn(tmp_path / "strip.png", {"property": land}).shape[:2]
    assert max(rows, columns) <= 2400
    assert min(rows, columns) > 1200


def test_an_earlier_picture_stays_where_the_new_one_fails(
    layers: Layers, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "plan.png"
    path.write_bytes(b"earlier")

    def broken(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("matplotlib.figure.Figure.savefig", broken)
    with (
        pytest.raises(InputRefused, match="bytes free"),
        drawn_map(path, GRID, GROUND_M, layers, "x"),
    ):
        pytest.fail("no room: nothing else is begun")
    assert path.read_bytes() == b"earlier"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    ("metres_per_inch", "bar_m"), [(1.0, 1.0), (10.0, 10.0), (30.0, 50.0), (300.0, 500.0)]
)
def test_the_scale_bar_is_the_longest_round_length_that_fits(
    metres_per_inch: float, bar_m: float
) -> None:
    assert bar_length_m(metres_per_inch) == pytest.approx(bar_m)


def test_holes_stay_empty() -> None:
    ring: Callable[[float], shapely.Polygon] = lambda r: shapely.box(-r, -r, r, r)  # noqa: E731
    path = outline(ring(10) - ring(5))
    assert path.contains_point((7, 7))
    turns = [shapely.LinearRing(part).is_ccw for part in path.to_polygons()]
    assert turns == [True, False]


def test_an_arrow_head_points_where_the_route_runs() -> None:
    head = arrow_head(np.array([(0.0, 0.0), (0.0, 5.0), (40.0, 5.0)]), 4.0)
    assert head is not None
    assert head[0].tolist() == [40.0, 5.0]
    assert head[1:].mean(axis=0).tolist() == [36.0, 5.0]
    assert arrow_head(np.zeros((2, 2)), 4.0) is None
