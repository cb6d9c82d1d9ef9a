"""Terrain in tiles is the terrain of the whole grid, to the bit, however the tiles are cut."""

from collections import defaultdict
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import suppress
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
import rasterio
import richdem as rd
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as shapes

from soakline.grid import Grid, GroundArray
from soakline.inputs.types import Elevation
from soakline.quiet import quiet_streams
from soakline.runfile.sections import TerrainKeys
from soakline.terrain.compass import COLUMN_STEP, END, PREFERRED, ROW_STEP, VOID
from soakline.terrain.flow import awaited, drain_flats, facets, flow_over, outweighs, peel
from soakline.terrain.ground import disc_half_widths, disc_mean
from soakline.terrain.heap import levels_of, order_keys
from soakline.terrain.hollows import OUTSIDE_M, fill_hollows
from soakline.terrain.surfaces import Surfaces, whole_surfaces
from soakline.terrain.tiles.blocks import Blocks
from soakline.terrain.tiles.flood import filled_by_tiles
from soakline.terrain.tiles.run import tiled_surfaces
from tests.real_ground.ground import hillside
from tests.terrain.test_flow import random_terrain

DEMO_DEM = Path(__file__).parents[2] / "fixtures" / "demo" / "dem.tif"
SMOOTHING_M = 5.0


@pytest.fixture(scope="module")
def threads() -> Iterator[Executor]:
    with ThreadPoolExecutor(2) as executor:
        yield executor


def elevation_of(dem: GroundArray) -> Elevation:
    return Elevation(Grid(*dem.shape, 0.0, 0.0, 1.0, ""), dem)


def whole(dem: GroundArray) -> Surfaces:
    return whole_surfaces(elevation_of(dem), TerrainKeys(smoothing_m=SMOOTHING_M), lambda _: None)


def in_tiles(dem: GroundArray, side: int, workers: Executor, hands: int = 2) -> Surfaces:
    keys = TerrainKeys(smoothing_m=SMOOTHING_M)
    with TemporaryDirectory() as folder:
        return tiled_surfaces(
            elevation_of(dem), keys, lambda _: None, side, Path(folder), workers, hands
        )


def check_same(tiled: Surfaces, of_whole: Surfaces) -> None:
    """The same to the bit, NaN and the sign of zero included."""
    pairs = (
        (tiled.ground_m, of_whole.ground_m),
        (tiled.slope_pct, of_whole.slope_pct),
        (tiled.filled.filled_m, of_whole.filled.filled_m),
        (tiled.filled.valid, of_whole.filled.valid),
        (tiled.filled.domain, of_whole.filled.domain),
        (tiled.flow.direction, of_whole.flow.direction),
        (tiled.flow.upstream_cells, of_whole.flow.upstream_cells),
    )
    for own, expected in pairs:
        assert own.dtype == expected.dtype
        assert own.shape == expected.shape
        assert own.tobytes() == expected.tobytes()


flat_and_missing = shapes.arrays(
    np.float32,
    shapes.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=16),
    elements=st.sampled_from([0.0, 1.0, 1.0, 1.0, 2.0, 3.5, np.nan]).map(np.float32),
)


@settings(max_examples=40)
@given(dem=flat_and_missing, side=st.integers(2, 9))
def test_flats_and_missing_cells_may_lie_across_any_edge(dem: GroundArray, side: int) -> None:
    with ThreadPoolExecutor(2) as threads:
        check_same(in_tiles(dem, side, threads), whole(dem))


@settings(max_examples=10)
@given(
    dem=shapes.arrays(
        np.float32,
        shapes.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=12),
        elements=st.floats(-400.0, 4000.0, width=32) | st.just(np.float32(np.nan)),
    ),
    side=st.integers(1, 6),
)
def test_any_heights_in_any_tiles(dem: GroundArray, side: int) -> None:
    with ThreadPoolExecutor(2) as threads:
        check_same(in_tiles(dem, side, threads), whole(dem))


def scattered(seed: int) -> GroundArray:
    """Hollows in hollows, for odd seeds in half-metre steps, with gaps inside and at the edge."""
    dem = random_terrain(seed)
    if seed % 2:
        dem = np.round(2.0 * dem).astype(np.float32) / 2.0
    dem[np.random.default_rng(seed).random(dem.shape) < 0.02] = np.nan
    dem[30:52, 60:95] = np.nan
    dem[:20, :35] = dem[100:, 140:] = np.nan
    return dem


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("side", [31, 64, 149])
def test_random_terrain(seed: int, side: int, threads: Executor) -> None:
    dem = scattered(seed)
    check_same(in_tiles(dem, side, threads), whole(dem))


def winding_lake() -> GroundArray:
    """Flat water in a channel that winds across all tiles, with one way out."""
    dem = np.full((61, 60), 9.0, np.float32)
    for turn, row in enumerate(range(2, 59, 4)):
        dem[row, 1:-1] = 3.0
        dem[row : row + 5, 1 if turn % 2 else -2] = 3.0
    dem[57:, :] = 9.0
    dem[2, 0] = 4.0
    return dem


@pytest.mark.parametrize("side", [6, 13, 31])
def test_a_lake_that_winds_through_all_tiles(side: int, threads: Executor) -> None:
    dem = winding_lake()
    expected = whole(dem)
    lake = expected.filled.filled_m == 4.0
    assert lake.sum() > 14 * 58  # all of it is filled to its one way out
    assert expected.flow.upstream_cells[2, 0] > lake.sum()
    check_same(in_tiles(dem, side, threads), expected)


@pytest.mark.parametrize("side", [13, 33])
def test_any_number_of_tiles_at_a_time(side: int) -> None:
    dem = np.ascontiguousarray(scattered(1)[:60, 20:80])
    expected = whole(dem)
    for hands in (1, 5):
        with ThreadPoolExecutor(hands) as threads:
            check_same(in_tiles(dem, side, threads, hands), expected)


class DoneAgain(Executor):
    """Does tasks at once, and before each all that were done for its tile once more.

    A scheduler that loses a worker has done again what it holds results of, though they were told.
    """

    def __init__(self) -> None:
        self.done: dict[int, list[Callable[[], object]]] = defaultdict(list)

    def submit(self, task, /, work, tile, *own):  # type: ignore[no-untyped-def]
        for earlier in self.done[tile]:
            with suppress(OSError):  # what it reads is gone, or it refuses
                earlier()
        future: Future[object] = Future()
        future.set_result(task(work, tile, *own))
        self.done[tile].append(partial(task, work, tile, *own))
        return future


@pytest.mark.parametrize("side", [31, 64])
def test_what_was_done_and_told_may_be_done_again(side: int) -> None:
    dem = scattered(3)
    check_same(in_tiles(dem, side, DoneAgain()), whole(dem))


@pytest.mark.slow
@pytest.mark.parametrize("side", [64, 150, 399])
def test_the_real_hillside(side: int, threads: Executor) -> None:
    dem, _ = hillside()
    check_same(in_tiles(dem, side, threads), whole(dem))


@pytest.mark.slow
def test_the_demonstration(threads: Executor) -> None:
    with rasterio.open(DEMO_DEM) as source:
        dem = source.read(1)
    check_same(in_tiles(dem, 250, threads), whole(dem))


def filled_by_richdem(dem: GroundArray) -> GroundArray:
    """Priority flood (Barnes, Lehman & Mulla 2014) by another hand."""
    surface = np.where(np.isnan(dem), np.float32(OUTSIDE_M), dem)
    with quiet_streams():
        raster = rd.rdarray(
            surface, no_data=OUTSIDE_M, geotransform=(0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
        )
        rd.FillDepressions(raster, epsilon=False, in_place=True)
    return np.asarray(raster)


@settings(max_examples=200)
@given(dem=flat_and_missing, side=st.integers(1, 9))
def test_any_tiles_fill_as_richdem_does(dem: GroundArray, side: int) -> None:
    assert np.array_equal(filled_by_tiles(dem, OUTSIDE_M, side), filled_by_richdem(dem))


@pytest.mark.parametrize("seed", range(4))
def test_terrain_larger_than_a_tile_is_filled_as_richdem_does(seed: int) -> None:
    random = np.random.default_rng(seed)
    dem = np.kron(random.normal(0.0, 3.0, (60, 65)), np.ones((20, 20)))
    dem = (dem + random.normal(0.0, 0.3, dem.shape)).astype(np.float32)
    dem[500:530, 480:640] = np.nan
    assert np.array_equal(fill_hollows(dem).filled_m, filled_by_richdem(dem))


@pytest.mark.parametrize("seed", range(4))
def test_directions_do_not_depend_on_the_order_of_visits(seed: int) -> None:
    filled = fill_hollows(scattered(seed))
    expected = flow_over(filled.filled_m, filled.valid, filled.domain)
    state = facets(filled.filled_m, filled.domain)
    drain_flats(filled.filled_m, state)
    waiting, upstream = awaited(state), filled.valid.astype(np.uint32)
    largest, deviation = np.zeros(state.shape, np.uint32), np.zeros(state.shape, np.float32)
    ready = np.flatnonzero((waiting == 0) & (state != VOID))
    np.random.default_rng(seed).shuffle(ready)
    peel(filled.filled_m, state, waiting, upstream, largest, deviation, ready)
    assert np.array_equal(state, expected.direction)
    assert np.array_equal(upstream, expected.upstream_cells)


def test_of_equal_inflows_the_straighter_counts_and_of_these_the_left_one() -> None:
    assert outweighs(3, 0.9, 2, 0.1)
    assert not outweighs(2, 0.1, 3, 0.9)
    assert outweighs(3, 0.1, 3, -0.2)
    assert outweighs(3, 0.2, 3, -0.2)
    assert not outweighs(3, -0.2, 3, 0.2)
    assert not outweighs(3, 0.2, 3, 0.2)


@pytest.mark.parametrize("seed", [1, 3])
def test_on_a_flat_water_goes_to_the_first_neighbour_that_is_one_step_nearer(seed: int) -> None:
    """Steps by going round and round until nothing changes."""
    filled = fill_hollows(scattered(seed)[:50, :70])
    level = filled.filled_m
    state = facets(level, filled.domain)
    flats = np.argwhere(state == 0)
    assert len(flats) > 100
    steps = np.where(state == 0, 10**6, 0)
    changed = True
    while changed:
        changed = False
        for row, column in flats:
            for down, right in zip(ROW_STEP, COLUMN_STEP, strict=True):
                beside = row + down, column + right
                if level[beside] == level[row, column] and steps[beside] + 1 < steps[row, column]:
                    steps[row, column] = steps[beside] + 1
                    changed = True
    direction = flow_over(level, filled.valid, filled.domain).direction
    for row, column in flats:
        nearer = [
            k
            for k in PREFERRED
            if level[row + ROW_STEP[k], column + COLUMN_STEP[k]] == level[row, column]
            and steps[row + ROW_STEP[k], column + COLUMN_STEP[k]] == steps[row, column] - 1
        ]
        assert direction[row, column] == nearer[0]
    assert (direction[state == 0] < END).all()


def test_a_row_of_the_ground_may_start_anywhere() -> None:
    """Heights beside nothing, which a running sum of floats would not forget."""
    random = np.random.default_rng(5)
    dem = (10.0 ** random.uniform(-12.0, 3.5, (9, 400))).astype(np.float32)
    disc = disc_half_widths(2.5)
    all_of_it = disc_mean(dem, disc)
    for start in (1, 50, 333):
        part = disc_mean(np.ascontiguousarray(dem[:, start:]), disc)
        assert np.array_equal(part[:, 2:], all_of_it[:, start + 2 :])


def test_keys_are_in_the_order_of_levels_and_give_them_back() -> None:
    level = np.array([-9999.0, -1e-30, 0.0, 1e-30, 0.1, 8848.86], np.float32)
    assert (np.diff(order_keys(level).astype(np.int64)) > 0).all()
    assert levels_of(order_keys(level)).tobytes() == level.tobytes()


def test_files_of_tiles_are_read_without_the_parser_of_python(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Python 3.11 told threads that parsed at once "AST constructor recursion depth mismatch"."""
    monkeypatch.delattr("ast.parse")
    blocks = Blocks(tmp_path)
    for values in (np.array([[True], [False]]), np.arange(6, dtype=np.float32).reshape(2, 3).T):
        blocks.write("layer", 7, values)
        for own in (blocks.read("layer", 7), blocks.opened("layer", 7)):
            assert own.dtype == values.dtype
            assert np.array_equal(own, values)
    blocks.opened("layer", 7)[2, 1] = 8.0
    assert blocks.read("layer", 7)[2, 1] == 8.0


def test_a_turn_is_not_done_twice(tmp_path: Path) -> None:
    """A scheduler may give a task of a lost worker to another, but its files are half changed."""
    blocks = Blocks(tmp_path)
    blocks.begin(3, 1)
    blocks.begin(3, 2)
    with pytest.raises(FileExistsError):
        blocks.begin(3, 1)
