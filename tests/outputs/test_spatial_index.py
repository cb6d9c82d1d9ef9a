"""Packed R-trees: whole by SQLite's own check, and every search finds what a plain look does."""

import sqlite3

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.grid import FloatArray
from soakline.outputs.spatial_index import fill_index, packed

NODE_BYTES = 1228  # of SQLite at its usual page size: 51 entries


def indexed(bounds: FloatArray) -> sqlite3.Connection:
    database = sqlite3.connect(":memory:")
    database.execute("CREATE VIRTUAL TABLE r USING rtree(id, minx, maxx, miny, maxy)")
    fill_index(database, "r", bounds)
    return database


def boxes(count: int, seed: int) -> FloatArray:
    random = np.random.default_rng(seed)
    low = random.uniform(-1e6, 7e6, (count, 2))
    return np.hstack([low, low + random.exponential(1e5, (count, 2)) * random.integers(0, 2)])


# One node, one full node, two levels, the first tree with three, and one with four.
@pytest.mark.parametrize("count", [0, 1, 51, 52, 51 * 51, 51 * 51 + 1, 51**3 + 1])
def test_sqlite_finds_the_tree_whole(count: int) -> None:
    database = indexed(boxes(count, count))
    assert database.execute("SELECT rtreecheck('r')").fetchone() == ("ok",)
    assert database.execute("SELECT count(*) FROM r").fetchone() == (count,)


@given(st.integers(0, 400), st.integers(0, 2**32), st.tuples(*[st.floats(-1e6, 7e6)] * 4))
def test_a_search_misses_nothing_that_meets_its_window(
    count: int, seed: int, window: tuple[float, float, float, float]
) -> None:
    bounds = boxes(count, seed)
    west, east = sorted(window[:2])
    south, north = sorted(window[2:])
    sql = "SELECT id FROM r WHERE maxx >= ? AND minx <= ? AND maxy >= ? AND miny <= ?"
    found = {row[0] for row in indexed(bounds).execute(sql, (west, east, south, north))}
    meets = (bounds[:, 2] >= west) & (bounds[:, 0] <= east)
    meets &= (bounds[:, 3] >= south) & (bounds[:, 1] <= north)
    wanted = set((np.flatnonzero(meets) + 1).tolist())
    assert wanted <= found
    # What is found beyond that touches the window to the precision of 32 bits.
    assert all(np.min(np.abs(bounds[i - 1][[2, 0, 3, 1]] - [west, east, south, north])) < 1.0
               for i in found - wanted)  # fmt: skip


@given(st.integers(1, 400), st.integers(0, 2**32), st.integers(0, 400))
def test_entries_can_be_taken_out_and_put_in_later(count: int, seed: int, out: int) -> None:
    bounds = boxes(count, seed)
    database = indexed(bounds)
    database.execute("DELETE FROM r WHERE id <= ?", (out,))
    database.execute("INSERT INTO r VALUES (1000, 0, 1, 0, 1)")
    assert database.execute("SELECT rtreecheck('r')").fetchone() == ("ok",)
    assert database.execute("SELECT count(*) FROM r").fetchone() == (max(count - out, 0) + 1,)


def test_near_entries_share_a_node() -> None:
    """A window over a hundredth of the land reads few of the leaves (here: under a twentieth)."""
    east, north = np.meshgrid(np.arange(100.0), np.arange(100.0))
    bounds = np.stack([east.ravel(), north.ravel()] * 2, axis=1)
    leaf = packed(bounds, NODE_BYTES).leaf
    inside = (np.abs(bounds[:, 0] - 50) <= 5) & (np.abs(bounds[:, 1] - 50) <= 5)
    assert np.unique(leaf[inside]).size < 0.05 * np.unique(leaf).size
