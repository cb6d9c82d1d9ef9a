"""Sections that the land has no room for: too wide for the spacing, too deep for the soil."""

import re
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample
from tests.terrain_analytic.run_folder import write_run

SECTION = {"base_width_m": 1.5, "depth_m": 0.5, "batter": 1.5}
SLOPE_PCT = 8.0


def planned(
    folder: Path, soils: gpd.GeoDataFrame | None = None, **run: dict[str, Any]
) -> dict[str, pd.DataFrame]:
    dem, grid = sample(plane(SLOPE_PCT), width_m=200.0)
    given = None if soils is None else {"soils": soils}
    run_file = write_run(folder, dem, grid, features=given, run={"section": SECTION, **run})
    make_plan(load_run_file(run_file), folder / "plan.gpkg", Progress())
    names = ("swales", "swale_ground", "findings", "excluded_ground")
    return {name: pyogrio.read_dataframe(folder / "plan.gpkg", layer=name) for name in names}


def told(layers: dict[str, pd.DataFrame], code: str) -> list[str]:
    found = layers["findings"]
    return list(found.message[found.code == code])


@pytest.mark.parametrize(("height_m", "meet"), [(0.5, True), (1.0, False)])
def test_a_section_wider_than_the_spacing_is_told(
    tmp_path: Path, height_m: float, meet: bool
) -> None:
    """H / tan(slope) apart, 6.25 m and 12.5 m, where the works are 8 to 12 m across."""
    layers = planned(tmp_path, spacing={"mature_tree_height_m": height_m})
    ground = layers["swale_ground"].dissolve("swale_id")
    across_m = ground.bounds.maxy - ground.bounds.miny
    apart_m = 100.0 * height_m / SLOPE_PCT
    assert (across_m.max() > apart_m) == meet
    messages = told(layers, "section_wider_than_spacing")
    assert len(messages) == int(meet)
    levels = np.sort(layers["swales"].level_m.unique())
    if meet:
        assert f"levels {height_m:g} m apart" in messages[0]
        assert "100 % of the allowed ground is steeper" in messages[0]
        # What gave way: the levels that are left lie two intervals apart.
        assert np.diff(levels).min() >= 2.0 * height_m - 1e-6
    else:
        assert np.diff(levels) == pytest.approx(height_m)


def test_an_interval_that_the_rule_reckons_is_told_to_the_centimetre(tmp_path: Path) -> None:
    """Once the width of the top: 3 m and the wedge on 8 %, of which no more than that is known."""
    layers = planned(tmp_path, spacing={"rule": "width-ratio", "width_ratio": 1})
    (message,) = told(layers, "section_wider_than_spacing")
    (interval,) = re.findall(r"levels (\S+) m apart", message)
    assert len(interval) <= len("0.123")
    assert 0.2 < float(interval) < 1.0


def test_a_greatest_spacing_under_the_width_of_the_works_is_told(tmp_path: Path) -> None:
    layers = planned(tmp_path, spacing={"max_spacing_m": 12})
    (message,) = told(layers, "section_wider_than_spacing")
    assert "spacing.max_spacing_m of 12 m lays levels 6 m apart" in message
    wide = planned(tmp_path / "wide", spacing={"max_spacing_m": 60})
    assert told(wide, "section_wider_than_spacing") == []


@pytest.mark.parametrize(
    ("column", "what", "least_m"), [("rock_m", "rock", 0.8), ("watertable_m", "the water", 1.5)]
)
def test_soil_too_thin_or_too_wet_for_the_depth_is_told_with_the_depth_that_it_bears(
    tmp_path: Path, column: str, what: str, least_m: float
) -> None:
    """Depth + 0.3 m over rock, + 1 m over the water table: method §3; depth 0.5 m."""
    west, south = CENTRE_EASTING_M - 200.0, CENTRE_NORTHING_M - 200.0
    half = shapely.box(west, south, west + 400.0, CENTRE_NORTHING_M)
    for depth_m in (least_m - 0.1, least_m + 0.1):
        soils = gpd.GeoDataFrame({column: [depth_m]}, geometry=[half])
        layers = planned(tmp_path / f"{depth_m:g}", soils, spacing={"mature_tree_height_m": 3})
        messages = told(layers, "soil_too_shallow")
        inside = layers["swales"].intersects(half)
        if depth_m > least_m:
            assert messages == []
            assert inside.any()
            continue
        (message,) = messages
        # Half of the 160 m square that the property is.
        assert f"on 1.28 ha of the property {what}" in message
        assert f"less than {least_m:.2f} m down" in message
        assert not inside.any()
        (advice,) = layers["findings"].advice[layers["findings"].code == "soil_too_shallow"]
        assert "a depth of 0.40 m would do everywhere" in advice
