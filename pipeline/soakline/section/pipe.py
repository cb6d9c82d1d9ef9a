"""Pipes through a causeway, so that the water on both sides of it stays one level pool."""

from functools import cache

import numpy as np

from soakline import tables

GRAVITY_MS2 = 9.80665
# Corrugated metal, or a smoother pipe half silted; HDS-5, Table B.1.
_MANNING_N = 0.024
# Entrance that stands out of the fill, without a headwall; HDS-5, Table C.2.
_ENTRANCE_LOSS = 0.9
# Water may stand this much higher on one side than on the other; common practice, no source.
LEVEL_APART_M = 0.05


def head_loss_m(flow_m3s: float, diameter_m: float, length_m: float) -> float:
    """Difference of level between both ends of a pipe that runs full.

    Parameters
    ----------
    flow_m3s : through the pipe, m³/s
    diameter_m, length_m : of the pipe, m

    Returns
    -------
    m; h = (1 + ke + 2 g n² L / R^(4/3)) V² / 2 g, the full-flow outlet-control head of FHWA HDS-5
    [HDS5]_, equation 3.6 (its 19.63 n² L / R^1.33 is this friction term), R = D / 4

    Examples
    --------
    >>> round(head_loss_m(0.1, 0.45, 6.0), 4)
    0.0635
    """
    velocity = flow_m3s / (np.pi * diameter_m**2 / 4.0)
    friction = 2.0 * GRAVITY_MS2 * _MANNING_N**2 * length_m / (diameter_m / 4.0) ** (4.0 / 3.0)
    return float((1.0 + _ENTRANCE_LOSS + friction) * velocity**2 / (2.0 * GRAVITY_MS2))


def pipes_for(flow_m3s: float, length_m: float, depth_m: float) -> tuple[int, float]:
    """Pipes side by side that pass a flow with no more than 0.05 m between the two levels.

    Parameters
    ----------
    flow_m3s : m³/s
    length_m : of the pipes, m
    depth_m : of the water when full, m; pipes are no wider, so that they run full, but for the
        smallest that there is

    Returns
    -------
    how many, and their inside diameter, m: one of the least diameter that does, else as few as do
    of the widest that lies under the water
    """
    sizes = [size for size in _sizes_m() if size <= depth_m] or [_sizes_m()[0]]
    # Loss grows with the square of the flow through each pipe.
    needed = [
        flow_m3s * np.sqrt(head_loss_m(1.0, size, length_m) / LEVEL_APART_M) for size in sizes
    ]
    for size, number in zip(sizes, needed, strict=True):
        if number <= 1.0:
            return 1, size
    return int(np.ceil(needed[-1])), sizes[-1]


@cache
def _sizes_m() -> tuple[float, ...]:
    return tuple(sorted(float(row["diameter_m"]) for row in tables.rows("pipe_diameters.csv")))
