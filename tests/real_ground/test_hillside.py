"""Lidar of a hillside at 1 m, with closed hollows, steep ground and real micro-relief.

`hillside.tif` is a copy of `lidar/data/dem.tif` of the Python package `lidar` 0.8.4 (MIT, licence
beside it): 400 × 400 cells, 300 kB compressed. The package would bring many libraries that nothing
here uses, and a separate download step would let the tests fail without a network: a file is less.
"""

from pathlib import Path

import networkx as nx
import numpy as np
import pyflwdir
import pyogrio
import pytest
import shapely
from scipy import ndimage

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.inputs.types import Elevation
from soakline.runfile.load import load_run_file
from soakline.runfile.sections import TerrainKeys
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from soakline.terrain.condition import Terrain, condition_ground
from soakline.terrain.ground import horn_slope_pct
from tests.plans.grounds import along_m
from tests.real_ground import ground as real_ground
from tests.terrain_analytic.run_folder import write_run


@pytest.fixture(scope="module")
def hillside() -> tuple[GroundArray, Grid]:
    return real_ground.hillside()


@pytest.fixture(scope="module")
def terrain(hillside: tuple[GroundArray, Grid]) -> Terrain:
    dem, grid = hillside
    return condition_ground(Elevation(grid, dem), TerrainKeys())


@pytest.fixture(scope="module")
def plan(hillside: tuple[GroundArray, Grid], tmp_path_factory: pytest.TempPathFactory) -> Path:
    dem, grid = hillside
    folder = tmp_path_factory.mktemp("hillside")
    run = {"siting": {"max_slope_pct": 20}, "spacing": {"mature_tree_height_m": 6}}
    file = write_run(folder, dem, grid, run=run)
    return make_plan(load_run_file(file), folder / "plan.gpkg", Progress()).path


def layer(plan: Path, name: str):  # type: ignore[no-untyped-def]
    return pyogrio.read_dataframe(plan, layer=name)


def test_the_hillside_is_what_its_source_says(hillside: tuple[GroundArray, Grid]) -> None:
    """400 × 400 cells of 1 m from 380 to 411 m."""
    dem, grid = hillside
    assert dem.shape == (400, 400)
    assert grid.cell_m == 1.0
    assert (round(float(dem.min())), round(float(dem.max()))) == (380, 411)


def test_slopes_are_those_measured_before(terrain: Terrain, hillside) -> None:  # type: ignore[no-untyped-def]
    """Of the raw cells: 5 / 12 / 20 / 29 / 42 % at the 5th to 95th percentile."""
    dem, _ = hillside
    found = np.percentile(horn_slope_pct(dem, 1.0), [5, 25, 50, 75, 95])
    assert np.rint(found).tolist() == [5, 12, 20, 29, 42]
    # Averaged over 5 m the same hill is no steeper.
    assert np.median(terrain.slope_pct) < found[2]


def test_every_cell_drains_and_counts_once(terrain: Terrain) -> None:
    assert int(terrain.flow.upstream_cells[terrain.flow.direction == 8].sum()) == 160_000
    filled = terrain.filled_m
    # Nowhere does a cell lie lower than all its neighbours.
    around = ndimage.minimum_filter(filled, footprint=np.array([[1, 1, 1], [1, 0, 1], [1, 1, 1]]))
    assert (around <= filled)[1:-1, 1:-1].all()


def test_most_water_leaves_where_a_peer_has_it_leave(terrain: Terrain) -> None:
    """Plain D8 of another library on the same fill: the same outlet, within 5 % of its area.

    Most of this ground is one deep hollow, and across its filled surface any way is as good.
    """
    peer = pyflwdir.from_dem(terrain.filled_m, nodata=-9999.0, outlets="edge")
    counted = peer.upstream_area("cell")
    own = terrain.flow.upstream_cells
    rim = np.ones(own.shape, dtype=bool)
    rim[1:-1, 1:-1] = False
    outlet = np.unravel_index(np.argmax(np.where(rim, own, 0)), own.shape)
    at_peer = np.unravel_index(np.argmax(np.where(rim, counted, 0)), own.shape)
    assert np.hypot(*np.subtract(outlet, at_peer)) < 10.0
    assert int(own[outlet]) == pytest.approx(int(counted[at_peer]), rel=0.05)
    # The largest drainage line is the one that ends there.
    assert terrain.drainage[0].contributing_m2 == float(own[outlet])


def test_hollows_hold_what_was_filled(terrain: Terrain, hillside) -> None:  # type: ignore[no-untyped-def]
    dem, grid = hillside
    raised = float((terrain.filled_m.astype(float) - dem).sum()) * grid.cell_area_m2
    assert terrain.hollows.volume_m3.sum() == pytest.approx(raised, rel=1e-6)
    assert terrain.hollows.kept.any()
    assert terrain.hollows.depth_m[terrain.hollows.kept].min() > 0.3


def disc_ground(dem: GroundArray) -> FloatArray:
    step = np.arange(-2, 3)
    disc = (np.hypot(*np.meshgrid(step, step)) <= 2.5).astype(float)
    total = ndimage.convolve(dem.astype(float), disc, mode="constant")
    return total / ndimage.convolve(np.ones(dem.shape), disc, mode="constant")


def test_lips_are_level_and_hold_the_tolerance(plan: Path, hillside) -> None:  # type: ignore[no-untyped-def]
    dem, grid = hillside
    ground = disc_ground(dem)
    swales = layer(plan, "swales")
    assert swales.length_m.sum() > 500.0
    for level, line in zip(swales.level_m, swales.geometry, strict=True):
        heights = shapely.get_coordinates(line, include_z=True)[:, 2]
        assert heights == pytest.approx(level, abs=0.001)
        places = np.vstack([along_m(line, 0.25), shapely.get_coordinates(line)])
        row, column = grid.row_column(places[:, 0], places[:, 1])
        above = ndimage.map_coordinates(ground, [row, column], order=1) - level
        assert above.min() >= -0.03
        assert above.max() <= 0.15
    vertices = shapely.get_num_coordinates(swales.geometry.array)
    # This ground bends within metres, and its bends are arcs of short chords.
    assert vertices.sum() <= 140.0 * swales.length_m.sum() / 400.0


def test_footprints_and_catchments_are_disjoint(plan: Path) -> None:
    catchments = layer(plan, "swale_catchments")
    union = shapely.area(shapely.union_all(catchments.geometry.array))
    assert union == pytest.approx(catchments.area_m2.sum(), rel=1e-9)
    whole = layer(plan, "swale_ground").dissolve("swale_id").geometry
    shapes = np.asarray(whole)
    one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=0.999)
    assert one[one != other].tolist() == []
    for line in layer(plan, "drainage_lines").geometry:
        assert shapely.distance(shapes, line).min() >= 10.0 - 1e-6


def test_water_balances_and_runs_in_no_circle(plan: Path) -> None:
    storms = layer(plan, "swale_storms")
    left = storms.stored_m3 + storms.infiltrated_m3 + storms.overflow_m3
    assert left.to_numpy() == pytest.approx(storms.inflow_m3.to_numpy(), rel=1e-6, abs=1e-9)
    routes = layer(plan, "overflow_routes")
    onward = routes[routes.to_kind == "swale"]
    graph = nx.DiGraph(list(zip(onward.swale_id, onward.to_id, strict=True)))
    assert nx.is_directed_acyclic_graph(graph)
    for line in routes.geometry:
        assert np.all(np.diff(shapely.get_coordinates(line, include_z=True)[:, 2]) <= 0.0)
    swales = layer(plan, "swales")
    findings = layer(plan, "findings")
    stopped = set(findings.feature_id[findings.code == "no_safe_end"])
    assert set(swales.swale_id) - stopped <= set(routes.swale_id)


def test_lips_keep_off_ground_over_the_limit(plan: Path) -> None:
    excluded = layer(plan, "excluded_ground")
    steep = shapely.union_all(excluded.geometry[excluded.reason == "too_steep"].array)
    swales = layer(plan, "swales")
    over = shapely.length(shapely.intersection(swales.geometry.array, steep)).sum()
    # Steep steps are bridged for 10 m at most, each; hardly any of the whole is.
    assert over < 0.1 * swales.length_m.sum()
