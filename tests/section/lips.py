"""Lips of simple forms with the ground beside them."""

from dataclasses import fields

import numpy as np

from soakline.grid import FloatArray
from soakline.section.cuts import PROFILE_STEP_M
from soakline.section.earthworks import OtherEarth
from soakline.section.stations import Chainages, LipStations


def uphill_m(above_m: FloatArray, slope: FloatArray, reach_m: float = 20.0) -> FloatArray:
    """Profiles of ground that rises evenly from beside a lip, or, if negative, falls."""
    return above_m[:, None] + slope[:, None] * np.arange(0.0, reach_m, PROFILE_STEP_M)


def straight(length_m: float, slope: float = 0.08, above_m: float = 0.0) -> LipStations:
    """Lip running east with the hill to its north."""
    along = np.linspace(0.0, length_m, int(length_m / 5.0) + 1)
    zero = np.zeros_like(along)
    at = Chainages(np.array([0, along.size]), along)
    return LipStations(
        at,
        along,
        zero,
        zero,
        zero + 1.0,
        zero + above_m,
        zero + slope,
        zero + slope,
        uphill_m(zero + above_m, zero + slope),
        uphill_m(zero + above_m, zero - slope),
    )


def curved(radius_m: float, inward: bool, turn: float = 0.25) -> LipStations:
    """A quarter circle, or another share, whose uphill side is its inside, or its outside."""
    angle = np.linspace(0.0, 2.0 * np.pi * turn, 40)
    if not inward:
        angle = angle[::-1]
    sign = 1.0 if inward else -1.0
    return LipStations(
        Chainages(np.array([0, 40]), radius_m * np.abs(angle - angle[0])),
        radius_m * np.cos(angle),
        radius_m * np.sin(angle),
        -sign * np.cos(angle),
        -sign * np.sin(angle),
        np.zeros(40),
        np.full(40, 0.08),
        np.full(40, 0.08),
        uphill_m(np.zeros(40), np.full(40, 0.08)),
        uphill_m(np.zeros(40), np.full(40, -0.08)),
    )


def no_other(count: int) -> OtherEarth:
    """Nothing dug or filled besides trenches and mounds."""
    return OtherEarth(*(np.zeros(count) for _ in fields(OtherEarth)))
