"""Findings on bends: where the water, which lies beside the lip, is shorter than the lip."""

from collections.abc import Iterator

import numpy as np

from soakline.findings import Finding
from soakline.grid import FloatArray
from soakline.outputs.designed import Designed

# Less is within what a base dug by eye holds more or less.
_SHOWN_SHARE = 0.05


def turn_left_rad(coordinates: FloatArray) -> float:
    """Signed sum of a line's bends, to the left positive; (n, 2) easting and northing, m.

    Examples
    --------
    >>> round(turn_left_rad(np.array([[0.0, 0.0], [5.0, 0.0], [5.0, 5.0]])), 4)
    1.5708
    """
    east, north = np.diff(coordinates, axis=0).T
    heading = np.arctan2(north, east)
    turn = np.diff(heading)
    return float(np.sum((turn + np.pi) % (2.0 * np.pi) - np.pi))


def lost_at_bends(coordinates: FloatArray, top_width_m: float) -> float:
    """Share of its capacity that a swale loses to bends; negative where it gains.

    Parameters
    ----------
    coordinates : (n, 2) of the lip, its uphill side on the left
    top_width_m : of the water when full

    Returns
    -------
    share of section × length of the lip

    Notes
    -----
    A section carried round a bend sweeps its area times the way of its centroid (Pappus), which
    for a trapezoid lies half the top width beside the lip: T / 2 × turn / length shorter.
    """
    length = float(np.hypot(*np.diff(coordinates, axis=0).T).sum())
    return 0.5 * top_width_m * turn_left_rad(coordinates) / length


def bend_findings(plan: Designed) -> Iterator[Finding]:
    """Swales whose capacity, reckoned along the lip, is a good deal more than they hold."""
    for i, line in enumerate(plan.placed.lines):
        lost = lost_at_bends(line.coordinates, plan.figures.sections[i].top_width_m)
        if lost > _SHOWN_SHARE:
            yield Finding(
                "capacity_less_at_bends",
                "caution",
                "swales",
                line.swale_id,
                "the lip turns round its water: capacity is reckoned along the lip, and about "
                f"{100.0 * lost:.0f} % of it, {lost * plan.figures.capacity_m3[i]:.1f} m³, is not "
                "there",
                "reckon with a spill that much sooner, or dig the base wider in the bends",
            )
