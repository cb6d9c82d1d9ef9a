"""What stands beside the map: legend, north arrow and scale bar, none of it over the ground."""

from collections.abc import Sequence

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle

from soakline.outputs.scale_bar import round_below
from soakline.styles.palette import INK

_LONGEST_BAR_IN = 1.9
_LAST_WORDS_IN = 0.3  # what the unit takes beyond the bar


def draw_panel(
    axes: Axes,
    size_in: tuple[float, float],
    legend: Sequence[Artist],
    metres_per_inch: float,
    columns: int = 1,
) -> None:
    """Draw legend, north arrow and scale bar on axes of their own.

    Arrow and bar stand below a legend of one column, and to the right of one of more.

    Parameters
    ----------
    axes : empty
    size_in : its width and height on paper, inches
    legend : one labelled artist a row
    metres_per_inch : scale of the map beside it
    columns : of the legend
    """
    width, height = size_in
    axes.set_xlim(0, width)
    axes.set_ylim(0, height)
    axes.axis("off")
    axes.legend(
        handles=list(legend),
        loc="upper left",
        bbox_to_anchor=(0, 1),
        borderaxespad=0,
        borderpad=0,
        frameon=False,
        ncols=columns,
        fontsize=9 if columns == 1 else 7.5,
        labelcolor=INK,
        labelspacing=0.85 if columns == 1 else 0.5,
        handlelength=2.4,
        handleheight=1.3,
    )
    left = 0.0 if columns == 1 else width - _LONGEST_BAR_IN - _LAST_WORDS_IN
    _north_arrow(axes, left + 0.16, 0.62)
    _scale_bar(axes, left + 0.04, metres_per_inch)


def bar_length_m(metres_per_inch: float) -> float:
    """The longest bar of 1, 2 or 5 times a power of ten that fits the panel, m."""
    return round_below(_LONGEST_BAR_IN * metres_per_inch)


def _north_arrow(axes: Axes, x: float, y: float) -> None:
    left = Polygon(
        [(x, y + 0.5), (x - 0.12, y), (x, y + 0.12)], facecolor=INK, edgecolor=INK, lw=0.8
    )
    right = Polygon(
        [(x, y + 0.5), (x + 0.12, y), (x, y + 0.12)], facecolor="white", edgecolor=INK, lw=0.8
    )
    axes.add_patch(left)
    axes.add_patch(right)
    axes.text(x, y + 0.53, "N", ha="center", va="bottom", fontsize=9, weight="bold", color=INK)


def _scale_bar(axes: Axes, start: float, metres_per_inch: float) -> None:
    length_m = bar_length_m(metres_per_inch)
    half = length_m / metres_per_inch / 2
    y, thick = 0.22, 0.06
    for part, colour in enumerate((INK, "white")):
        bar = Rectangle(
            (start + part * half, y), half, thick, facecolor=colour, edgecolor=INK, lw=0.8
        )
        axes.add_patch(bar)
    for share in (0.0, 0.5, 1.0):
        metres = share * length_m
        text = f"{metres / 1000:g}" if length_m >= 2000 else f"{metres:g}"
        unit = (" km" if length_m >= 2000 else " m") if share == 1 else ""
        axes.text(
            start + 2 * half * share,
            y - 0.05,
            text + unit,
            ha="left" if share == 0 else "center",
            va="top",
            fontsize=8,
            color=INK,
        )
