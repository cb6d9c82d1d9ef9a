"""Kinds of ground on the grid."""

import numpy as np
import shapely
from shapely import Polygon, box

from soakline.grid import Grid
from soakline.terrain.cells import GeometryArray, burn
from soakline.terrain.kinds import burn_kinds, no_kind

GRID = Grid(20, 30, 1000.0, 2040.0, 2.0, "")


def shapes(*polygons: Polygon) -> GeometryArray:
    out = np.empty(len(polygons), dtype=object)
    out[:] = polygons
    return out


def test_one_kind_is_burnt_as_a_mask_is() -> None:
    blob = shapely.Point(1030.0, 2020.0).buffer(11.0)
    kinds = burn_kinds(shapes(blob), np.array([1]), GRID)
    assert (kinds == 1).sum() > 60
    assert np.array_equal(kinds == 1, burn(shapes(blob), GRID))


def test_the_later_polygon_holds_and_kind_0_is_not_burnt() -> None:
    west, middle, east = (
        box(1000, 2000, 1030, 2040),
        box(1020, 2000, 1040, 2040),
        box(1010, 2000, 1060, 2040),
    )
    kinds = burn_kinds(shapes(west, middle, east), np.array([3, 2, 0]), GRID)
    assert kinds[5].tolist() == [3] * 10 + [2] * 10 + [0] * 10


def test_many_kinds_take_wider_numbers() -> None:
    strip = [box(1000 + 2 * i, 2000, 1002 + 2 * i, 2040) for i in range(30)]
    number = np.arange(30) + 280
    assert burn_kinds(shapes(*strip), number, GRID)[0].tolist() == number.tolist()
    assert burn_kinds(shapes(*strip), number - 250, GRID).dtype == np.uint8


def test_nothing_to_burn_takes_no_memory() -> None:
    kinds = burn_kinds(shapes(), np.array([], dtype=np.int64), GRID)
    assert kinds.shape == GRID.shape
    assert not kinds.any()
    assert no_kind(GRID).strides == kinds.strides == (0, 0)
