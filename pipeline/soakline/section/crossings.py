"""How a track passes a swale: which kind of crossing fits, and how far it reshapes the track.

Coordinates along the track: the lip at 0, uphill positive; heights relative to the full-water
level. The track runs straight over the swale; ground is a plane of its own slope along the track.
Where it meets the lip aslant, the trench is as much longer along it as 1 / sine of the angle.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray
from soakline.section.trench import Trenches

CrossingKind = Literal["ford", "causeway", "gap"]
KINDS: tuple[CrossingKind, ...] = ("ford", "causeway", "gap")

# Ramps that a loaded farm vehicle climbs when wet, rise over run; common practice, no source.
RAMP_GRADE = 1.0 / 6.0
# A track that climbs about as steeply itself has ramps so much steeper than its ground, else they
# would hardly end; common practice, no source.
_LEAST_CLOSING = 0.02
# Water that a farm vehicle passes through, and a dip that is still dug; common practice, no source.
DEEPEST_FORD_M = 0.5
LONGEST_FORD_M = 30.0
# Over the pipe of a causeway; common practice, no source.
COVER_M = 0.3


# A track that meets the lip under this sine, 19.5°, is reckoned as if it met it there.
LEAST_SINE = 1.0 / 3.0
# A vehicle twists over lip and mound at less: common practice, no source.
SHARP_DEG = 30.0


# A track is not reshaped further than this on either side of the lip, however it falls.
_FURTHEST_M = 60.0


def met_aslant(trench: Trenches, sine: FloatArray) -> Trenches:
    """Trenches as they lie along tracks.

    Parameters
    ----------
    trench : (n,) Trenches
    sine : (n,) of the angle between lip and track; under `LEAST_SINE` as that

    Examples
    --------
    >>> one = Trenches(np.array([1.5]), np.array([0.4]), np.array([1.5]))
    >>> met_aslant(one, np.array([0.5])).top_width_m / one.top_width_m
    array([2.])
    """
    longer = 1.0 / np.maximum(sine, LEAST_SINE)
    return replace(trench, base_width_m=trench.base_width_m * longer, batter=trench.batter * longer)


@dataclass(frozen=True, eq=False, slots=True)
class TrackProfiles:
    """Reshaped tracks from where they leave the ground downhill to where they meet it uphill.

    Parameters
    ----------
    at_m : (n, 5) breaks, rising; from the lip, uphill positive
    height_m : (n, 5) over the level; straight from break to break
    """

    at_m: FloatArray
    height_m: FloatArray

    @property
    def length_m(self) -> FloatArray:
        """Of track that is reshaped, (n,) m."""
        return np.asarray(self.at_m[:, -1] - self.at_m[:, 0])


def _outer_grade(fall: FloatArray) -> FloatArray:
    """Of ramps that come down, or up, to ground that falls the same way; rise over run."""
    return np.maximum(RAMP_GRADE, np.asarray(fall) + _LEAST_CLOSING)


def ford_profiles(trench: Trenches, crown_m: FloatArray, fall: FloatArray) -> TrackProfiles:
    """Tracks through the level base: ramps to both sides, over a crown on the downhill side.

    From the base a ramp climbs uphill to the ground; another climbs downhill to a crown over the
    level, and a third falls from it to the ground.

    Parameters
    ----------
    trench : (n,) Trenches
    crown_m : (n,) crown above the level, m
    fall : (n,) slope of the ground along the track, rise over run
    """
    near = trench.batter * trench.depth_m
    far = near + trench.base_width_m
    grade = _outer_grade(fall)
    slack = grade - fall
    up = np.minimum((trench.depth_m + grade * far) / slack, far + _FURTHEST_M)
    crown_at = near - (trench.depth_m + crown_m) / RAMP_GRADE
    down = np.maximum((grade * crown_at - crown_m) / slack, crown_at - _FURTHEST_M)
    ends = crown_m - grade * (crown_at - down), grade * (up - far) - trench.depth_m
    return TrackProfiles(
        np.column_stack([down, crown_at, near, far, up]),
        np.column_stack([ends[0], crown_m, -trench.depth_m, -trench.depth_m, ends[1]]),
    )


def causeway_profiles(trench: Trenches, crown_m: FloatArray, fall: FloatArray) -> TrackProfiles:
    """Tracks over the trench on fill: level there, with a ramp on both sides.

    Parameters as in `ford_profiles`. Ground that rises to the crown before the trench ends is cut
    level.
    """
    top = trench.top_width_m
    up = np.maximum(top, (crown_m + RAMP_GRADE * top) / (RAMP_GRADE + fall))
    grade = _outer_grade(fall)
    down = np.maximum(-crown_m / (grade - fall), -_FURTHEST_M)
    zero = np.zeros_like(top)
    ends = crown_m + grade * down, crown_m - RAMP_GRADE * (up - top)
    return TrackProfiles(
        np.column_stack([down, zero, top / 2.0, top, up]),
        np.column_stack([ends[0], crown_m, crown_m, crown_m, ends[1]]),
    )


def track_profiles(
    kind: npt.NDArray[np.str_], trench: Trenches, crown_m: FloatArray, fall: FloatArray
) -> TrackProfiles:
    """Profiles of fords and causeways; those of gaps have no meaning, since nothing is reshaped.

    Parameters
    ----------
    kind : (n,) CrossingKind
    others : as in `ford_profiles`
    """
    ford, causeway = (of(trench, crown_m, fall) for of in (ford_profiles, causeway_profiles))
    through = (kind == "ford")[:, None]
    return TrackProfiles(
        np.where(through, ford.at_m, causeway.at_m),
        np.where(through, ford.height_m, causeway.height_m),
    )


def ford_m(trench: Trenches, crown_m: FloatArray, fall: FloatArray) -> FloatArray:
    """Length of track that a ford reshapes.

    Parameters
    ----------
    trench : (n,) Trenches
    crown_m : (n,) crown above the level, m
    fall : (n,) slope of the ground along the track, rise over run

    Returns
    -------
    (n,) m; infinite where the ground is as steep as the ramps

    Examples
    --------
    On level ground three ramps of 1 in 6 climb 0.4, 0.6 and 0.2 m, and the base lies between:

    >>> from soakline.section.trench import Trenches
    >>> one = Trenches(np.array([1.5]), np.array([0.4]), np.array([1.5]))
    >>> ford_m(one, np.array([0.2]), np.array([0.0])).round(6)
    array([8.7])
    """
    return _where_ramps_end(ford_profiles(trench, crown_m, fall).length_m, fall)


def causeway_m(trench: Trenches, crown_m: FloatArray, fall: FloatArray) -> FloatArray:
    """Length of track that a causeway raises; parameters and what is returned as of `ford_m`."""
    return _where_ramps_end(causeway_profiles(trench, crown_m, fall).length_m, fall)


def _where_ramps_end(length_m: FloatArray, fall: FloatArray) -> FloatArray:
    return np.asarray(np.where(np.asarray(fall) < RAMP_GRADE, length_m, np.inf), dtype=float)


def kind_that_fits(trench: Trenches, crown_m: FloatArray, fall: FloatArray) -> npt.NDArray[np.str_]:
    """A ford where it is shallow and short enough, else a causeway.

    Parameters as in `ford_m`.

    Returns
    -------
    (n,) CrossingKind: a ford where the base lies at most 0.5 m under the level and at most 30 m of
    the track are reshaped
    """
    shallow = trench.depth_m <= DEEPEST_FORD_M + 1e-9
    short = ford_m(trench, crown_m, fall) <= LONGEST_FORD_M
    return np.where(shallow & short, "ford", "causeway")


def fill_at_water_m(
    top_m: FloatArray, crown_over_m: FloatArray, batter: FloatArray | float
) -> FloatArray:
    """Length along the lip that the fill of a causeway takes of a water surface.

    Parameters
    ----------
    top_m : (n,) of the crown along the lip, m
    crown_over_m : (n,) crown above the water, m
    batter : of the fill's sides along the lip, horizontal per 1 vertical
    """
    return np.asarray(top_m + 2.0 * batter * crown_over_m, dtype=float)


def plug_m(
    trench: Trenches, top_m: FloatArray, crown_m: FloatArray, batter: FloatArray | float
) -> FloatArray:
    """Length of trench that holds as much as the fill of a causeway takes from it.

    Parameters
    ----------
    trench : (n,) Trenches
    top_m : (n,) of the crown along the lip, m
    crown_m : (n,) crown above the level, m
    batter : of the fill's sides along the lip, horizontal per 1 vertical

    Returns
    -------
    (n,) m

    Notes
    -----
    At a depth y below the level the fill is w + 2 n (c + y) long, with w its top, c its crown and n
    its batter. Over the section A = d (b + m d) that is A (w + 2 n c) + n (b d² + 2 m d³ / 3) m³.
    """
    b, d, m = trench.base_width_m, trench.depth_m, trench.batter
    sides = batter * (b + 2.0 * m * d / 3.0) * d**2 / trench.area_m2
    return np.asarray(fill_at_water_m(top_m, crown_m, batter) + sides, dtype=float)


def pipe_m(top_m: float, crown_above_invert_m: float, batter: float) -> float:
    """Length of the pipe under a causeway, from toe to toe of the fill, m."""
    return top_m + 2.0 * batter * crown_above_invert_m
