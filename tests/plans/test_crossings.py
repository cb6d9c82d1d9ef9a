"""A straight track down a plane: what its crossings change in the plan, read from the file."""

import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from soakline.runfile.load import load_run_file
from soakline.section.trench import Trench
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.commands.running import run_anew
from tests.plans.grounds import PlanGround
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample
from tests.terrain_analytic.run_folder import write_run

DEMO = Path(__file__).parents[2] / "fixtures/demo"
TRACK_M = 4.0
TRACK_EASTING_M = CENTRE_EASTING_M + 13.37
# Where lips end, and sills would lie best.
NEAR_ENDS_M = (CENTRE_EASTING_M - 92.0, CENTRE_EASTING_M + 87.0)

Layers = Callable[[str], gpd.GeoDataFrame]
Planned = Callable[[str], Layers]

ASLANT_DEG = 25.0
ASKED = {"steep": "auto", "near ends": "auto", "aslant": "causeway"}
SECTION = {"base_width_m": 1.5, "depth_m": 0.5, "batter": 1.5}


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    """Layers of a plan by the crossing asked for; "auto" also on a plane of 12 % ("steep"), and
    with a track near both ends of the lips instead of one in the middle ("near ends"); "causeway"
    also with one that crosses at 25° ("aslant").
    """

    @cache
    def of(crossing: str) -> Layers:
        folder: Path = tmp_path_factory.mktemp(crossing)
        dem, grid = sample(plane(12.0 if crossing == "steep" else 8.0), width_m=240.0)
        eastings = NEAR_ENDS_M if crossing == "near ends" else (TRACK_EASTING_M,)
        lines = [
            shapely.LineString([(x, CENTRE_NORTHING_M + 115.0), (x, CENTRE_NORTHING_M - 115.0)])
            for x in eastings
        ]
        if crossing == "aslant":
            away = 45.0 * np.array([1.0 / np.tan(np.radians(ASLANT_DEG)), 1.0])
            middle = np.array([TRACK_EASTING_M, CENTRE_NORTHING_M])
            lines = [shapely.LineString([middle + away, middle - away])]
        columns = {"name": ["hill track"] * len(lines), "width_m": [TRACK_M] * len(lines)}
        track = gpd.GeoDataFrame(columns, geometry=lines, crs=grid.crs_wkt)
        run = {
            "spacing": {"mature_tree_height_m": 5},
            "section": SECTION,
            "siting": {"crossing": ASKED.get(crossing, crossing)},
        }
        out = folder / "plan.gpkg"
        run_file = write_run(folder, dem, grid, features={"tracks": track}, run=run)
        make_plan(load_run_file(run_file), out, Progress())
        return cache(lambda layer: pyogrio.read_dataframe(out, layer=layer))

    return of


CROSSED = ("auto", "causeway", "steep")


@pytest.mark.parametrize("crossing", CROSSED)
def test_each_swale_is_crossed_once_where_its_lip_meets_the_track(
    planned: Planned, crossing: str
) -> None:
    layers = planned(crossing)
    swales, crossings = layers("swales"), layers("crossings")
    assert len(swales) >= 2
    assert crossings.swale_id.tolist() == swales.swale_id.tolist()
    assert set(crossings.track) == {"hill track"}
    for swale, place in zip(swales.itertuples(), crossings.itertuples(), strict=True):
        corners = shapely.get_coordinates(swale.geometry)
        corners = corners[np.argsort(corners[:, 0])]
        north = np.interp(TRACK_EASTING_M, *corners.T)
        assert (place.geometry.x, place.geometry.y) == pytest.approx(
            (TRACK_EASTING_M, north), abs=0.01
        )
        line = shapely.force_2d(swale.geometry)
        assert place.chainage_m == pytest.approx(line.project(place.geometry), abs=0.01)
        # The lip is all but square to the track.
        assert place.width_m == pytest.approx(TRACK_M, abs=0.05)


def test_kind_is_a_ford_on_gentle_ground_and_a_causeway_on_steep_ground(planned: Planned) -> None:
    assert set(planned("auto")("crossings").kind) == {"ford"}
    assert set(planned("steep")("crossings").kind) == {"causeway"}
    assert set(planned("causeway")("crossings").kind) == {"causeway"}


def test_the_crown_of_a_ford_keeps_the_water_of_the_check_storm_off_the_track(
    planned: Planned,
) -> None:
    layers = planned("auto")
    place = layers("crossings").merge(layers("swales"), on="swale_id", suffixes=("", "_swale"))
    head = layers("spillways").groupby("swale_id").check_head_m.max()
    crown = place.level_m_swale + place.swale_id.map(head).fillna(0.10) + 0.15
    assert place.level_m.to_numpy() == pytest.approx(crown.to_numpy(), abs=1e-6)
    assert place.base_level_m.to_numpy() == pytest.approx(place.level_m_swale.to_numpy() - 0.5)
    assert "track_carries_water" not in set(layers("findings").code)


@pytest.mark.parametrize("crossing", CROSSED)
def test_no_mound_lies_within_the_track(planned: Planned, crossing: str) -> None:
    layers = planned(crossing)
    mounds = layers("swale_ground").query("part == 'mound'").dissolve("swale_id").geometry
    swales = layers("swales").set_index("swale_id")
    for place in layers("crossings").itertuples():
        half = place.width_m / 2.0
        mound = mounds[place.swale_id]
        strip = place.geometry.buffer(30.0) & shapely.box(
            TRACK_EASTING_M - half + 0.05, CENTRE_NORTHING_M - 200.0,
            TRACK_EASTING_M + half - 0.05, CENTRE_NORTHING_M + 200.0,
        )  # fmt: skip
        assert mound.intersection(strip).area < 0.01
        # Beside the track it stands again, but for a sill.
        assert mound.area > 0.5 * swales.length_m[place.swale_id]


@pytest.mark.parametrize("crossing", [*CROSSED, "near ends"])
def test_no_sill_lies_within_the_track_or_beside_it(planned: Planned, crossing: str) -> None:
    layers = planned(crossing)
    sills = layers("spillways").merge(layers("crossings"), on="swale_id", suffixes=("", "_x"))
    assert len(sills) >= len(layers("crossings"))
    apart = sills.geometry.distance(gpd.GeoSeries(sills.geometry_x), align=False)
    assert (apart >= (sills.sill_length_m + sills.width_m) / 2.0 + 2.9).all()


@pytest.mark.parametrize("crossing", ["causeway", "steep"])
def test_a_causeway_s_pipe_and_fill(planned: Planned, crossing: str) -> None:
    """Both sides stay level to 5 cm; the fill takes its length from what the swale holds."""
    layers = planned(crossing)
    place = layers("crossings").merge(layers("swales"), on="swale_id", suffixes=("", "_swale"))
    area = np.pi / 4.0 * place.pipe_diameter_m**2
    velocity = place.pipe_flow_m3s / place.pipes / area
    radius = place.pipe_diameter_m / 4.0
    friction = 19.63 * 0.024**2 * place.pipe_length_m / radius**1.33  # HDS-5, from memory
    assert ((1.9 + friction) * velocity**2 / 19.62 <= 0.05 * 1.01).all()
    assert (place.pipe_flow_m3s > 0.0).all()
    above = place.level_m - place.base_level_m
    assert (place.level_m >= place.base_level_m + place.pipe_diameter_m + 0.3 - 1e-6).all()
    # Sides of the fill are as steep as the mound's, 2 to 1.
    assert place.pipe_length_m.to_numpy() == pytest.approx((place.width_m + 4.0 * above).to_numpy())
    trench = Trench(*SECTION.values())
    whole = np.array([float(trench.capacity_m3(length)) for length in place.length_m])
    taken = (whole - place.capacity_m3.to_numpy()) / trench.area_m2
    assert np.all((taken > place.width_m) & (taken < place.pipe_length_m))


@pytest.mark.parametrize("crossing", ["causeway", "steep"])
def test_pipes_that_do_not_fit_side_by_side_on_the_base_are_told(
    planned: Planned, crossing: str
) -> None:
    layers = planned(crossing)
    told = layers("findings").query("code == 'pipe_may_block'").set_index("feature_id").message
    crossings = layers("crossings").query("kind == 'causeway'").set_index("crossing_id")
    wide = crossings.pipes.astype(float) * crossings.pipe_diameter_m > SECTION["base_width_m"]
    assert wide.any()
    assert not wide.all()
    says = told.loc[wide.index].str.contains("do not fit on a base of 1.5 m")
    assert says.tolist() == wide.tolist()


@pytest.mark.parametrize("crossing", ["auto", "causeway", "gap"])
def test_crossings_are_counted_and_each_has_its_caution(planned: Planned, crossing: str) -> None:
    layers = planned(crossing)
    crossings, counted = layers("crossings"), layers("quantities").set_index("item")
    for kind in ("ford", "causeway", "gap"):
        amount = counted.amount[f"track crossings, {kind}"]
        assert amount == (crossings.kind == kind).sum()
    pipe = (crossings.pipes.astype(float) * crossings.pipe_length_m).sum()
    assert counted.amount["pipe under causeways"] == pytest.approx(pipe)
    told = layers("findings").query("layer == 'crossings'")
    assert set(told.feature_id) == set(crossings.crossing_id)
    assert set(told.severity) == {"caution"}


def test_a_track_aslant_is_told_with_its_bearing_and_takes_more_of_the_lip(
    planned: Planned,
) -> None:
    """On a plane that falls to the south: lips run east and west, the track north-east."""
    layers = planned("aslant")
    place = layers("crossings")
    assert len(place) >= 1
    assert place.angle_deg.to_numpy() == pytest.approx(ASLANT_DEG, abs=1.5)
    assert place.bearing_deg.to_numpy() == pytest.approx(90.0 - ASLANT_DEG, abs=1e-6)
    sine = np.sin(np.radians(place.angle_deg))
    assert place.width_m.to_numpy() == pytest.approx(TRACK_M / np.sin(np.radians(25.0)), rel=0.03)
    # The fill's sides, 2 to 1 square to the track, reach further along the lip.
    above = (place.level_m - place.base_level_m).to_numpy()
    assert place.pipe_length_m.to_numpy() == pytest.approx(place.width_m + 4.0 * above / sine)
    told = layers("findings").query("code == 'crossing_aslant'")
    assert set(told.feature_id) == set(place.crossing_id)
    assert told.message.str.contains("crosses the lip at 2[3-7]°").all()
    square = planned("causeway")
    assert "crossing_aslant" not in set(square("findings").code)
    assert square("crossings").angle_deg.min() > 85.0
    # Along such a track the trench is longer, and so is what it takes to cross it.
    assert place.run_m.min() > square("crossings").run_m.max()


def test_a_gap_leaves_the_track_between_the_ends_of_two_swales(planned: Planned) -> None:
    layers = planned("gap")
    swales, crossings = layers("swales"), layers("crossings")
    assert set(crossings.kind) == {"gap"}
    assert 2 * len(crossings) == len(swales)
    assert set(crossings.swale_id) | set(crossings.other_swale_id) == set(swales.swale_id)
    west, east = TRACK_EASTING_M - TRACK_M / 2.0, TRACK_EASTING_M + TRACK_M / 2.0
    strip = shapely.box(west, CENTRE_NORTHING_M - 200.0, east, CENTRE_NORTHING_M + 200.0)
    assert not layers("swale_ground").intersects(strip).any()
    assert crossings.geometry.x.to_numpy() == pytest.approx(TRACK_EASTING_M, abs=0.01)


def test_a_crossing_at_the_end_of_a_lip_says_that_no_mound_finds_room_there(
    planned: Planned,
) -> None:
    """3 m is the shortest that a machine heaps; common practice, no source."""
    layers = planned("near ends")
    place = layers("crossings").merge(layers("swales"), on="swale_id", suffixes=("", "_swale"))
    beyond = np.minimum(place.chainage_m, place.length_m - place.chainage_m) - place.width_m / 2.0
    found = layers("findings").query("code == 'crossing_at_lip_end'").feature_id
    assert 0 < len(found) < len(place)
    assert set(found) == set(place.crossing_id[beyond < 3.0])
    assert "crossing_at_lip_end" not in set(planned("auto")("findings").code)


def test_without_tracks_there_is_no_crossing(plan_ground: PlanGround) -> None:
    planned = plan_ground("plane")
    assert len(planned.layer("crossings")) == 0
    counted: pd.DataFrame = planned.layer("quantities")
    assert counted[counted.item.str.contains("crossing|pipe")].amount.tolist() == [0.0] * 4


@pytest.mark.slow
def test_the_demonstration_has_a_crossing_wherever_its_track_meets_a_swale(tmp_path: Path) -> None:
    shutil.copytree(DEMO, tmp_path / "demo")
    out = tmp_path / "demo.gpkg"
    arguments = ["plan", "demo/demo.toml", "--out", out.name, "--quiet"]
    assert run_anew(tmp_path, arguments)[0] in (0, 3)
    crossings, swales = (
        pyogrio.read_dataframe(out, layer=name) for name in ("crossings", "swales")
    )
    way = pyogrio.read_dataframe(DEMO / "features.gpkg", layer="tracks").to_crs(swales.crs)
    track = way.geometry.union_all()
    met = swales[swales.intersects(track)].set_index("swale_id").geometry
    over = crossings[crossings.kind != "gap"]
    assert len(met) >= 3
    assert set(over.swale_id) == set(met.index)
    assert (over.geometry.distance(track) < 0.01).all()
    # Where it runs along a lip it meets it time and again: that is told, and is one crossing.
    told = pyogrio.read_dataframe(out, layer="findings", read_geometry=False)
    along = set(told[told.code == "track_along_swale"].feature_id)
    for swale_id, line in met.drop(list(along & set(met.index))).items():
        places = shapely.get_parts(shapely.intersection(shapely.force_2d(line), track))
        own = over[over.swale_id == swale_id]
        reach = own.width_m.max()
        assert all(own.geometry.distance(place).min() <= reach for place in places)
