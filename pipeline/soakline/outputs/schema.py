"""What a layer or table of the plan is made of: its name, geometry and columns."""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["text", "integer", "real", "boolean"]
Geometry = Literal["MultiPolygon", "Polygon", "LineString", "LineStringZ", "Point", "PointZ"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a layer or table.

    Parameters
    ----------
    name : as scripts read it; the unit ends it where there is one
    kind : `text`, `integer`, `real` or `boolean`; each may be null
    title : short heading for people, unique within the layer
    description : what the figure is and how it is meant, cautions included
    unit : as printed behind a figure; empty where there is none
    allowed : the only values allowed besides null; empty where any are
    """

    name: str
    kind: Kind
    title: str
    description: str
    unit: str = ""
    allowed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LayerSchema:
    """One layer of the plan, or one table where `geometry` is None."""

    name: str
    geometry: Geometry | None
    title: str
    description: str
    columns: tuple[Column, ...]

    @property
    def column_names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)

    @property
    def has_z(self) -> bool:
        return self.geometry is not None and self.geometry.endswith("Z")


def text(name: str, title: str, description: str, allowed: tuple[str, ...] = ()) -> Column:
    """A column of words or ids."""
    return Column(name, "text", title, description, allowed=allowed)


def real(name: str, unit: str, title: str, description: str) -> Column:
    """A column of measures; `unit` is empty for a ratio."""
    return Column(name, "real", title, description, unit)


def integer(name: str, title: str, description: str, unit: str = "") -> Column:
    """A column of counts, ranks or years, or of measures in whole units."""
    return Column(name, "integer", title, description, unit)
