"""Styles as Styled Layer Descriptors 1.1 (OGC 05-078r4) with Symbology Encoding (OGC 05-077r4)."""

from collections.abc import Iterable
from xml.etree import ElementTree as ET

from soakline.styles.symbols import Area, Condition, Label, Line, Point, Ramp, Rule, Style

SLD = "http://www.opengis.net/sld"
SE = "http://www.opengis.net/se"
OGC = "http://www.opengis.net/ogc"
METRE = "http://www.opengeospatial.org/se/units/metre"
PIXEL = "http://www.opengeospatial.org/se/units/pixel"

_SIZE_OF_HATCH = 7.0
_NO_COLOUR = "#ffffff"


def style_document(styles: Iterable[Style]) -> str:
    """Styles as one XML document, a named layer each.

    Parameters
    ----------
    styles : the first to be drawn first
    """
    for prefix, uri in (("sld", SLD), ("se", SE), ("ogc", OGC)):
        ET.register_namespace(prefix, uri)
    root = ET.Element(f"{{{SLD}}}StyledLayerDescriptor", version="1.1.0")
    for style in styles:
        layer = ET.SubElement(root, f"{{{SLD}}}NamedLayer")
        _text(layer, SE, "Name", style.layer)
        user = ET.SubElement(layer, f"{{{SLD}}}UserStyle")
        _text(user, SE, "Name", style.layer)
        _titled(user, style.title)
        features = _se(user, "FeatureTypeStyle")
        for k, rule in enumerate(style.rules):
            _rule(features, rule, f"{style.layer}-{k + 1}")
    ET.indent(root)
    return ET.tostring(root, encoding="unicode", xml_declaration=True)


def _rule(parent: ET.Element, rule: Rule, name: str) -> None:
    element = _se(parent, "Rule")
    _text(element, SE, "Name", name)
    if rule.title:
        _titled(element, rule.title)
    if rule.when:
        where = ET.SubElement(element, f"{{{OGC}}}Filter")
        if len(rule.when) > 1:
            where = ET.SubElement(where, f"{{{OGC}}}And")
        for test in rule.when:
            _test(where, test)
    if rule.finest > 0:
        _text(element, SE, "MinScaleDenominator", f"{rule.finest:g}")
    if rule.coarsest is not None:
        _text(element, SE, "MaxScaleDenominator", f"{rule.coarsest:g}")
    for symbol in rule.symbols:
        _draw(element, symbol)


def _draw(element: ET.Element, symbol: Line | Area | Point | Label | Ramp) -> None:
    match symbol:
        case Line():
            _stroke(_symbolizer(element, "Line"), symbol)
        case Area():
            _area(element, symbol)
        case Point():
            _point(element, symbol)
        case Label():
            _label(element, symbol)
        case Ramp():
            _ramp(element, symbol)


_COMPARED = {
    "at least": "PropertyIsGreaterThanOrEqualTo",
    "less than": "PropertyIsLessThan",
    "over": "PropertyIsGreaterThan",
}


def _test(parent: ET.Element, test: Condition) -> None:
    if isinstance(test.to, tuple):
        if len(test.to) > 1:
            parent = ET.SubElement(parent, f"{{{OGC}}}Or")
        for value in test.to:
            equal = ET.SubElement(parent, f"{{{OGC}}}PropertyIsEqualTo")
            _text(equal, OGC, "PropertyName", test.column)
            _text(equal, OGC, "Literal", value)
        return
    compared = ET.SubElement(parent, f"{{{OGC}}}{_COMPARED[test.relation]}")
    _text(compared, OGC, "PropertyName", test.column)
    if isinstance(test.to, str):
        _text(compared, OGC, "PropertyName", test.to)
    else:
        _text(compared, OGC, "Literal", f"{test.to:g}")


def _area(parent: ET.Element, area: Area) -> None:
    element = _symbolizer(parent, "Polygon")
    if area.colour:
        _parameters(
            _se(element, "Fill"), {"fill": area.colour, "fill-opacity": f"{area.opacity:g}"}
        )
    if area.edge is not None:
        _stroke(element, area.edge)
    if area.hatch is not None and area.edge is not None:
        hatch = _se(_se(_se(_symbolizer(parent, "Polygon"), "Fill"), "GraphicFill"), "Graphic")
        mark = _se(hatch, "Mark")
        _text(mark, SE, "WellKnownName", area.hatch)
        _parameters(_se(mark, "Stroke"), {"stroke": area.edge.colour, "stroke-width": "0.6"})
        _text(hatch, SE, "Size", f"{_SIZE_OF_HATCH:g}")


def _point(parent: ET.Element, point: Point) -> None:
    on_ground = isinstance(point.size, str)
    element = _symbolizer(parent, "Point", METRE if on_ground else PIXEL)
    graphic = _se(element, "Graphic")
    mark = _se(graphic, "Mark")
    _text(mark, SE, "WellKnownName", point.mark)
    _parameters(_se(mark, "Fill"), {"fill": point.colour, "fill-opacity": f"{point.opacity:g}"})
    # Of a mark on the ground the width of its edge counts in metres too.
    _parameters(
        _se(mark, "Stroke"), {"stroke": point.edge, "stroke-width": "0.1" if on_ground else "0.8"}
    )
    size = _se(graphic, "Size")
    if isinstance(point.size, str):
        _text(size, OGC, "PropertyName", point.size)
    else:
        size.text = f"{point.size:g}"
    if point.turned_deg:
        _text(graphic, SE, "Rotation", f"{point.turned_deg:g}")


def _label(parent: ET.Element, label: Label) -> None:
    element = _symbolizer(parent, "Text")
    _text(_se(element, "Label"), OGC, "PropertyName", label.column)
    _parameters(_se(element, "Font"), {"font-family": "sans-serif", "font-size": f"{label.size:g}"})
    placement = _se(element, "LabelPlacement")
    if label.along:
        _se(placement, "LinePlacement")
    else:
        shift = _se(_se(placement, "PointPlacement"), "Displacement")
        _text(shift, SE, "DisplacementX", f"{label.size * 0.7:g}")
        _text(shift, SE, "DisplacementY", f"{label.size * 0.4:g}")
    halo = _se(element, "Halo")
    _text(halo, SE, "Radius", "1.5")
    _parameters(_se(halo, "Fill"), {"fill": "#ffffff"})
    _parameters(_se(element, "Fill"), {"fill": label.colour})


def _ramp(parent: ET.Element, ramp: Ramp) -> None:
    colours = _se(_symbolizer(parent, "Raster"), "ColorMap")
    name = "Categorize" if ramp.stepped else "Interpolate"
    element = ET.SubElement(colours, f"{{{SE}}}{name}", fallbackValue=_NO_COLOUR)
    _text(element, SE, "LookupValue", "Rasterdata")
    if ramp.stepped:
        _text(element, SE, "Value", _NO_COLOUR)
    for value, colour in ramp.stops:
        if ramp.stepped:
            _text(element, SE, "Threshold", f"{value:g}")
            _text(element, SE, "Value", colour)
        else:
            point = _se(element, "InterpolationPoint")
            _text(point, SE, "Data", f"{value:.10g}")
            _text(point, SE, "Value", colour)
    element.set(*(("thresholdBelongsTo", "succeeding") if ramp.stepped else ("mode", "linear")))
    if not ramp.stepped:
        element.set("method", "color")


def _stroke(parent: ET.Element, line: Line) -> None:
    values = {"stroke": line.colour, "stroke-width": f"{line.width:g}"}
    if line.dashes:
        values["stroke-dasharray"] = " ".join(f"{dash:g}" for dash in line.dashes)
    else:
        values["stroke-linejoin"] = "round"
    _parameters(_se(parent, "Stroke"), values)


def _symbolizer(parent: ET.Element, kind: str, unit: str = PIXEL) -> ET.Element:
    return ET.SubElement(parent, f"{{{SE}}}{kind}Symbolizer", uom=unit)


def _se(parent: ET.Element, name: str) -> ET.Element:
    return ET.SubElement(parent, f"{{{SE}}}{name}")


def _titled(parent: ET.Element, title: str) -> None:
    _text(_se(parent, "Description"), SE, "Title", title)


def _parameters(parent: ET.Element, values: dict[str, str]) -> None:
    for name, value in values.items():
        ET.SubElement(parent, f"{{{SE}}}SvgParameter", name=name).text = value


def _text(parent: ET.Element, namespace: str, name: str, text: str) -> None:
    ET.SubElement(parent, f"{{{namespace}}}{name}").text = text
