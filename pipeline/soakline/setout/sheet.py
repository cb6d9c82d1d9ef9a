"""A sheet of paper to draw on in millimetres: scales are true, texts have known places."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

import matplotlib as mpl
import matplotlib.style
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from matplotlib.text import Text

from soakline.grid import FloatArray
from soakline.outputs.letters import drawable
from soakline.setout.sheet_words import CAUTION, CAUTION_MORE

PAPER_MM = {"A4": (297.0, 210.0), "A3": (420.0, 297.0)}
"""Landscape, ISO 216."""
MARGIN_MM = 10.0
HEADER_MM = 12.0
FOOTER_MM = 13.0
MM_PER_POINT = 25.4 / 72.0
# Of title and note at the top, so that neither meets the other.
_TITLE_LETTERS, _NOTE_LETTERS = 60, 60

INK, GREY, RED, WATER, SOIL, SPOIL, GROUND, LAYER = (
    "#222222", "#777777", "#b01818", "#bcd9ee", "#efe6d8", "#d9c3a0", "#7a5a2e", "#b5aea4",
)  # fmt: skip


class Sheet:
    """One page. Lengths are mm from its lower left corner.

    Parameters
    ----------
    paper : of `PAPER_MM`
    title : bold, at the top
    note : beside the number, at the top right
    """

    def __init__(self, paper: str, title: str, note: str) -> None:
        self.width_mm, self.height_mm = PAPER_MM[paper]
        self.figure = Figure(
            figsize=(self.width_mm / 25.4, self.height_mm / 25.4), facecolor="white"
        )
        FigureCanvasAgg(self.figure)
        self.axes = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set(xlim=(0, self.width_mm), ylim=(0, self.height_mm))
        self.axes.axis("off")
        top = self.height_mm - MARGIN_MM
        self.text(MARGIN_MM, top - 4, drawable(title, _TITLE_LETTERS), 12, weight="bold")
        note = drawable(note, _NOTE_LETTERS)
        self.text(self.width_mm - MARGIN_MM, top - 4, note, 8, ha="right")
        self.line([MARGIN_MM, self.width_mm - MARGIN_MM], [top - 9, top - 9], INK, 0.8)
        self.text(MARGIN_MM, MARGIN_MM + 4.2, CAUTION, 7, RED)
        self.text(MARGIN_MM, MARGIN_MM + 0.2, CAUTION_MORE, 7, RED)

    @property
    def body_mm(self) -> tuple[float, float]:
        """Lower and upper edge of what may be drawn on."""
        return MARGIN_MM + FOOTER_MM, self.height_mm - MARGIN_MM - HEADER_MM

    def text(
        self,
        x: float,
        y: float,
        words: str,
        points: float = 7,
        colour: str = INK,
        *,
        ha: str = "left",
        upright: bool = False,
        weight: str = "normal",
    ) -> Text:
        """Write a text, its middle at the height y; upright texts are read from the right."""
        return self.axes.text(
            x, y, drawable(words), fontsize=points, color=colour, ha=ha, weight=weight,
            va="center_baseline" if not upright else "center", rotation=90 if upright else 0,
            parse_math=False,
        )  # fmt: skip

    def line(
        self,
        x: Sequence[float] | FloatArray,
        y: Sequence[float] | FloatArray,
        colour: str = INK,
        width: float = 0.8,
        style: Literal["-", "--"] = "-",
    ) -> None:
        """Draw a line, its width in points."""
        # Added as it is: `plot` would look anew for the limits of all that is drawn, line by line.
        self.axes.add_artist(Line2D(x, y, color=colour, linewidth=width, linestyle=style))

    def area(self, x: Sequence[float], y: Sequence[float], colour: str) -> None:
        """Fill an outline."""
        outline = list(zip(x, y, strict=True))
        self.axes.add_artist(Polygon(outline, facecolor=colour, linewidth=0))

    def across(self, x1: float, x2: float, y: float, words: str, points: float = 7) -> None:
        """A dimension along the sheet: ticks at both ends, its figure over it."""
        self.line([x1, x2], [y, y], INK, 0.5)
        for x in (x1, x2):
            self.line([x - 0.8, x + 0.8], [y - 0.8, y + 0.8], INK, 0.8)
        above = y + 0.6 * points * MM_PER_POINT + 0.5
        figure = self.text((x1 + x2) / 2, above, words, points, ha="center")
        # Wider than what it measures, it would stand on the lines that come down to the ticks.
        figure.set_bbox({"facecolor": "white", "linewidth": 0, "pad": 0.5})

    def up(self, x: float, y1: float, y2: float, words: str, side: int, points: float = 7) -> None:
        """A dimension up the sheet, its figure on the right (side 1) or on the left (-1)."""
        self.line([x, x], [y1, y2], INK, 0.5)
        for y in (y1, y2):
            self.line([x - 0.8, x + 0.8], [y - 0.8, y + 0.8], INK, 0.8)
        ha = "left" if side > 0 else "right"
        self.text(x + side * 1.4, (y1 + y2) / 2, words, points, ha=ha)


def scale_that_fits(length_m: float, room_mm: float, scales: Sequence[int]) -> int:
    """The largest scale, 1 : n, at which a length fits; the last one if none does.

    Examples
    --------
    >>> scale_that_fits(12.0, 250.0, (20, 25, 50, 100))
    50
    """
    return next((n for n in scales if 1000.0 * length_m / n <= room_mm), scales[-1])


@contextmanager
def drawing_style() -> Iterator[None]:
    """No style sheet of the user's, and files that are the same for the same drawing."""
    with mpl.style.context("default", after_reset=True):
        mpl.rcParams.update({"svg.hashsalt": "soakline", "pdf.fonttype": 42})
        yield


def write_pdf(sheets: Sequence[Sheet], path: Path, title: str) -> None:
    """Write sheets as pages of one file."""
    with PdfPages(path, metadata={"Title": title, "CreationDate": None}) as pages:
        for sheet in sheets:
            pages.savefig(sheet.figure)


def write_svg(sheet: Sheet, path: Path) -> None:
    """Write one sheet."""
    sheet.figure.savefig(path, format="svg", metadata={"Date": None, "Creator": None})
