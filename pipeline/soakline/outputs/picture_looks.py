"""Colours, marks and names of what the map shows."""

from collections.abc import Mapping
from typing import Any

from matplotlib.colors import LinearSegmentedColormap

from soakline.styles.palette import (
    CROSSING,
    EDGE_GREY,
    FIXED,
    ROUTE,
    SWALE,
    UNFIT_BROWN,
    WATER,
    WET_BLUE,
    WISH_GREEN,
)

RELIEF = LinearSegmentedColormap.from_list("relief", ["#77736a", "#c4bfb3", "#eeebe3", "#fdfcf9"])

# Reasons by what they mean to the reader; the hatch tells them apart without colour.
EXCLUDED = (
    (
        "Kept clear: edge, buildings, works",
        ("boundary", "building", "septic", "well", "service", "track"),
        EDGE_GREY,
        "////",
    ),
    ("Kept clear: water", ("drainage_line", "watercourse", "dam", "wet"), WET_BLUE, "...."),
    (
        "Unfit: steep, slipping, thin, salty",
        ("too_steep", "landslip", "shallow_soil", "saline"),
        UNFIT_BROWN,
        "\\\\\\\\",
    ),
    ("Protected or by wish", ("protected", "by_wish"), WISH_GREEN, "xxxx"),
)

SAFE_KINDS = {"dam": ("s", "Dam"), "given": ("*", "Given safe point"), "outlet": ("v", "Outlet")}

MARKS: Mapping[str, tuple[str, str, float, dict[str, Any]]] = {
    "spillways": (
        "Spillway", "D", 4.2, {"color": ROUTE, "mec": "white", "mew": 0.6, "zorder": 9}
    ),
    "crossings": (
        "Track crossing", "s", 3.6, {"color": "white", "mec": CROSSING, "mew": 1.0, "zorder": 8.5}
    ),
}  # fmt: skip
POINT_KINDS = {
    "pond": ("Seasonal pond", "o", 4.2, {"color": WATER, "mec": "white"}),
    "basin": ("Infiltration basin", "^", 4.2, {"color": WATER, "mec": "white"}),
    "organic_pit": ("Organic pit", "o", 2.2, {"color": "white", "mec": CROSSING}),
}

SWALE_STATES = {
    "planned": ("Swale", SWALE, SWALE),
    "fixed": ("Fixed swale", FIXED, FIXED),
    "built": ("Built swale", SWALE, "white"),
}
"""Name, colour and colour of the core; a light core is a trench seen from above."""
