"""How far a swale's ground works reach on both sides of the lip, by slope, for placing lines."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soakline.grid import FloatArray
from soakline.section.mound import MoundShape, crest_width_for_m, toe_m
from soakline.section.trench import STEEPEST_BATTER_SLOPE, Trench, cut_area_m2, daylight_m


@dataclass(frozen=True, eq=False, slots=True)
class FootprintReach:
    """Room to keep on each side of the lip, tabulated by slope.

    Parameters
    ----------
    slope_pct : (n,) rising
    uphill_m, downhill_m : (n,) from the lip to the daylight edge, and to the mound's toe
    """

    slope_pct: FloatArray
    uphill_m: FloatArray
    downhill_m: FloatArray

    def at(self, slope_pct: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Uphill and downhill reach at given slopes, m."""
        return (
            np.interp(slope_pct, self.slope_pct, self.uphill_m),
            np.interp(slope_pct, self.slope_pct, self.downhill_m),
        )


def spoil_factor(swell_pct: float, settlement_pct: float) -> float:
    """Settled spoil per volume cut: (1 + swell) (1 − settlement)."""
    return (1.0 + swell_pct / 100.0) * (1.0 - settlement_pct / 100.0)


def footprint_reach(
    trench: Trench,
    shape: MoundShape,
    crest_height_m: float,
    spoil: float,
    ground_above_m: float,
    share_mounded: float,
    layer_m: float,
) -> FootprintReach:
    """Reach of the ground works by slope.

    Parameters
    ----------
    trench : Trench
    shape : MoundShape
    crest_height_m : settled crest above the level, m
    spoil : settled spoil per volume cut
    ground_above_m : ground less level at the lip that lines are laid for, m
    share_mounded : share of the lip's length that carries the mound, the rest being sills
    layer_m : dug below the base, which makes the cut face so much higher

    Returns
    -------
    FootprintReach up to the steepest slope on which the trench can be cut
    """
    steepest = min(STEEPEST_BATTER_SLOPE / trench.batter, shape.steepest_fall) - 1e-6
    slope = np.linspace(0.0, min(steepest, 0.45), 91)
    above = np.full_like(slope, ground_above_m)
    area = cut_area_m2(trench, above, slope) * spoil / share_mounded
    height = np.full_like(slope, crest_height_m)
    daylight = daylight_m(trench, above, slope)
    mound = shape.off_faces(trench.depth_m + layer_m + above + slope * daylight)
    width = crest_width_for_m(mound, height, area, above, slope)
    return FootprintReach(100.0 * slope, daylight, toe_m(mound, height, width, above, slope))


def room_for_all(reaches: Sequence[FootprintReach]) -> FootprintReach:
    """Room that is enough for each of several sections, up to the slope on which all can be cut."""
    slope = min((own.slope_pct for own in reaches), key=lambda own: float(own[-1]))
    uphill, downhill = zip(*(own.at(slope) for own in reaches), strict=True)
    return FootprintReach(slope, np.max(uphill, axis=0), np.max(downhill, axis=0))
