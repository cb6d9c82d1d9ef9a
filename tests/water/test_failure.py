"""What one swale that lets go would do to those below it."""

import numpy as np

from soakline.water.failure import overtopped_by
from soakline.water.network import Spill, chain_of

HELD_M3 = np.array([100.0, 100.0, 100.0, 100.0])
FREEBOARD_M = np.full(4, 0.15)


def test_a_wave_goes_on_until_a_pool_takes_it_within_its_freeboard() -> None:
    """100 m³ on 300 m² are 0.33 m; then 200 m³ on 2,000 m² are 0.1 m, under 0.15 m."""
    chain = chain_of(4, [Spill(0, 1, 1.0), Spill(1, 2, 1.0), Spill(2, 3, 1.0)])
    ponded = np.array([300.0, 300.0, 2_000.0, 300.0])
    assert overtopped_by(chain, HELD_M3, ponded, FREEBOARD_M) == [[1], [], [3], []]


def test_what_an_overtopped_pool_held_is_added_to_the_wave() -> None:
    """Alone 100 m³ would stand 0.1 m on 1,000 m²; with what the one between held, 0.2 m."""
    ponded = np.array([300.0, 300.0, 1_000.0, 300.0])
    chain = chain_of(4, [Spill(0, 1, 1.0), Spill(1, 2, 1.0), Spill(2, 3, 1.0)])
    assert overtopped_by(chain, HELD_M3, ponded, FREEBOARD_M)[0] == [1, 2, 3]
    assert overtopped_by(chain, HELD_M3, ponded, FREEBOARD_M)[1] == []


def test_a_wave_is_shared_by_the_sills() -> None:
    """A fifth of 100 m³ on 300 m² is 0.07 m; the rest, 0.27 m."""
    chain = chain_of(3, [Spill(0, 1, 0.2), Spill(0, 2, 0.8)])
    ponded = np.full(3, 300.0)
    assert overtopped_by(chain, HELD_M3[:3], ponded, FREEBOARD_M[:3])[0] == [2]
