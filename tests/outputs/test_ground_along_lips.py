"""How far the ground along a lip lies off its level: the figures of the layer of swales."""

from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely

from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from soakline.terrain.ground import mean_ground
from soakline.terrain.ground import sample as ground_at
from tests.terrain_analytic.ground import plane, sample
from tests.terrain_analytic.run_folder import write_run


@pytest.mark.parametrize("cell_m", [1.0, 3.0, 5.0])
def test_figures_keep_to_what_is_found_every_5_cm(tmp_path: Path, cell_m: float) -> None:
    """On rough ground, whose folds between cells of 5 m had stood 20 mm unseen between stations
    1 m apart.
    """
    dem, grid = sample(plane(8.0), width_m=300.0 if cell_m < 2.0 else 600.0, cell_m=cell_m)
    random = np.random.default_rng(5)
    dem += random.normal(0.0, 0.05, dem.shape).astype(dem.dtype)
    make_plan(load_run_file(write_run(tmp_path, dem, grid)), tmp_path / "plan.gpkg", Progress())
    swales = pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer="swales")
    ground = mean_ground(dem, grid, 5.0)
    assert len(swales) > 0
    for swale in swales.itertuples():
        along = np.linspace(0.0, swale.length_m, int(np.ceil(swale.length_m / 0.05)) + 1)
        places = shapely.get_coordinates(shapely.line_interpolate_point(swale.geometry, along))
        above = ground_at(ground, grid, *places.T) - swale.level_m
        assert swale.ground_min_m == pytest.approx(above.min(), abs=0.004)
        assert swale.ground_max_m == pytest.approx(above.max(), abs=0.004)
        assert swale.ground_rms_m == pytest.approx(np.sqrt((above**2).mean()), abs=0.001)
