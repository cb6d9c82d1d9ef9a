"""How far the ground along a lip lies off its level: the figures of the layer of swales."""

from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely

from soakline.grid import Grid, GroundArray
from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from soakline.terrain.ground import mean_ground
from soakline.terrain.ground import sample as ground_at
from tests.terrain_analytic.ground import plane, sample
from tests.terrain_analytic.run_folder import write_run


def rough(folder: Path, cell_m: float, **run: dict[str, object]) -> tuple[Path, GroundArray, Grid]:
    """A plan on a plane with 5 cm of noise, its DEM and grid."""
    dem, grid = sample(plane(8.0), width_m=300.0 if cell_m < 2.0 else 600.0, cell_m=cell_m)
    random = np.random.default_rng(5)
    dem += random.normal(0.0, 0.05, dem.shape).astype(dem.dtype)
    file = write_run(folder, dem, grid, run=run)
    return make_plan(load_run_file(file), folder / "plan.gpkg", Progress()).path, dem, grid


@pytest.mark.parametrize("cell_m", [1.0, 3.0, 5.0])
def test_figures_keep_to_what_is_found_every_5_cm(tmp_path: Path, cell_m: float) -> None:
    """On rough ground, whose folds between cells of 5 m had stood 20 mm unseen between stations
    1 m apart.
    """
    path, dem, grid = rough(tmp_path, cell_m)
    swales = pyogrio.read_dataframe(path, layer="swales")
    ground = mean_ground(dem, grid, 5.0)
    assert len(swales) > 0
    for swale in swales.itertuples():
        along = np.linspace(0.0, swale.length_m, int(np.ceil(swale.length_m / 0.05)) + 1)
        places = shapely.get_coordinates(shapely.line_interpolate_point(swale.geometry, along))
        above = ground_at(ground, grid, *places.T) - swale.level_m
        assert swale.ground_min_m == pytest.approx(above.min(), abs=0.004)
        assert swale.ground_max_m == pytest.approx(above.max(), abs=0.004)
        assert swale.ground_rms_m == pytest.approx(np.sqrt((above**2).mean()), abs=0.001)


def test_the_cut_is_measured_along_the_pegs_that_set_it_out(tmp_path: Path) -> None:
    """Short swales on rough ground: sills have moved their pegs from where lips were laid by."""
    path, _, _ = rough(
        tmp_path, 3.0, siting={"max_length_m": 60.0}, section={"base_width_m": 1.5, "depth_m": 0.5}
    )
    swales = pyogrio.read_dataframe(path, layer="swales").set_index("swale_id")
    pegs = pyogrio.read_dataframe(path, layer="pegs", fid_as_index=True)
    pegs = pegs.join(pyogrio.read_dataframe(path, layer="peg_cuts", fid_as_index=True))
    assert len(swales) > 10
    for swale_id, own in pegs.groupby("swale_id"):
        swale = swales.loc[swale_id]
        whole = swale.depth_m * (swale.base_width_m + swale.batter * swale.depth_m)
        above = (own.ground_m - own.level_m).to_numpy()
        daylight, top = own.daylight_mm.to_numpy() / 1e3, own.daylight_above_mm.to_numpy() / 1e3
        # Ground straight from lip to daylight edge: on cells of 3 m it is so but for a fold.
        area = whole + daylight * (above + top) / 2.0 - (daylight - swale.top_width_m) * top / 2.0
        along = own.chainage_m.to_numpy()
        cut = np.sum(np.diff(along) * (area[1:] + area[:-1]) / 2.0)
        ends = swale.batter * swale.depth_m * cut / swale.length_m
        assert swale.cut_m3 == pytest.approx(cut - ends, rel=0.03)
        assert swale.face_height_m == pytest.approx(swale.depth_m + top.max(), abs=0.001)
