"""What drains move from one catchment to another."""

import numpy as np
import pytest
import shapely

from soakline.diversions.catchments import (
    Diverted,
    Surface,
    burn_all,
    burn_beside,
    divert,
    passed_on,
)
from soakline.diversions.diversion import NONE, Diversion
from soakline.grid import FloatArray
from soakline.siting.catchments import Catchments, burn_lines
from soakline.terrain.condition import Terrain
from tests.diversions.hillside import SLOPE_PCT, at, catchments, lip, terrain_from
from tests.siting.land import terrain_of
from tests.terrain_analytic.ground import plane, sample

UPPER, LOWER = lip(396.0, -100.0, 20.0), lip(388.0, -150.0, 150.0)
LINES = [UPPER, LOWER]


@pytest.fixture(scope="module")
def terrain() -> Terrain:
    return terrain_from(plane(SLOPE_PCT))


def drain(*places: tuple[float, float], swale: int, into: int = NONE) -> Diversion:
    level = np.linspace(400.0, 399.0, len(places))
    coordinates = np.column_stack([[at(*place) for place in places], level])
    return Diversion("drain", "given", coordinates, swale, into, 0.0, 0.0)


def diverted(
    terrain: Terrain, drains: list[Diversion], surfaces: list[Surface]
) -> tuple[Catchments, Diverted]:
    lips = catchments(LINES, terrain)
    flow = terrain.flow.direction
    return lips, divert(lips, drains, surfaces, flow, terrain.valid, terrain.grid)


def sums_to_all(result: Diverted, terrain: Terrain) -> bool:
    own = result.catchments
    return own.area_m2.sum() + own.bypass_m2 == terrain.valid.sum() * terrain.grid.cell_area_m2


def test_a_drain_moves_the_columns_that_it_crosses_to_its_swale(terrain: Terrain) -> None:
    """The plane falls due south: 80 columns, each from the drain up to the DEM's edge.

    The drain falls from 20 to 60 m south of the centre; the mean of its columns reaches 240 m
    north of it, the DEM's edge. Above it half a column or so is the drain's own cells.
    """
    own = drain((100.5, -20.5), (20.5, -49.5), swale=0)
    lips, result = diverted(terrain, [own], [])
    moved = result.catchments.area_m2 - lips.area_m2
    expected = 81 * (200.0 + (20.5 + 49.5) / 2.0)
    assert moved[0] == pytest.approx(expected, rel=0.02)
    assert result.own_m2[0] == result.catchment_m2[0] >= moved[0]
    # Lower's own 300 columns lose what it takes; nothing came from the bypass here.
    assert moved[1] == -moved[0]
    assert result.catchments.bypass_m2 == lips.bypass_m2
    assert sums_to_all(result, terrain)


def test_a_drain_brings_in_what_went_by(terrain: Terrain) -> None:
    own = drain((180.5, -100.5), (149.5, -149.5), swale=1)
    lips, result = diverted(terrain, [own], [])
    gained = result.catchments.area_m2[1] - lips.area_m2[1]
    assert gained == lips.bypass_m2 - result.catchments.bypass_m2 > 30 * 300.0
    assert sums_to_all(result, terrain)


def test_what_a_swale_above_has_caught_stays_its_own(terrain: Terrain) -> None:
    """The drain passes right below the upper swale, which it leads nothing to and takes nothing of.

    It takes the 5 to 25 m between the two from the lower swale, and gives them back to it.
    """
    lips, result = diverted(terrain, [drain((-90.5, -55.5), (10.5, -75.5), swale=1)], [])
    assert np.array_equal(result.catchments.area_m2, lips.area_m2)
    assert np.array_equal(result.catchments.label, lips.label)
    assert result.own_m2[0] == pytest.approx(102 * 15.0, rel=0.05)


def test_a_drain_may_lead_to_the_swale_above_which_other_water_passes_by(terrain: Terrain) -> None:
    """Beside the upper swale's eastern end, on ground higher than its lip, out of its reach.

    Its swale gains what would have gone to the lower one, which the upper one may spill to.
    """
    lips, result = diverted(terrain, [drain((60.5, -30.5), (21.5, -48.5), swale=0)], [])
    gained = result.catchments.area_m2 - lips.area_m2
    assert gained[0] == -gained[1] == result.own_m2[0] > 0.0


def test_without_drains_nothing_changes(terrain: Terrain) -> None:
    lips, result = diverted(terrain, [], [])
    assert np.array_equal(result.catchments.label, lips.label)
    assert np.array_equal(result.catchments.burnt, lips.burnt)
    assert np.array_equal(result.catchments.area_m2, lips.area_m2)
    assert result.through.max() == 0


def test_labels_are_those_of_a_walk_from_every_cell(terrain: Terrain) -> None:
    """A slow twin: each cell followed by hand until a lip or a drain is met."""
    drains = [
        drain((100.5, -20.5), (20.5, -49.5), swale=0),
        drain((90.5, 60.5), (40.5, 30.5), swale=0, into=0),
        drain((180.5, -100.5), (149.5, -149.5), swale=1),
    ]
    lips, result = diverted(terrain, drains, [])
    burnt = burn_all(lips.burnt, 2, [d.coordinates for d in drains], terrain.grid)
    step_row, step_column = [0, -1, -1, -1, 0, 1, 1, 1], [1, 1, 0, -1, -1, -1, 0, 1]
    rng = np.random.default_rng(5)
    for start in rng.integers(0, terrain.grid.cells, 3000):
        row, column = divmod(int(start), terrain.grid.columns)
        while burnt[row, column] == 0 and terrain.flow.direction[row, column] < 8:
            k = terrain.flow.direction[row, column]
            row, column = row + step_row[k], column + step_column[k]
        met = int(burnt[row, column])
        swale = {0: -1, 1: 1, 2: 2}.get(met) or drains[met - 3].swale + 1
        assert result.catchments.label.ravel()[start] == swale
        assert result.through.ravel()[start] == max(met - 2, 0)


def test_what_runs_into_a_drain_is_counted_at_its_end_and_once_in_the_catchments(
    terrain: Terrain,
) -> None:
    drains = [
        drain((90.5, 60.5), (40.5, 30.5), swale=0, into=1),
        drain((100.5, -20.5), (22.5, -48.5), swale=0),
    ]
    lips, result = diverted(terrain, drains, [])
    assert result.catchment_m2[0] == result.own_m2[0]
    assert result.catchment_m2[1] == result.own_m2.sum()
    assert (result.catchments.area_m2 - lips.area_m2)[0] == pytest.approx(result.own_m2.sum())
    assert sums_to_all(result, terrain)


def test_a_shared_cell_is_the_lips_then_the_first_drains(terrain: Terrain) -> None:
    lips = catchments(LINES, terrain)
    crossing = [
        np.array([at(-50.5, -20.5), at(-50.5, -80.5)]),
        np.array([at(-80.5, -60.5), at(-20.5, -60.5)]),
    ]
    burnt = burn_all(lips.burnt, 2, crossing, terrain.grid)
    assert np.array_equal(burnt[lips.burnt > 0], lips.burnt[lips.burnt > 0])
    # Column 149 is the first drain's, row 260 the second's but for the cell they share.
    assert burnt[260, 149] == 3
    assert (burnt[260, [148, 150]] == 4).all()


def test_a_line_burnt_in_its_own_window_has_the_cells_of_the_whole_grid(terrain: Terrain) -> None:
    rng = np.random.default_rng(2)
    for _ in range(20):
        places: FloatArray = at(0.0, 0.0) + rng.uniform(-230.0, 230.0, (4, 2))
        burnt = np.zeros(terrain.grid.shape, np.int32)
        burn_beside(burnt, places, 7, terrain.grid)
        assert np.array_equal(burnt > 0, burn_lines([places], terrain.grid) > 0)


def test_a_hard_surface_goes_where_its_water_goes_and_what_is_above_it_keeps_its_way(
    terrain: Terrain,
) -> None:
    """40 m by 20 m in the lower swale's catchment, led to the upper one by a pipe."""
    shape = shapely.box(*at(60.0, -100.0), *at(100.0, -80.0))
    lips, result = diverted(terrain, [], [Surface("roof", shape, 0, NONE)])
    assert (result.catchments.area_m2 - lips.area_m2) == pytest.approx([800.0, -800.0])
    assert sums_to_all(result, terrain)


def test_a_hard_surface_leaves_a_lips_own_cells_and_those_without_a_height(
    terrain: Terrain,
) -> None:
    over_the_lip = shapely.box(*at(-20.0, -60.0), *at(0.0, -40.0))
    over_the_edge = shapely.box(*at(190.0, -20.0), *at(230.0, 0.0))
    lips, result = diverted(
        terrain,
        [],
        [Surface("yard", over_the_lip, 1, NONE), Surface("roof", over_the_edge, 1, NONE)],
    )
    on_lip = lips.burnt > 0
    assert np.array_equal(result.catchments.label[on_lip], lips.label[on_lip])
    assert result.catchments.area_m2[0] == pytest.approx(lips.area_m2[0] - 20.0 * 10.0)
    assert result.catchments.area_m2[1] == pytest.approx(lips.area_m2[1] + 20.0 * 10.0 + 200.0)
    assert sums_to_all(result, terrain)


def test_of_a_hard_surface_only_cells_with_a_height_have_an_area() -> None:
    dem, grid = sample(plane(SLOPE_PCT), width_m=400.0)
    dem[100:110, 270:300] = np.nan
    holed = terrain_of(dem, grid)
    # 30 m by 20 m, the upper half of it without heights.
    shape = shapely.box(*at(70.0, 80.0), *at(100.0, 100.0))
    lips, result = diverted(holed, [], [Surface("yard", shape, 0, NONE)])
    assert (result.catchments.area_m2 - lips.area_m2) == pytest.approx([300.0, -300.0])
    assert sums_to_all(result, holed)


def test_an_undrained_surface_changes_nothing(terrain: Terrain) -> None:
    shape = shapely.box(*at(60.0, -100.0), *at(100.0, -80.0))
    lips, result = diverted(terrain, [], [Surface("roof", shape, NONE, NONE)])
    assert np.array_equal(result.catchments.label, lips.label)


def test_drains_in_a_circle_are_refused() -> None:
    first = drain((0.0, 0.0), (10.0, 0.0), swale=0, into=1)
    second = drain((0.0, 5.0), (10.0, 5.0), swale=0, into=0)
    with pytest.raises(ValueError, match="circle"):
        passed_on([first, second], np.ones(2))
