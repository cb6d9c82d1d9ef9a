"""Styled Layer Descriptors: elements in the standard's order, and nothing but its own names."""

import pytest
from lxml import etree

from soakline.styles.plan_styles import STYLES
from soakline.styles.raster_styles import raster_styles
from soakline.styles.sld import OGC, SE, SLD, style_document
from soakline.styles.symbols import Area, Condition, Label, Line, Mark, Point, Ramp, Rule, Style

every_style = pytest.mark.parametrize("style", STYLES.values(), ids=lambda style: style.layer)

# Order of children, by the schemas of OGC 05-078r4 and 05-077r4 (from memory).
ORDER = {
    "Rule": "Name Description LegendGraphic Filter ElseFilter MinScaleDenominator "
    "MaxScaleDenominator LineSymbolizer PolygonSymbolizer PointSymbolizer TextSymbolizer",
    "UserStyle": "Name Description IsDefault FeatureTypeStyle",
    "PolygonSymbolizer": "Name Description Geometry Fill Stroke Displacement",
    "LineSymbolizer": "Name Description Geometry Stroke PerpendicularOffset",
    "PointSymbolizer": "Name Description Geometry Graphic",
    "TextSymbolizer": "Name Description Geometry Label Font LabelPlacement Halo Fill",
    "Graphic": "ExternalGraphic Mark Opacity Size Rotation AnchorPoint Displacement",
    "Mark": "WellKnownName OnlineResource Fill Stroke",
    "Halo": "Radius Fill",
}


def name(element: etree._Element) -> str:
    return etree.QName(element).localname


@every_style
def test_children_stand_in_the_order_of_the_schema(style: Style) -> None:
    root = etree.fromstring(style_document([style]).encode())
    for element in root.iter():
        order = ORDER.get(name(element), "").split()
        places = [order.index(name(child)) for child in element if order]
        assert places == sorted(places), name(element)


@every_style
def test_names_rules_and_scales_are_those_of_the_style(style: Style) -> None:
    root = etree.fromstring(style_document([style]).encode())
    assert root.tag == f"{{{SLD}}}StyledLayerDescriptor"
    assert root.get("version") == "1.1.0"
    assert root.findtext(f".//{{{SE}}}Name") == style.layer
    rules = root.findall(f".//{{{SE}}}Rule")
    titles = [rule.findtext(f"{{{SE}}}Description/{{{SE}}}Title", "") for rule in rules]
    assert titles == [rule.title for rule in style.rules]
    for found, rule in zip(rules, style.rules, strict=True):
        coarsest = found.findtext(f"{{{SE}}}MaxScaleDenominator")
        assert (None if coarsest is None else float(coarsest)) == rule.coarsest
        asked = {element.text for element in found.iterfind(f".//{{{OGC}}}PropertyName")}
        columns = {test.column for test in rule.when}
        columns |= {test.to for test in rule.when if isinstance(test.to, str)}
        columns |= {symbol.column for symbol in rule.symbols if isinstance(symbol, Label)}
        columns |= {
            symbol.size
            for symbol in rule.symbols
            if isinstance(symbol, Point) and isinstance(symbol.size, str)
        }
        assert asked == columns


def test_all_styles_go_into_one_document() -> None:
    root = etree.fromstring(style_document(STYLES.values()).encode())
    names = [layer.findtext(f"{{{SE}}}Name") for layer in root.findall(f"{{{SLD}}}NamedLayer")]
    assert names == list(STYLES)


@pytest.mark.parametrize("style", raster_styles(380.0, 521.0), ids=lambda style: style.layer)
def test_rasters_have_colours_by_value(style: Style) -> None:
    """Categorize and Interpolate: OGC 05-077r4, 11.6.2 and 11.6.3 (from memory)."""
    root = etree.fromstring(style_document([style]).encode())
    ((ramp,),) = (rule.symbols for rule in style.rules)
    assert isinstance(ramp, Ramp)
    (colours,) = root.iterfind(f".//{{{SE}}}RasterSymbolizer/{{{SE}}}ColorMap/*")
    assert colours.findtext(f"{{{SE}}}LookupValue") == "Rasterdata"
    values = [float(e.text) for e in colours.iter(f"{{{SE}}}Threshold", f"{{{SE}}}Data")]
    assert values == [value for value, _ in ramp.stops]
    named = [e.text for e in colours.iter(f"{{{SE}}}Value")]
    # Of a stepped ramp the first colour is for values under the first threshold.
    assert named[-len(values) :] == [colour for _, colour in ramp.stops]
    assert len(named) - len(values) == ramp.stepped


def test_text_with_markup_is_escaped() -> None:
    rule = Rule("<b>&", (Line("#000000", 1.0),), (Condition("name", "in", ("<a>", "&")),))
    root = etree.fromstring(style_document([Style("x", "<&>", (rule,))]).encode())
    assert root.findtext(f".//{{{SE}}}Rule/{{{SE}}}Description/{{{SE}}}Title") == "<b>&"
    assert [e.text for e in root.iterfind(f".//{{{OGC}}}Literal")] == ["<a>", "&"]


@pytest.mark.parametrize("mark", ["square", "circle", "triangle", "star", "cross", "x"])
def test_every_mark_fills_areas_and_points(mark: Mark) -> None:
    area = Area("#ff0000", 0.5, Line("#000000", 1.0), mark)
    rules = (Rule("", (area,)), Rule("", (Point(mark, "#00ff00", 4.0, 45.0),)))
    root = etree.fromstring(style_document([Style("x", "X", rules)]).encode())
    assert [e.text for e in root.iterfind(f".//{{{SE}}}WellKnownName")] == [mark, mark]
    assert root.findtext(f".//{{{SE}}}Rotation") == "45"
