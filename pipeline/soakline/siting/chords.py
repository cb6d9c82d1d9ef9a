"""What a straight chord of a lip costs by the ground under it."""

import numba
import numpy as np

from soakline.grid import GroundArray
from soakline.siting.band import AIM_M, SILL_BAND_M
from soakline.terrain.ground import bilinear

# The bilinear ground has folds between cells, the sharper the fewer cells its mean is of: on cells
# of 1 m it is asked every metre along a chord, on larger ones as much closer, down to this.
_CLOSEST_ASKED_M = 0.2

# The sharpest turn at a vertex, however long its chords; radians.
SHARPEST_TURN = 0.28

_DEVIATION_SCALE_M = 0.01
_DEVIATION_COST = 0.02  # per metre of chord one scale off the aim; one vertex costs 1
_MOST_DEVIATION_COST = 0.1  # a line faired off its level stays where it is faired to
_NO_SILL_COST = 0.25  # per metre of chord outside the band for sills


@numba.njit(cache=True)
def asked_m(cell_m: float) -> float:
    """How far apart the ground is asked along a chord, at most, on cells of a size; m."""
    return max(_CLOSEST_ASKED_M, 1.0 / max(cell_m, 1.0))


@numba.njit(cache=True)
def chord_cost(
    from_row: float,
    from_column: float,
    to_row: float,
    to_column: float,
    ground_m: GroundArray,
    level_m: float,
    samples: int,
    length_m: float,
    lowest_m: float,
    highest_m: float,
    most: float,
    is_neighbour: bool,
) -> float:
    """Cost of a chord, its vertex included; infinite where it does not hold or costs too much."""
    own = 1.0
    piece = length_m / samples
    for s in range(1, samples + 1):
        share = s / samples
        above = (
            bilinear(
                ground_m,
                from_row + share * (to_row - from_row),
                from_column + share * (to_column - from_column),
            )
            - level_m
        )
        # Neighbouring points stay joined whatever lies between them: the level line is the best
        # there is.
        if not is_neighbour and not (lowest_m <= above <= highest_m):
            return np.inf
        off = (above - AIM_M) / _DEVIATION_SCALE_M
        own += min(_DEVIATION_COST * off * off, _MOST_DEVIATION_COST) * piece
        if above < 0.0 or above > SILL_BAND_M:
            own += _NO_SILL_COST * piece
        if own >= most:
            return np.inf
    return own
