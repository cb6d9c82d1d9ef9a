"""Every layer has a style, every feature a rule, and colours hold for every colour vision."""

from itertools import combinations

import numpy as np
import pytest
from colorspacious import cspace_convert

from soakline.outputs.columns import LAYERS, SCHEMAS
from soakline.outputs.geopackage_views import VIEWS
from soakline.outputs.raster_schemas import RASTERS
from soakline.styles import palette
from soakline.styles.plan_styles import STYLES
from soakline.styles.raster_styles import in_steps, raster_styles
from soakline.styles.symbols import Area, Condition, Label, Line, Point, Ramp, Rule, Style

every_style = pytest.mark.parametrize("style", STYLES.values(), ids=lambda style: style.layer)

COLUMNS = {
    **{schema.name: schema.columns for schema in LAYERS},
    **{view.name: view.columns for view in VIEWS},
}


def test_every_layer_and_view_with_geometry_has_a_style() -> None:
    with_geometry = {schema.name for schema in LAYERS if schema.geometry}
    with_geometry |= {view.name for view in VIEWS if view.base}
    assert set(STYLES) == with_geometry


@every_style
def test_it_asks_for_columns_that_are_there(style: Style) -> None:
    known = {column.name for column in COLUMNS[style.layer]}
    asked = {test.column for rule in style.rules for test in rule.when}
    asked |= {t.to for rule in style.rules for t in rule.when if isinstance(t.to, str)}
    for rule in style.rules:
        asked |= {symbol.column for symbol in rule.symbols if isinstance(symbol, Label)}
        asked |= {s.size for s in rule.symbols if isinstance(s, Point) and isinstance(s.size, str)}
    assert asked <= known


@every_style
def test_labels_are_words_or_whole_numbers(style: Style) -> None:
    """A reader of styles prints every digit of a measure; cuts at pegs have but three."""
    kinds = {column.name: column.kind for column in COLUMNS[style.layer]}
    symbols = [symbol for rule in style.rules for symbol in rule.symbols]
    named = {own.column for own in symbols if isinstance(own, Label)} - {"cut_m"}
    assert {kinds[column] for column in named} <= {"text", "integer"}


@every_style
def test_every_value_that_a_column_may_have_is_drawn_by_one_rule(style: Style) -> None:
    allowed = {column.name: column.allowed for column in COLUMNS[style.layer] if column.allowed}
    by_column: dict[str, list[str]] = {}
    for rule in style.rules:
        for test in rule.when:
            if isinstance(test.to, tuple):
                by_column.setdefault(test.column, []).extend(test.to)
    for column, values in by_column.items():
        wanted = allowed[column]
        if style.layer == "swales_with_findings":
            wanted = ("caution", "stop")  # the view has no notes
        assert sorted(values) == sorted(wanted)


def test_every_raster_has_a_style_over_its_range() -> None:
    styles = {style.layer: style for style in raster_styles(380.0, 521.0)}
    assert list(styles) == [raster.name for raster in RASTERS]
    for name, least, most in (
        ("elevation", 380.0, 521.0), ("slope_pct", 0.0, 60.0), ("contributing_m2", 0.0, 200_000.0),
    ):  # fmt: skip
        ((ramp,),) = (rule.symbols for rule in styles[name].rules)
        assert isinstance(ramp, Ramp)
        values = [value for value, _ in ramp.stops]
        assert (values[0], values[-1]) == (least, most)
        assert values == sorted(set(values))
        assert [rule.title for rule in in_steps(styles[name]).rules] != []


def holds(test: Condition, value: float) -> bool:
    assert isinstance(test.to, float)
    return value >= test.to if test.relation == "at least" else value < test.to


@pytest.mark.parametrize(
    ("layer", "values"),
    [
        ("slope_classes", (0.0, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 3.0, 80.0)),
        ("drainage_lines", (1.0, 2.0, 3.0, 4.0, 7.0)),
    ],
)
def test_every_number_is_drawn_by_one_rule(layer: str, values: tuple[float, ...]) -> None:
    for value in values:
        found = [r for r in STYLES[layer].rules if all(holds(test, value) for test in r.when)]
        assert len(found) == 1, value


def drawn(rule: Rule) -> list[Line | Area | Point]:
    return [symbol for symbol in rule.symbols if not isinstance(symbol, Label)]


@every_style
def test_lines_are_wide_enough_for_print(style: Style) -> None:
    """0.08 mm, common practice of drawing offices: 0.28 px of 0.28 mm each."""
    for rule in style.rules:
        for symbol in drawn(rule):
            line = symbol if isinstance(symbol, Line) else getattr(symbol, "edge", None)
            if isinstance(line, Line):
                assert line.width >= 0.28


def seen(colour: str, deficiency: str | None) -> np.ndarray:
    """J'a'b' of CAM02-UCS as seen with a deficiency of 100 %, by Machado, Oliveira & Fernandes
    (2009).
    """
    rgb = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    if deficiency is not None:
        space = {"name": "sRGB1+CVD", "cvd_type": deficiency, "severity": 100}
        rgb = np.clip(cspace_convert(rgb, space, "sRGB1"), 0.0, 1.0)
    return np.asarray(cspace_convert(rgb, "sRGB1", "CAM02-UCS"))


LINES = (palette.SWALE, palette.ROUTE, palette.WATER, palette.INK)
MEANINGS = {
    "lines over each other": LINES,
    "trench and mound": (palette.PONDED, palette.CUT_SLOPE, palette.BERM, palette.MOUND),
    "slopes": palette.SLOPES,
    "heights": palette.HEIGHTS,
    "gathering water": palette.GATHERING,
    "stop and route": (palette.STOP, palette.ROUTE),
}


@pytest.mark.parametrize("meaning", MEANINGS)
@pytest.mark.parametrize("deficiency", [None, "deuteranomaly", "protanomaly", "tritanomaly"])
def test_colours_are_told_apart(meaning: str, deficiency: str | None) -> None:
    """A difference of 5 in CAM02-UCS is plain to see side by side: common practice, no source."""
    for one, other in combinations(MEANINGS[meaning], 2):
        difference = np.linalg.norm(seen(one, deficiency) - seen(other, deficiency))
        assert difference > 5.0, (one, other, deficiency)


@pytest.mark.parametrize(
    ("colours", "way"), [(palette.SLOPES, -1), (palette.GATHERING, -1), (palette.HEIGHTS, 1)]
)
@pytest.mark.parametrize("deficiency", [None, "deuteranomaly", "protanomaly", "tritanomaly"])
def test_more_is_darker_and_higher_is_lighter(
    colours: tuple[str, ...], way: int, deficiency: str | None
) -> None:
    lightness = [seen(colour, deficiency)[0] for colour in colours]
    assert all(way * np.diff(lightness) > 2.0)


def test_slope_classes_are_those_of_the_method() -> None:
    limits = [r.when[0].to for r in STYLES["slope_classes"].rules]
    assert limits == [0.0, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0]
    assert "lower_pct" in SCHEMAS["slope_classes"].column_names
