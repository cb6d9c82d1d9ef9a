"""The plan's styles, layer by layer: what the legend says and how it is drawn."""

from collections.abc import Mapping

from soakline.styles.palette import (
    BERM,
    CROSSING,
    CUT_SLOPE,
    DRAIN,
    EDGE_GREY,
    INK,
    MOUND,
    PONDED,
    ROUTE,
    SAFE,
    SLOPES,
    STOP,
    SWALE,
    TREE,
    UNFIT_BROWN,
    WATER,
    WET_BLUE,
    WISH_GREEN,
)
from soakline.styles.symbols import Area, Condition, Label, Line, Mark, Point, Rule, Style

# Scale denominators: a property on one sheet, a block of it, one swale.
_PROPERTY, _BLOCK, _SWALE = 25_000.0, 5_000.0, 1_500.0


def _is(column: str, *values: str) -> tuple[Condition, ...]:
    return (Condition(column, "in", values),)


def _label(
    column: str, colour: str, coarsest: float, *, size: float = 11.0, along: bool = False
) -> Rule:
    return Rule("", (Label(column, colour, size, along),), coarsest=coarsest)


def _areas(
    title: str, when: tuple[Condition, ...], colour: str, opacity: float, hatch: Mark | None = None
) -> Rule:
    return Rule(title, (Area(colour, opacity, Line(colour, 0.6), hatch),), when)


_SWALES = Style(
    "swales",
    "Swales",
    (
        Rule(
            "Swale with trees",
            (Line("#ffffff", 4.0), Line(SWALE, 2.2)),
            _is("role", "tree"),
        ),
        Rule(
            "Swale with a windbreak",
            (Line("#ffffff", 4.0), Line(SWALE, 2.2, (8.0, 3.0))),
            _is("role", "windbreak"),
        ),
        _label("swale_id", SWALE, _BLOCK, along=True),
    ),
)

_GROUND = Style(
    "swale_ground",
    "Swale ground",
    tuple(
        Rule(title, (Area(colour, 0.85, Line(INK, 0.4)),), _is("part", part), coarsest=_BLOCK)
        for title, part, colour in (
            ("Water when full", "ponded", PONDED),
            ("Cut slope", "cut_slope", CUT_SLOPE),
            ("Berm", "berm", BERM),
            ("Mound", "mound", MOUND),
        )
    ),
)

_ROUTES = Style(
    "overflow_routes",
    "Overflow routes",
    (
        Rule(
            "Overflow route",
            (Line("#ffffff", 3.4), Line(ROUTE, 1.8, (7.0, 3.0))),
        ),
        Rule(
            "Overflow route, faster than its cover bears",
            (Line(STOP, 3.0),),
            (Condition("velocity_ms", "over", "permissible_ms"),),
        ),
        _label("route_id", ROUTE, _SWALE, size=10.0, along=True),
    ),
)

_SAFE_MARKS: tuple[tuple[str, str, Mark, float], ...] = (
    ("Dam", "dam", "square", 11.0),
    ("Given safe point", "given", "star", 14.0),
    ("Outlet: a drainage line leaves the property", "outlet", "triangle", 12.0),
)

_ORDERS = (("Drainage line, order 1", 0, 2, 1.0), ("Order 2 and 3", 2, 4, 2.0))

SLOPE_LIMITS_PCT = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0)  # FAO 2006


def _slopes() -> tuple[Rule, ...]:
    lower = (0.0, *SLOPE_LIMITS_PCT)
    rules = []
    for k, colour in enumerate(SLOPES):
        tests = [Condition("lower_pct", "at least", lower[k])]
        if k + 1 < len(lower):
            tests.append(Condition("lower_pct", "less than", lower[k + 1]))
            title = f"{lower[k]:g} to {lower[k + 1]:g} %"
        else:
            title = f"over {lower[k]:g} %"
        rules.append(Rule(title, (Area(colour, 0.8, Line(colour, 0.3)),), tuple(tests)))
    return tuple(rules)


_BANDS: tuple[tuple[str, str, Mark], ...] = (
    ("Tree on the mound", "mound", "circle"),
    ("Tree below the mound", "below", "square"),
    ("Tree uphill of the trench", "uphill", "triangle"),
    ("Tree in the trench", "trench", "star"),
    ("Tree between swales", "between", "x"),
)

_PEGS: tuple[tuple[str, tuple[str, ...], Mark, float], ...] = (
    ("Peg: start or end", ("start", "end"), "square", 7.0),
    ("Peg: sill", ("sill",), "triangle", 8.0),
    ("Peg: bend or line", ("bend", "line"), "circle", 4.5),
)


def _pegs(layer: str, title: str, label: str) -> Style:
    marks = (
        Rule(row, (Point(mark, INK, size),), _is("kind", *kinds), coarsest=_SWALE)
        for row, kinds, mark, size in _PEGS
    )
    return Style(layer, title, (*marks, _label(label, INK, 500.0, size=9.0)))


_CROSSINGS: tuple[tuple[str, str, Mark], ...] = (
    ("Ford", "ford", "square"),
    ("Causeway with pipe", "causeway", "circle"),
    ("Gap", "gap", "x"),
)

_POINTS: tuple[tuple[str, str, Mark, str], ...] = (
    ("Seasonal pond", "pond", "circle", WATER),
    ("Infiltration basin", "basin", "triangle", WATER),
    ("Organic pit", "organic_pit", "square", CROSSING),
)

_ALL = (
    Style(
        "property",
        "Property",
        (Rule("Property boundary", (Area("", edge=Line(INK, 2.0, (9.0, 3.0, 2.0, 3.0))),)),),
    ),
    Style("slope_classes", "Slope classes", _slopes()),
    Style(
        "excluded_ground",
        "Excluded ground",
        (
            _areas(
                "Kept clear: edge, buildings, works",
                _is("reason", "boundary", "building", "septic", "well", "service", "track"),
                EDGE_GREY,
                0.3,
                "x",
            ),
            _areas(
                "Kept clear: water",
                _is("reason", "drainage_line", "watercourse", "dam", "wet"),
                WET_BLUE,
                0.35,
                "circle",
            ),
            _areas(
                "Unfit: steep, slipping, thin, salty",
                _is("reason", "too_steep", "landslip", "shallow_soil", "saline"),
                UNFIT_BROWN,
                0.35,
                "triangle",
            ),
            _areas(
                "Protected or by wish",
                _is("reason", "protected", "by_wish"),
                WISH_GREEN,
                0.35,
                "cross",
            ),
        ),
    ),
    Style(
        "swale_catchments",
        "Swale catchments",
        (
            Rule(
                "Catchment of a swale",
                (Area("", edge=Line(WATER, 0.8, (4.0, 3.0))),),
                coarsest=_PROPERTY,
            ),
        ),
    ),
    Style(
        "hollows",
        "Hollows",
        (
            Rule(
                "Hollow, kept", (Area(WET_BLUE, 0.7, Line(WATER, 1.0)),), _is("treatment", "kept")
            ),
            Rule(
                "Hollow, filled",
                (Area("", edge=Line(WATER, 1.0, (2.0, 2.0))),),
                _is("treatment", "filled"),
            ),
        ),
    ),
    Style(
        "drainage_lines",
        "Drainage lines",
        (
            *(
                Rule(
                    title,
                    (Line(WATER, width),),
                    (
                        Condition("order_strahler", "at least", float(least)),
                        Condition("order_strahler", "less than", float(below)),
                    ),
                )
                for title, least, below, width in _ORDERS
            ),
            Rule(
                "Order 4 and more",
                (Line(WATER, 3.2),),
                (Condition("order_strahler", "at least", 4.0),),
            ),
        ),
    ),
    _GROUND,
    Style(
        "swale_point_ground",
        "Ground of ponds, basins and pits",
        (Rule("Pond, basin or pit", (Area(WATER, 0.4, Line(WATER, 0.8)),), coarsest=_BLOCK),),
    ),
    _SWALES,
    _ROUTES,
    Style(
        "diversions",
        "Diversion drains",
        (Rule("Diversion drain", (Line("#ffffff", 3.4), Line(DRAIN, 1.8, (9.0, 2.0, 2.0, 2.0)))),),
    ),
    Style(
        "trees",
        "Trees",
        tuple(
            Rule(
                title,
                (Point(mark, TREE, "crown_m", opacity=0.35, edge=TREE),),
                _is("band", band),
                coarsest=_BLOCK,
            )
            for title, band, mark in _BANDS
        ),
    ),
    Style(
        "tree_projection",
        "Tree-height projection",
        (
            Rule(
                "Line from a tree's top to the swale above",
                (Line(TREE, 0.8, (5.0, 3.0)),),
                coarsest=_BLOCK,
            ),
        ),
    ),
    Style(
        "swale_points",
        "Ponds, basins and pits",
        tuple(
            Rule(title, (Point(mark, colour, 9.0),), _is("kind", kind))
            for title, kind, mark, colour in _POINTS
        ),
    ),
    Style(
        "crossings",
        "Crossings",
        tuple(
            Rule(title, (Point(mark, CROSSING, 9.0),), _is("kind", kind))
            for title, kind, mark in _CROSSINGS
        ),
    ),
    _pegs("pegs", "Pegs", "peg_id"),
    _pegs("pegs_to_dig", "Pegs to dig, with the cut, m", "cut_m"),
    Style(
        "spillways",
        "Spillways",
        (
            Rule("Spillway", (Point("square", ROUTE, 9.0, turned_deg=45.0),), coarsest=_PROPERTY),
            _label("spillway_id", ROUTE, _SWALE, size=10.0),
        ),
    ),
    Style(
        "safe_points",
        "Safe points",
        (
            *(
                Rule(title, (Point(mark, SAFE, size),), _is("kind", kind))
                for title, kind, mark, size in _SAFE_MARKS
            ),
            _label("name", SAFE, _PROPERTY),
        ),
    ),
    Style(
        "swales_with_findings",
        "Swales with findings",
        (
            Rule(
                "Swale with a caution", (Line(ROUTE, 3.0, (2.0, 2.0)),), _is("severity", "caution")
            ),
            Rule("Swale at stop", (Line(STOP, 4.0),), _is("severity", "stop")),
        ),
    ),
    Style(
        "swales_to_dig_next",
        "Swales to dig next",
        (
            Rule("Swale to dig next", (Line("#ffffff", 4.0), Line(DRAIN, 2.4))),
            Rule("", (Label("build_order", DRAIN, 12.0, along=True),), coarsest=_BLOCK),
        ),
    ),
)

STYLES: Mapping[str, Style] = {style.layer: style for style in _ALL}
"""Style of every layer and view with geometry, in the order to be drawn, lowest first."""
