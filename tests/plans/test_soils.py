"""Swales on several soils, and on treated bases: sections, rates, findings and quantities."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from soakline.runfile.load import load_run_file
from soakline.section.amendments import amendments
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.plans.grounds import PlanGround, along_m, clay_over_sand
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample
from tests.terrain_analytic.run_folder import write_run

pytestmark = pytest.mark.slow

TWO_SOILS = "plane, two soils"


def planned(
    folder: Path, soils: gpd.GeoDataFrame | None = None, **run: dict[str, Any]
) -> dict[str, pd.DataFrame]:
    """Layers of a plan of a plane of 8 % and 200 m by 200 m."""
    dem, grid = sample(plane(8.0), width_m=200.0)
    features = {} if soils is None else {"soils": soils}
    out = folder / "plan.gpkg"
    make_plan(load_run_file(write_run(folder, dem, grid, run=run, features=features)), out,
              Progress())  # fmt: skip
    names = ("swales", "findings", "quantities", "run_record", "excluded_ground")
    return {name: pyogrio.read_dataframe(out, layer=name) for name in names}


def of_code(plan: dict[str, pd.DataFrame], code: str) -> pd.DataFrame:
    return plan["findings"][plan["findings"].code == code]


def amounts(plan: dict[str, pd.DataFrame]) -> dict[tuple[str, str], float]:
    rows = plan["quantities"]
    return dict(zip(zip(rows["item"], rows.unit, strict=True), rows.amount, strict=True))


def test_each_half_of_a_plane_has_the_batter_shape_and_rate_of_its_soil(
    plan_ground: PlanGround,
) -> None:
    """Batters of clay and sand: Chow 1959 Table 7-1 (from memory), as config/soils.csv says.

    Conductivities 0.6 and 210 mm/h: Rawls, Brakensiek & Saxton 1982, Table 2; half is clogged.
    Shapes: common practice, no source.
    """
    swales = plan_ground(TWO_SOILS).swales
    soils = clay_over_sand().set_index("texture").geometry
    share = np.array(
        [shapely.contains_xy(soils["clay"], along_m(line, 0.5)).mean() for line in swales.geometry]
    )
    assert (share == 1.0).sum() >= 2
    assert (share == 0.0).sum() >= 2
    assert ((share > 0.1) & (share < 0.9)).any()
    assert swales.soil_texture.tolist() == np.where(share > 0.5, "clay", "sand").tolist()
    clay, sand = (swales[swales.soil_texture == name] for name in ("clay", "sand"))
    assert set(clay.batter) == {1.0}
    assert set(sand.batter) == {2.0}
    assert clay.base_width_m.between(0.6, 1.5).all()
    assert clay.depth_m.between(0.4, 0.6).all()
    assert sand.base_width_m.between(1.2, 2.4).all()
    assert sand.depth_m.between(0.3, 0.4).all()
    gypsum = amendments()["gypsum"].soak_factor
    assert swales.soaking_mm_h[share == 1.0].to_numpy() == pytest.approx(0.3 * gypsum)
    assert swales.soaking_mm_h[share == 0.0].to_numpy() == pytest.approx(105.0)


def test_soaking_that_is_not_to_be_relied_on_is_told_swale_by_swale(
    plan_ground: PlanGround,
) -> None:
    """Under 3.6 mm/h, which is 1e-6 m/s: Buckinghamshire drainage standard (M)."""
    planned_ground = plan_ground(TWO_SOILS)
    swales, findings = planned_ground.swales, planned_ground.layer("findings")
    told = findings[findings.code == "soaking_not_reliable"]
    assert set(told.feature_id) == set(swales.swale_id[swales.soaking_mm_h < 3.6])
    assert 0 < len(told) < len(swales)
    assert told.message.str.contains("on clay").all()


def test_gypsum_is_counted_on_clay_and_left_out_on_sand(plan_ground: PlanGround) -> None:
    """0.5 kg/m² of base: 5 t/ha, of 2 to 5 t/ha that are usual (Soils Connect, question 23)."""
    planned_ground = plan_ground(TWO_SOILS)
    swales, findings = planned_ground.swales, planned_ground.layer("findings")
    clay = swales[swales.soil_texture == "clay"]
    base_m2 = clay.base_width_m * (clay.length_m - 2.0 * clay.batter * clay.depth_m)
    rows = planned_ground.layer("quantities").set_index("item")
    assert rows.unit["gypsum"] == "t"
    assert rows.amount["gypsum"] == pytest.approx(0.0005 * base_m2.sum())
    (left_out,) = findings[findings.code == "amendment_left_out"].message
    assert f"{len(swales) - len(clay)} on sand" in left_out
    (counted,) = findings[findings.code == "amended_base"].message
    assert f"{len(clay)} of {len(swales)} swales" in counted


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> dict[str, pd.DataFrame]:
    return planned(tmp_path_factory.mktemp("plain"), **GIVEN)


GIVEN: dict[str, dict[str, Any]] = {
    "section": {"base_width_m": 1.2, "depth_m": 0.4},
    "spacing": {"mature_tree_height_m": 4},
}


def test_without_a_treatment_nothing_is_told_of_one(plain: dict[str, pd.DataFrame]) -> None:
    assert set(plain["swales"].soil_texture) == {"loam"}
    assert of_code(plain, "amended_base").empty
    items = plain["quantities"]["item"]
    treatments = items.str.contains("gravel|sand|mulch|gypsum|base") & ~items.str.contains("trees")
    assert not treatments.any()
    assert not plain["run_record"].key.str.startswith("soaking_rate_mm_h:").any()


@pytest.mark.parametrize(
    ("name", "item", "unit", "per_m2"),
    [
        ("ripped", "base ripped 0.3 m deep", "m²", 1.0),
        ("gravel", "gravel", "m³", 0.1),
        ("sand", "sand", "m³", 0.1),
        ("mulch", "mulch", "m³", 0.1),
    ],
)
def test_a_treated_base_soaks_faster_and_is_in_the_quantities(
    plain: dict[str, pd.DataFrame],
    tmp_path: Path,
    name: str,
    item: str,
    unit: str,
    per_m2: float,
) -> None:
    """The time to empty is inversely as the rate: t = d / K over any ground wetted alike.

    Layers 0.1 m: common practice, no source; ripping 0.3 m: as config/amendments.csv says.
    """
    treated = planned(tmp_path, soil={"amendment": name}, **GIVEN)
    gain = amendments()[name].soak_factor
    before, after = plain["swales"], treated["swales"]
    assert before.swale_id.tolist() == after.swale_id.tolist()
    assert (after.soaking_mm_h / before.soaking_mm_h).to_numpy() == pytest.approx(gain)
    assert (before.drain_down_h / after.drain_down_h).to_numpy() == pytest.approx(gain)
    assert (after.drain_down_h < before.drain_down_h).all()
    base_m2 = (1.2 * (after.length_m - 2.0 * after.batter * 0.4)).sum()
    rows = amounts(treated)
    assert rows[item, unit] == pytest.approx(per_m2 * base_m2)
    if unit == "m³":
        assert rows[f"cut for the {name} below the base", "m³"] == rows[item, unit]
    assert len(of_code(treated, "amended_base")) == 1
    record = treated["run_record"].set_index("key").value
    assert float(record["soaking_rate_mm_h"]) == pytest.approx(13.2 * 0.5 * gain)
    assert f"{gain:g} ({name})" in record["soaking_rate_mm_h:loam"]


@pytest.mark.parametrize(("rock_m", "shut"), [(0.85, True), (0.95, False)])
def test_rock_shuts_out_what_clay_would_be_dug_to(
    tmp_path: Path, rock_m: float, shut: bool
) -> None:
    """Rock less than depth + 0.3 m deep: 0.9 m under clay, though 0.8 m would do under loam."""
    soils = gpd.GeoDataFrame(
        {"texture": ["clay"], "rock_m": [rock_m]},
        geometry=[
            shapely.box(
                CENTRE_EASTING_M - 200.0,
                CENTRE_NORTHING_M - 200.0,
                CENTRE_EASTING_M + 200.0,
                CENTRE_NORTHING_M,
            )
        ],
    )
    excluded = planned(tmp_path, soils)["excluded_ground"]
    assert ("shallow_soil" in set(excluded.reason)) == shut


def test_a_layer_under_the_base_counts_in_the_face_that_people_stand_before(
    tmp_path: Path,
) -> None:
    """A face of 1.15 m asks for no way out, dug 0.1 m deeper for gravel it does: 1.2 m.

    29 CFR 1926.651(c)(2), 4 ft.
    """
    deep = {**GIVEN, "section": {"base_width_m": 0.6, "depth_m": 0.85}}
    without = planned(tmp_path / "without", **deep)
    treated = planned(tmp_path / "treated", soil={"amendment": "gravel"}, **deep)
    assert without["swales"].face_height_m.between(1.1, 1.2).all()
    assert of_code(without, "trench_safety").empty
    told = of_code(treated, "trench_safety")
    assert set(told.feature_id) == set(treated["swales"].swale_id)
    # Method 4: at least 0.6 m between lip and mound beside such a face.
    assert told.advice.str.contains("the mound begins 0.6 m from the lip").all()
    assert set(without["swales"].berm_m) == {0.0}
    assert set(treated["swales"].berm_m) == {0.6}
