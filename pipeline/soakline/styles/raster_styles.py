"""The styles of the plan's rasters: colours that hold for every colour vision, and in grey."""

from soakline.styles.palette import GATHERING, HEIGHTS, SLOPES
from soakline.styles.plan_styles import SLOPE_LIMITS_PCT
from soakline.styles.symbols import Area, Ramp, Rule, Style

# From a roof's area over that of a swale's catchment to that of a stream.
_GATHERING_M2 = (0.0, 200.0, 1_000.0, 5_000.0, 20_000.0, 200_000.0)


def raster_styles(lowest_m: float, highest_m: float) -> tuple[Style, ...]:
    """Styles of `elevation`, `slope_pct` and `contributing_m2`.

    Parameters
    ----------
    lowest_m, highest_m : of the elevation; the colours run from one to the other
    """
    step = max(highest_m - lowest_m, 0.1) / (len(HEIGHTS) - 1)
    heights = tuple((lowest_m + k * step, colour) for k, colour in enumerate(HEIGHTS))
    slopes = tuple(zip((0.0, *SLOPE_LIMITS_PCT), SLOPES, strict=True))
    gathering = tuple(zip(_GATHERING_M2, GATHERING, strict=True))
    return (
        Style("elevation", "Elevation, m", (Rule("Elevation", (Ramp(heights),)),)),
        Style("slope_pct", "Slope, %", (Rule("Slope", (Ramp(slopes, stepped=True),)),)),
        Style(
            "contributing_m2",
            "Contributing area, m²",
            (Rule("Contributing area", (Ramp(gathering, stepped=True),)),),
        ),
    )


def in_steps(style: Style) -> Style:
    """A raster's style with a row for each of its colours, as a legend shows it."""
    rules = [
        Rule(f"{'from ' if ramp.stepped else ''}{value:,.6g}".replace(",", " "), (Area(colour),))
        for rule in style.rules
        for ramp in rule.symbols
        if isinstance(ramp, Ramp)
        for value, colour in ramp.stops
    ]
    return Style(style.layer, style.title, tuple(rules))
