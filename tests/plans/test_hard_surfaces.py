"""Roofs and paving on a plane: no swale is dug through them, and their water still comes to one."""

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample
from tests.terrain_analytic.run_folder import write_run


def test_no_works_lie_on_roofs_and_paving(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """A yard 60 m long up the hill, across the lips that a plane of 8 % has without it."""
    dem, grid = sample(plane(8.0), width_m=240.0)
    east, north = CENTRE_EASTING_M, CENTRE_NORTHING_M
    yard = shapely.box(east - 12.0, north - 30.0, east + 12.0, north + 30.0)
    given = {"hard_surfaces": gpd.GeoDataFrame({"name": ["yard"]}, geometry=[yard])}
    run = {"spacing": {"mature_tree_height_m": 3}}
    works = {}
    for name, features in (("bare", {}), ("paved", given)):
        file = write_run(tmp_path / name, dem, grid, run=run, features=features)
        out = make_plan(load_run_file(file), tmp_path / f"{name}.gpkg", Progress()).path
        works[name] = {
            layer: pyogrio.read_dataframe(out, layer=layer)
            for layer in ("swale_ground", "excluded_ground", "findings", "trees")
        }
    met = {
        name: shapely.area(shapely.intersection(own["swale_ground"].geometry.array, yard)).sum()
        for name, own in works.items()
    }
    assert met["bare"] > 50.0
    assert met["paved"] == pytest.approx(0.0, abs=1e-6)
    excluded = works["paved"]["excluded_ground"].set_index("reason")
    assert excluded.area_m2["building"] == pytest.approx(yard.area)
    assert "building" not in set(works["bare"]["excluded_ground"].reason)
    assert not shapely.contains(yard, np.asarray(works["paved"]["trees"].geometry.array)).any()
    assert "hard_surface_undrained" not in set(works["paved"]["findings"].code)
