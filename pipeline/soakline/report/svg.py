"""Small drawings as SVG in the page: crisp on paper, read out by their title and description."""

import html
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal, TypeVar

import numpy as np
import shapely
from markupsafe import Markup

from soakline.grid import FloatArray
from soakline.report.words import number

Anchor = Literal["start", "middle", "end"]
_ANCHORS = {"start": "", "middle": ' class="m"', "end": ' class="e"'}
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
            line = shapely.simplify(shapely.LineString(places), 0.3, preserve_topology=False)
            places = shapely.get_coordinates(line)
        return " ".join(f"{a:g},{b:g}" for a, b in places.round(1).tolist())


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

    def rules(self, look: str, path: str) -> None:
        """Straight strokes of one look, as a path of SVG."""
        self.parts.append(f'<path class="{look}" d="{path}"/>')

    def bars(self, look: str, *places: tuple[float, float, float, float]) -> None:
        """Bars of one look, by left, top, width and height; none where there is no width."""
        path = "".join(
            f"M{_short(x)} {_short(y)}h{_short(width)}v{_short(height)}h{_short(-width)}z"
            for x, y, width, height in places
            if width >= 0.05
        )
        if path:
            self.parts.append(f'<path class="{look}" d="{path}"/>')

    def mark(self, look: str, x: float, y: float) -> None:
        """A triangle whose tip points down to the place."""
        top = _short(y - 7)
        self.area(look, f"{_short(x)},{_short(y)} {_short(x - 4)},{top} {_short(x + 4)},{top}")

    def text(self, words: str, x: float, y: float, at: Anchor = "start") -> None:
        place = f'x="{_short(x)}" y="{_short(y)}"'
        self.parts.append(f"<text {place}{_ANCHORS[at]}>{html.escape(words)}</text>")

    def texts(self, words: Sequence[str], x: FloatArray, y: FloatArray, at: Anchor) -> None:
        """Words of one alignment, each at its own place."""
        parts = (
            f'<tspan x="{_short(a)}" y="{_short(b)}">{html.escape(own)}</tspan>'
            for own, a, b in zip(words, x, y, strict=True)
        )
        self.parts.append(f"<text{_ANCHORS[at]}>{''.join(parts)}</text>")

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
    left, top, bottom, right = map(
        _short, (frame.left, frame.top, frame.top + frame.height, frame.left + frame.width)
    )
    y_ticks = round_ticks(frame.y_from, frame.y_to, 4)
    drawing.rules("grid", "".join(f"M{left} {_short(frame.y(v))}H{right}" for v in y_ticks))
    beside = np.full(len(y_ticks), frame.left - 4)
    drawing.texts(_rounded(y_ticks), beside, frame.y(y_ticks) + 3.5, "end")
    ticks = round_ticks(frame.x_from, frame.x_to, 6) if x_ticks is None else np.array([*x_ticks])
    if len(ticks):
        below = np.full(len(ticks), frame.top + frame.height + 12)
        drawing.texts(_rounded(ticks), frame.x(ticks), below, "middle")
    drawing.rules("axis", f"M{left} {top}V{bottom}H{right}")
    drawing.text(y_title, 2, 10)
    drawing.text(x_title, frame.left + frame.width, frame.top + frame.height + 25, "end")


def _short(place: float) -> str:
    """A place on the paper to a tenth of its unit: finer than a screen or a printer shows."""
    return f"{round(float(place), 1):g}"


def _rounded(ticks: FloatArray) -> list[str]:
    """Ticks with the decimals that their step has."""
    places = 1
    if len(ticks) > 1:
        places = int(max(0, -np.floor(np.log10(ticks[1] - ticks[0]) + 1e-9)))
    return [number(value, places) for value in ticks]
