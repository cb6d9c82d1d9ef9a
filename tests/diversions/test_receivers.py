"""Water of drains never comes round: circles are opened, whatever was drawn."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.diversions.diversion import NONE
from soakline.diversions.receivers import first_met, receivers_of
from soakline.grid import FloatArray
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import CellArray, LabelArray

ROWS, COLUMNS = 30, 12
SOUTH = 6


def southwards() -> Uint8Array:
    """Every cell drains due south; the last row is the rim."""
    direction = np.full((ROWS, COLUMNS), SOUTH, np.uint8)
    direction[-1] = 8
    return direction


def burnt_with(swale_row: int, drain_rows: list[int]) -> LabelArray:
    """Swale 0 along columns 0 to 8 of one row, drains across all columns of others."""
    burnt = np.zeros((ROWS, COLUMNS), np.int32)
    burnt[swale_row, :9] = 1
    for k, row in enumerate(drain_rows):
        burnt[row] = 2 + k
    return burnt


def received(
    direct: list[int], joined: list[int], ends: list[tuple[int, int]], burnt: LabelArray
) -> tuple[CellArray, FloatArray]:
    cells = np.array([row * COLUMNS + column for row, column in ends])
    together = np.eye(len(direct), dtype=bool)
    return receivers_of(np.array(direct), np.array(joined), cells, together, burnt, southwards(), 1)


def test_the_first_label_down_the_way_is_met_and_ignored_ones_are_passed() -> None:
    burnt = burnt_with(20, [10])
    ignored = np.zeros(3, dtype=bool)
    assert first_met(southwards(), burnt, 4 * COLUMNS + 3, ignored) == (2, 6.0)
    ignored[2] = True
    assert first_met(southwards(), burnt, 4 * COLUMNS + 3, ignored) == (1, 16.0)
    assert first_met(southwards(), burnt, 4 * COLUMNS + 10, ignored) == (0, 25.0)


def test_two_drains_that_end_on_each_other_each_run_down_to_the_swale() -> None:
    label, way = received([NONE, NONE], [1, 0], [(12, 2), (8, 5)], burnt_with(20, [8, 12]))
    assert label.tolist() == [1, 1]
    assert way.tolist() == [8.0, 12.0]


def test_one_of_a_circle_that_has_no_other_way_is_left_out_and_the_rest_found_anew() -> None:
    """Past column 8 no swale lies below: that drain is not dug, the other no longer feeds it."""
    label, _ = received([NONE, NONE], [1, 0], [(12, 10), (8, 5)], burnt_with(20, [8, 12]))
    assert label.tolist() == [0, 1]


def test_a_chain_that_ends_in_a_swale_stands() -> None:
    burnt = burnt_with(20, [4, 8, 12])
    label, way = received([NONE, NONE, 0], [1, NONE, NONE], [(8, 3), (9, 9), (20, 1)], burnt)
    assert label.tolist() == [3, 4, 1]
    assert way.tolist() == [0.0, 3.0, 0.0]


@given(st.data())
def test_whatever_is_drawn_every_drain_that_is_dug_leads_to_a_swale(data: st.DataObject) -> None:
    count = data.draw(st.integers(1, 6))
    rows = data.draw(st.lists(st.integers(0, ROWS - 2), min_size=count, max_size=count))
    ends = [
        (data.draw(st.integers(0, ROWS - 1)), data.draw(st.integers(0, COLUMNS - 1)))
        for _ in range(count)
    ]
    direct = [data.draw(st.sampled_from([NONE, NONE, 0])) for _ in range(count)]
    joined = [
        data.draw(st.sampled_from([NONE, *(k for k in range(count) if k != own)]))
        for own in range(count)
    ]
    label, way = received(direct, joined, ends, burnt_with(20, rows))
    for k in range(count):
        if label[k] == 0:
            assert direct[k] == NONE
            continue
        at, steps = k, 0
        while label[at] > 1:
            at, steps = int(label[at]) - 2, steps + 1
            assert steps < count
        assert label[at] == 1
    assert (way >= 0.0).all()


@pytest.mark.parametrize("count", [2, 3, 5])
def test_a_ring_of_drains_is_opened(count: int) -> None:
    rows = list(range(2, 2 + 3 * count, 3))
    ends = [(row + 1, k) for k, row in enumerate(rows)]
    joined = [(k + 1) % count for k in range(count)]
    label, _ = received([NONE] * count, joined, ends, burnt_with(25, rows))
    # Each passes all others by: what lies between it and the swale is in the ring as well.
    assert label.tolist() == [1] * count
