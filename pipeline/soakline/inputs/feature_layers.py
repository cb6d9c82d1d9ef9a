"""The layers that a features GeoPackage may hold: geometry, columns, and what is read of them."""

from dataclasses import dataclass
from math import inf, isfinite
from typing import Literal

ColumnKind = Literal["text", "number", "truth"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a layer.

    Parameters
    ----------
    name : as in the file, letter case aside
    kind : `text`, `number` or `truth` (true/false)
    unit : of a number
    low : least number allowed
    above : `low` itself is not allowed
    required : a row without a value is refused
    high : greatest number allowed
    """

    name: str
    kind: ColumnKind
    unit: str = ""
    low: float = 0.0
    above: bool = False
    required: bool = False
    high: float = inf

    def allowed(self) -> str:
        """What the column may hold, in words."""
        if self.kind == "text":
            return "text"
        if self.kind == "truth":
            return "true or false"
        bound = "over" if self.above else "of at least"
        most = f" and at most {self.high:g}" if isfinite(self.high) else ""
        empty = "" if self.required else ", or empty"
        return f"a number {bound} {self.low:g}{most} {self.unit}".rstrip() + empty


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer: geometry kinds allowed and the columns read."""

    kinds: tuple[str, ...]
    columns: tuple[Column, ...]


_NAME = Column("name", "text")
_WIDTH = Column("width_m", "number", "m")
_ACCEPTS = Column("accepts_m3", "number", "m³")

FEATURE_LAYERS: dict[str, Layer] = {
    "buildings": Layer(("polygon", "point"), (_NAME,)),
    "septic": Layer(("polygon", "point"), (_NAME,)),
    "wells": Layer(("polygon", "point"), (_NAME,)),
    "protected": Layer(("polygon", "point"), (_NAME,)),
    "no_swales": Layer(("polygon", "point"), (_NAME,)),
    "watercourses": Layer(("line",), (_NAME, _WIDTH)),
    "services": Layer(("line",), (_NAME, _WIDTH)),
    "tracks": Layer(("line",), (_NAME, _WIDTH)),
    "dams": Layer(
        ("polygon", "point"),
        (
            _NAME,
            Column("spillway", "truth"),
            _ACCEPTS,
            Column("release_swale", "text"),
            Column("release_m3_day", "number", "m³ a day"),
            Column("release_from_month", "number", low=1.0, high=12.0),
            Column("release_to_month", "number", low=1.0, high=12.0),
        ),
    ),
    "safe_points": Layer(("point", "polygon"), (_NAME, Column("kind", "text"), _ACCEPTS)),
    "landslip": Layer(("polygon",), (_NAME,)),
    "saline": Layer(("polygon",), (_NAME,)),
    "soils": Layer(
        ("polygon",),
        (
            Column("texture", "text"),
            Column("hydrologic_group", "text"),
            Column("ksat_mm_h", "number", "mm/h", high=5000.0),
            Column("rock_m", "number", "m"),
            Column("watertable_m", "number", "m"),
        ),
    ),
    "land_cover": Layer(("polygon",), (Column("cover", "text"), Column("curve_number", "number"))),
    "hard_surfaces": Layer(("polygon",), (_NAME, Column("swale_id", "text"))),
    "diversions": Layer(("line",), (_NAME,)),
    "planting_blocks": Layer(
        ("polygon",),
        (
            Column("mature_tree_height_m", "number", "m", above=True),
            Column("species", "text"),
        ),
    ),
    "swale_points": Layer(
        ("point",),
        (
            Column("kind", "text"),
            Column("length_m", "number", "m"),
            Column("width_m", "number", "m"),
            Column("depth_m", "number", "m"),
        ),
    ),
    "given_swales": Layer(
        ("line",),
        (
            Column("swale_id", "text"),
            Column("level_m", "number", "m", low=-500.0, high=9000.0),
            Column("state", "text"),
            Column("base_width_m", "number", "m", low=0.2, high=30.0),
            Column("depth_m", "number", "m", low=0.1, high=3.0),
            Column("batter", "number", low=0.25, high=10.0),
        ),
    ),
}
"""Layers that this version reads, in the order of the contract."""

PROGRAM_TABLES = frozenset({"layer_styles", "qgis_projects"})
"""Tables that a GIS keeps in a GeoPackage for itself."""
