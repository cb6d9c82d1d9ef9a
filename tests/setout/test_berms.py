"""Beside cut faces over 1.2 m the mound begins 0.6 m from the lip, and all that follows does.

Method 4, mound; 2 ft: 29 CFR 1926.651(j)(2).
"""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

from soakline import __version__
from soakline.grid import FloatArray
from soakline.report.drawings import section_points
from soakline.runfile.load import load_run_file
from soakline.setout.breaklines import EDGES, breaklines
from soakline.setout.read import read_setout
from soakline.setout.section_sheet import section_sheet
from soakline.setout.section_types import section_types
from soakline.setout.sheet import drawing_style
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from soakline.verify.plan import verify_plan
from tests.setout.conftest import SETTINGS
from tests.setout.test_volumes import differences
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_NORTHING_M,
    Height,
    plane,
    sample,
)
from tests.terrain_analytic.run_folder import write_run

GENTLE_PCT, STEEP_PCT = 10.0, 19.0


def steeper_below(easting: FloatArray, northing: FloatArray) -> FloatArray:
    """Ground that falls to the south, more steeply from the middle on."""
    return np.minimum(plane(GENTLE_PCT)(easting, northing), plane(STEEP_PCT)(easting, northing))


GROUNDS: dict[str, Height] = {"all": plane(STEEP_PCT), "some": steeper_below}
"""By whether all faces are over 1.2 m: 0.5 m deep, 3 m wide at the top and battered 1.5 to 1, a
trench has one of 0.5 + 3 s / (1 − 1.5 s) m on even ground, 0.85 m on 10 % and 1.30 m on 19 %."""


@pytest.fixture(scope="module", params=GROUNDS)
def ground(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="module")
def path(ground: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    dem, grid = sample(GROUNDS[ground], width_m=240.0)
    east, north = CENTRE_EASTING_M + 30.0, CENTRE_NORTHING_M - 40.0
    house = gpd.GeoDataFrame(geometry=[shapely.box(east, north, east + 10.0, north + 8.0)])
    run_file = write_run(
        tmp_path_factory.mktemp(ground),
        dem.astype(np.float32),
        grid,
        run={**SETTINGS, "siting": {"max_slope_pct": 20.0}},
        features={"buildings": house},
    )
    return make_plan(load_run_file(run_file), run_file.with_suffix(".gpkg"), Progress()).path


def layer(path: Path, name: str) -> gpd.GeoDataFrame:
    return pyogrio.read_dataframe(path, layer=name)


def test_mounds_begin_0_6_m_from_the_lip_where_the_face_is_over_1_2_m(
    path: Path, ground: str
) -> None:
    swales, parts = layer(path, "swales"), layer(path, "swale_ground")
    high = swales.face_height_m > 1.2
    assert high.all() if ground == "all" else 0 < high.sum() < len(high)
    assert swales.berm_m.tolist() == np.where(high, 0.6, 0.0).tolist()
    berm = parts[parts.part == "berm"].dissolve("swale_id").geometry
    assert set(berm.index) == set(swales.swale_id[high])
    mound = parts[parts.part == "mound"].dissolve("swale_id").geometry
    for own in swales.itertuples():
        # Lips run straight to the east; the mound's ends turn uphill beyond theirs.
        west, south, east, north = own.geometry.bounds
        below = shapely.box(west + 0.1, south - 20.0, east - 0.1, north + 20.0)
        assert north - south < 0.1
        begins = south - shapely.intersection(mound[own.swale_id], below).bounds[3]
        assert begins == pytest.approx(own.berm_m, abs=0.05)
        if own.berm_m:
            assert berm[own.swale_id].area == pytest.approx(0.6 * own.length_m, rel=0.01)


def test_the_spoil_of_each_swale_balances(path: Path) -> None:
    earth = layer(path, "earthworks")
    out = earth.made_up_m3 + earth.mound_m3 + earth.returns_m3 + earth.track_fill_m3
    out += earth.spread_m3 + earth.left_over_m3
    came = earth.spoil_m3 + earth.short_m3
    assert came.to_numpy() == pytest.approx(out.to_numpy(), rel=1e-6)
    # Room was kept for all of it.
    assert earth.left_over_m3.max() == earth.short_m3.max() == 0.0


def test_cut_and_fill_agree_with_the_finished_ground_to_2_percent(path: Path, ground: str) -> None:
    plan, earth = read_setout(path), layer(path, "earthworks").set_index("swale_id")
    for swale in plan.swales:
        own = earth.loc[swale.swale_id]
        cut, fill = differences(plan, swale, GROUNDS[ground])
        assert cut == pytest.approx(own.cut_m3 + own.cut_between_m3 + own.cut_sill_m3, rel=0.02)
        assert fill == pytest.approx(own.made_up_m3 + own.mound_m3 + own.returns_m3, rel=0.02)


def test_footprints_keep_clear_of_each_other_and_of_setbacks(path: Path) -> None:
    """Parts do not overlap, setbacks are kept, trees stand in their bands: all that is measured."""
    lines = {line.what: line.holds for line in verify_plan(path, (), __version__)}
    assert [what for what, holds in lines.items() if holds is False] == []
    for fact in (
        "mound off the lip where the cut face is over 1.2 m",
        "setback from buildings of the features file",
        "tree in its band",
    ):
        assert lines[fact]


def test_what_is_set_out_and_drawn_has_each_swales_own_berm(path: Path, ground: str) -> None:
    plan, swales = read_setout(path), layer(path, "swales").set_index("swale_id")
    foot = EDGES.index("mound-foot")
    for swale in plan.swales:
        row = swales.loc[swale.swale_id]
        assert breaklines(swale).offset_m[:, foot] == pytest.approx(-row.berm_m)
        assert section_points(row.to_dict(), 2.0)["mound"][0][0] == row.berm_m
    kinds = section_types(plan)
    assert len(kinds) == (1 if ground == "all" else 2)
    for kind in kinds:
        (berm_m,) = {swale.mound.berm_m for swale in kind.swales}
        with drawing_style():
            sheet = section_sheet(plan, kind, "A4")
        told = " ".join(text.get_text() for text in sheet.axes.texts)
        assert ("begins 0.60 m from the lip" in told.replace("\n", " ")) == (berm_m == 0.6)


def test_findings_tell_how_far_off_the_mound_begins(path: Path) -> None:
    swales, findings = layer(path, "swales"), layer(path, "findings")
    told = findings[findings.code == "trench_safety"]
    assert set(told.feature_id) == set(swales.swale_id[swales.face_height_m > 1.2])
    assert told.advice.str.contains("the mound begins 0.6 m from the lip").all()
