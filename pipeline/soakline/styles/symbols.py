"""What a style is made of; sizes are in pixels of 0.28 mm, as Symbology Encoding counts them."""

from dataclasses import dataclass
from typing import Literal

Mark = Literal["square", "circle", "triangle", "star", "cross", "x"]
"""Marks that every reader of Symbology Encoding 1.1 knows (OGC 05-077r4, 11.3.2)."""


@dataclass(frozen=True, slots=True)
class Line:
    """A stroke.

    Parameters
    ----------
    colour : "#rrggbb"
    width : px
    dashes : px on and off; () for none
    """

    colour: str
    width: float
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Area:
    """A fill with its edge.

    Parameters
    ----------
    colour : "#rrggbb"; "" for no fill
    opacity : of the fill
    edge : None for none
    hatch : mark that is repeated over it, in the edge's colour; tells areas apart without colour
    """

    colour: str
    opacity: float = 1.0
    edge: Line | None = None
    hatch: Mark | None = None


@dataclass(frozen=True, slots=True)
class Point:
    """A mark.

    Parameters
    ----------
    mark, colour : Mark and "#rrggbb"
    size : px, or the name of a column with its width on the ground, m
    turned_deg : clockwise
    opacity : of its fill
    edge : "#rrggbb"
    """

    mark: Mark
    colour: str
    size: float | str
    turned_deg: float = 0.0
    opacity: float = 1.0
    edge: str = "#ffffff"


@dataclass(frozen=True, slots=True)
class Label:
    """Text of a column.

    Parameters
    ----------
    column : whose value is shown
    colour : "#rrggbb"
    size : px
    along : whether it follows a line
    """

    column: str
    colour: str
    size: float = 11.0
    along: bool = False


@dataclass(frozen=True, slots=True)
class Ramp:
    """Colours of a raster's values.

    Parameters
    ----------
    stops : value and "#rrggbb", rising
    stepped : whether a colour holds from its value up to the next one; else colours run into each
        other
    """

    stops: tuple[tuple[float, str], ...]
    stepped: bool = False


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition on a column.

    Parameters
    ----------
    column : of the layer
    relation : how its value stands to `to`
    to : a value, several for "in", or with "over" another column's name
    """

    column: str
    relation: Literal["in", "at least", "less than", "over"]
    to: tuple[str, ...] | float | str


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of a legend.

    Parameters
    ----------
    title : of the row; empty for a label
    symbols : drawn in their order
    when : all of them hold; () for every feature
    finest, coarsest : scale denominators that it is drawn between; 0 and None for no bound
    """

    title: str
    symbols: tuple[Line | Area | Point | Label | Ramp, ...]
    when: tuple[Condition, ...] = ()
    finest: float = 0.0
    coarsest: float | None = None


@dataclass(frozen=True, slots=True)
class Style:
    """Style of one layer, view or raster."""

    layer: str
    title: str
    rules: tuple[Rule, ...]
