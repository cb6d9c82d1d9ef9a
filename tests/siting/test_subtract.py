"""Shapes less large polygons: what is left, to the bit, and how much is looked at for it."""

import numpy as np
import pytest
import shapely

from soakline.siting.subtract import less
from soakline.terrain.cells import GeometryArray


def streams(seed: int, count: int) -> GeometryArray:
    """Polygons about winding lines that cross each other, with holes between them."""
    random = np.random.default_rng(seed)
    lines = [
        shapely.linestrings(np.cumsum(random.normal(0.0, 20.0, (60, 2)), axis=0) + 500.0)
        for _ in range(count)
    ]
    joined = shapely.union_all(shapely.buffer(np.array(lines, dtype=object), 4.0))
    return np.asarray(shapely.get_parts(joined))


def cells(seed: int, count: int) -> GeometryArray:
    """Patches of whole cells, their corners rounded to metres as those of a grid are."""
    random = np.random.default_rng(seed)
    corner = np.rint(random.uniform(0.0, 1000.0, (count, 2)))
    size = np.rint(random.uniform(1.0, 40.0, (count, 2)))
    return np.asarray(shapely.box(*corner.T, *(corner + size).T))


def one_by_one(geometry: GeometryArray, claimed: GeometryArray) -> GeometryArray:
    """An obvious slow twin: all that is claimed is cut for each."""
    out = []
    for own in geometry:
        met = claimed[shapely.intersects(claimed, own)]
        near = shapely.clip_by_rect(met, *shapely.bounds(own))
        out.append(shapely.difference(own, shapely.union_all(near)) if met.size else own)
    return np.array(out, dtype=object)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("count", [3, 400])
def test_what_is_left_is_the_same_to_the_bit_as_one_by_one(seed: int, count: int) -> None:
    geometry, claimed = cells(seed, count), streams(seed, 12)
    assert shapely.get_num_coordinates(claimed).max() > 1000
    expected = one_by_one(geometry, claimed)
    assert (shapely.to_wkb(less(geometry, claimed)) == shapely.to_wkb(expected)).all()


def comb(teeth: int) -> GeometryArray:
    """One polygon with so many teeth, no edge of it long, each between two squares of `between`."""
    at = np.arange(teeth, dtype=float) * 4.0
    east = np.repeat(at, 4) + np.tile([0, 0, 2, 2], teeth)
    upper = np.column_stack([east, np.tile([0, 5, 5, 0], teeth)])
    lower = np.column_stack([at[::-1], np.full(teeth, -1.0)])
    return np.array([shapely.polygons(np.vstack([upper, lower]))], dtype=object)


def between(teeth: int) -> GeometryArray:
    at = np.arange(teeth, dtype=float) * 4.0
    return np.asarray(shapely.box(at + 1, 1, at + 3, 2))


def test_what_is_looked_at_grows_with_the_polygon_and_not_with_its_square(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    seen = 0
    clip = shapely.clip_by_rect

    def counted(geometry: shapely.Geometry, *box: float) -> shapely.Geometry:
        nonlocal seen
        seen += int(shapely.get_num_coordinates(geometry))
        return clip(geometry, *box)

    monkeypatch.setattr(shapely, "clip_by_rect", counted)
    looked_at = []
    for teeth in (2000, 8000):
        seen = 0
        left = less(between(teeth), comb(teeth))
        assert np.allclose(shapely.area(left), 1.0)
        looked_at.append(seen)
    # Four times as much, and a little for halving twice more; sixteen times where each cuts all.
    assert looked_at[1] < 6 * looked_at[0]
