"""Rings opened: room for the sill, and a swale left of them."""

import numpy as np
import pytest

from soakline.overflow.openings import LEAST_OPENING_M, open_rings
from soakline.overflow.ranking import JudgedExits, SillRules
from soakline.siting.exits import Exits
from soakline.siting.lines import LipLine

RULES = SillRules(0.1, 1.45, 0.035, 15.0, edge_allowed=False)


def nowhere() -> JudgedExits:
    """A ring from which no way leads: it is opened at its start."""
    none, far = np.zeros(0, dtype=np.int64), np.zeros(0)
    marks = np.zeros(0, dtype=bool)
    exits = Exits(
        np.zeros(2, dtype=np.int64), np.zeros(1, dtype=bool), none, far, far, far, marks, marks,
        none, none, far, marks, np.zeros(1, dtype=np.int64), far, far,
    )  # fmt: skip
    return JudgedExits(exits, far, far)


def ring(length_m: float) -> LipLine:
    angle = np.linspace(0.0, 2.0 * np.pi, 73)
    around = 2.0 * 72.0 * np.sin(np.pi / 72.0)
    corners = length_m / around * np.column_stack([np.cos(angle), np.sin(angle)])
    corners[-1] = corners[0]
    return LipLine(50.0, 8.0, corners, closed=True)


@pytest.mark.parametrize(
    ("length_m", "sill_m", "gap_m"),
    [
        (100.0, 1.0, LEAST_OPENING_M),
        (100.0, 12.0, 24.0),
        (100.0, 30.0, 50.0),
        (100.0, 40.0, 40.0),
        (30.0, 12.0, 10.0),
        (26.5, 12.0, 6.5),
    ],
)
def test_a_ring_is_opened_by_twice_its_sill_as_far_as_a_swale_is_left(
    length_m: float, sill_m: float, gap_m: float
) -> None:
    """At least 20 m of lip, and half of the ring. A sill is at most 30 m long: 40 m are two."""
    (lip,) = open_rings([ring(length_m)], nowhere(), (), RULES, np.array([sill_m]), 20.0)
    assert not lip.closed
    assert lip.length_m == pytest.approx(length_m - gap_m)
