"""Small drawings as SVG in the page: crisp on paper, read out by their title and description."""

import html
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal, TypeVar

import numpy as np
import shapely
from markupsafe import Markup

from soakline.grid import FloatArray

Anchor = Literal["start", "middle", "end"]
Place = TypeVar("Place", float, FloatArray)


@dataclass(frozen=True, slots=True)
class Frame:
    """Where figures lie on the paper.

    Parameters
    ----------
    x_from, x_to, y_from, y_to : range of the figures, y upward
    left, top, width, height : of the drawing area, in units of the picture
    """

    x_from: float
    x_to: float
    y_from: float
    y_to: float
    left: float
    top: float
    width: float
    height: float

    def x(self, value: Place) -> Place:
        return self.left + (value - self.x_from) / (self.x_to - self.x_from) * self.width

    def y(self, value: Place) -> Place:
        return self.top + (self.y_to - value) / (self.y_to - self.y_from) * self.height

    def points(self, x: Sequence[float] | FloatArray, y: Sequence[float] | FloatArray) -> str:
        """Vertices of a line as SVG writes them, without those that no eye would miss."""
        places = np.column_stack([self.x(np.asarray(x)), self.y(np.asarray(y))])
        if len(places) > 8:
            line = shapely.simplify(shapely.LineString(places), 0.25, preserve_topology=False)
            places = shapely.get_coordinates(line)
        return " ".join(f"{a:.4g},{b:.4g}" for a, b in places.tolist())


@dataclass(slots=True)
class Svg:
    """A drawing in the making; the style sheet says what its classes look like.

    Parameters
    ----------
    width, height : of the picture
    title, about : read out instead of the picture
    """

    width: int
    height: int
    title: str
    about: str
    parts: list[str] = field(default_factory=list)

    def line(self, look: str, points: str) -> None:
        self.parts.append(f'<polyline class="{look}" points="{points}"/>')

    def area(self, look: str, points: str) -> None:
        self.parts.append(f'<polygon class="{look}" points="{points}"/>')

    def bar(self, look: str, x: float, y: float, width: float, height: float) -> None:
        self.parts.append(
            f'<rect class="{look}" x="{x:.4g}" y="{y:.4g}" width="{max(width, 0):.4g}" '
            f'height="{max(height, 0):.4g}"/>'
        )

    def mark(self, look: str, x: float, y: float) -> None:
        """A triangle whose tip points down to the place."""
        self.area(look, f"{x:.4g},{y:.4g} {x - 4:.4g},{y - 7:.4g} {x + 4:.4g},{y - 7:.4g}")

    def text(self, words: str, x: float, y: float, at: Anchor = "start") -> None:
        turned = "" if at == "start" else f' text-anchor="{at}"'
        self.parts.append(f'<text x="{x:.4g}" y="{y:.4g}"{turned}>{html.escape(words)}</text>')

    def draw(self) -> Markup:
        size = f'viewBox="0 0 {self.width} {self.height}" width="{self.width}"'
        told = html.escape(f"{self.title}. {self.about}")
        parts = "".join(self.parts)
        return Markup(f'<svg role="img" {size} aria-label="{told}">{parts}</svg>')  # noqa: S704 - escaped


def round_ticks(low: float, high: float, most: int) -> FloatArray:
    """Round values within a range, at most so many and a few.

    Examples
    --------
    >>> round_ticks(0.0, 97.0, 5).tolist()
    [0.0, 20.0, 40.0, 60.0, 80.0]
    """
    span = max(high - low, 1e-9)
    rough = span / max(most, 1)
    power = 10.0 ** np.floor(np.log10(rough))
    step = next(power * k for k in (1, 2, 5, 10) if power * k >= rough * 0.999)
    ticks = np.arange(np.ceil(low / step - 1e-9), high / step + 1e-9) * step
    return np.asarray(ticks + 0.0)  # no negative nought


def axes(
    drawing: Svg, frame: Frame, x_title: str, y_title: str, x_ticks: Iterable[float] | None = None
) -> None:
    """Axes with round figures; the titles hold the units."""
    bottom, right = frame.top + frame.height, frame.left + frame.width
    y_ticks = round_ticks(frame.y_from, frame.y_to, 4)
    places = _places(y_ticks)
    for value in y_ticks:
        y = frame.y(value)
        drawing.line("grid", f"{frame.left:.4g},{y:.4g} {right:.4g},{y:.4g}")
        drawing.text(f"{value:.{places}f}", frame.left - 4, y + 3.5, "end")
    ticks = round_ticks(frame.x_from, frame.x_to, 6) if x_ticks is None else np.array([*x_ticks])
    places = _places(ticks)
    for value in ticks:
        drawing.text(f"{value:.{places}f}", frame.x(value), bottom + 12, "middle")
    drawing.line(
        "axis",
        f"{frame.left:.4g},{frame.top:.4g} {frame.left:.4g},{bottom:.4g} {right:.4g},{bottom:.4g}",
    )
    drawing.text(y_title, 2, 10)
    drawing.text(x_title, right, bottom + 25, "end")


def _places(ticks: FloatArray) -> int:
    if len(ticks) < 2:
        return 1
    return int(max(0, -np.floor(np.log10(ticks[1] - ticks[0]) + 1e-9)))
