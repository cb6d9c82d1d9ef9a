"""Volumes of the plan against the ground before and after, differenced cell by cell."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from rasterio.features import geometry_mask

from soakline.grid import Grid, GroundArray
from soakline.section.mound import MoundShape
from soakline.section.trench import Trench
from soakline.setout.finished import burn
from soakline.setout.plan import SetOutPlan
from soakline.setout.read import read_setout
from soakline.setout.swale import Beside, Sill, Swale
from tests.setout.conftest import CROSSINGS, NEAR_ENDS, TRACK_M, PlanFileOf, lean_of
from tests.terrain_analytic.ground import Height, plane

CELL_M = 0.1
# Fords reach further from the lip than anything else.
MARGIN_M = 25.0
PLANE = plane(8.0, 180.0)


def around(swale: Swale, crs_wkt: str) -> Grid:
    """A grid of 0.1 m cells around one swale."""
    west, south = np.floor(swale.lip.min(axis=0) - MARGIN_M)
    east, north = np.ceil(swale.lip.max(axis=0) + MARGIN_M)
    rows, columns = round((north - south) / CELL_M), round((east - west) / CELL_M)
    return Grid(rows, columns, float(west), float(north), CELL_M, crs_wkt)


def before_and_after(
    plan: SetOutPlan, swale: Swale, height: Height = PLANE
) -> tuple[Grid, GroundArray, GroundArray]:
    """The true ground round one swale, and the finished ground, over the swale's level."""
    grid = around(swale, plan.crs_wkt)
    row, column = np.meshgrid(np.arange(grid.rows), np.arange(grid.columns), indexing="ij")
    # Heights over the level are small, so that float32 loses nothing of them.
    ground = (height(*grid.easting_northing(row, column)) - swale.level_m).astype(np.float32)
    finished = ground.copy()
    sills = tuple(replace(own, level_m=own.level_m - swale.level_m) for own in swale.sills)
    low = replace(swale, level_m=0.0, sills=sills)
    burn(finished, ground, grid, replace(plan, swales=(low,)))
    return grid, ground, finished


def differences(plan: SetOutPlan, swale: Swale, height: Height = PLANE) -> tuple[float, float]:
    """Cut and fill of one swale on the true ground, m³."""
    _, ground, finished = before_and_after(plan, swale, height)
    change = (finished - ground).astype(np.float64) * CELL_M**2
    return -change[change < 0].sum(), change[change > 0].sum()


@pytest.mark.parametrize("crossing", ["", *CROSSINGS, *NEAR_ENDS])
def test_cut_and_fill_agree_with_the_finished_ground_to_2_percent(
    plan_file_with: PlanFileOf, crossing: str
) -> None:
    """What a causeway fills in the trench that is dug for its pipe shows as neither."""
    path = plan_file_with(crossing)
    plan = read_setout(path)
    earth, tracks = (
        pyogrio.read_dataframe(path, layer=name).set_index("swale_id")
        for name in ("earthworks", "crossings")
    )
    assert plan.swales
    for swale in plan.swales:
        own = earth.loc[swale.swale_id]
        refill = tracks.refill_m3[tracks.index == swale.swale_id].sum()
        cut, fill = differences(plan, swale)
        assert own.cut_m3 == swale.cut_m3
        dug = own.cut_m3 + own.cut_between_m3 + own.cut_track_m3 + own.cut_sill_m3
        assert cut == pytest.approx(dug - refill, rel=0.02)
        heaped = own.made_up_m3 + own.mound_m3 + own.returns_m3 + own.track_fill_m3
        assert fill == pytest.approx(heaped - refill, rel=0.02)


@pytest.mark.parametrize("crossing", ["", *CROSSINGS, *NEAR_ENDS])
def test_what_the_finished_ground_holds_on_ponded_ground_is_the_capacity(
    plan_file_with: PlanFileOf, crossing: str
) -> None:
    path = plan_file_with(crossing)
    plan = read_setout(path)
    swales, ground, catchments = (
        pyogrio.read_dataframe(path, layer=name)
        for name in ("swales", "swale_ground", "swale_catchments")
    )
    ponded = ground[ground.part == "ponded"].dissolve("swale_id").geometry
    areas = catchments.set_index("swale_id").ponded_m2
    for swale, capacity in zip(plan.swales, swales.capacity_m3, strict=True):
        grid, _, finished = before_and_after(plan, swale)
        wet = ~geometry_mask([ponded[swale.swale_id]], grid.shape, grid.transform)
        held = -finished[wet & (finished < 0.0)].sum(dtype=float) * CELL_M**2
        assert held == pytest.approx(capacity, rel=0.02)
        assert areas[swale.swale_id] == pytest.approx(ponded[swale.swale_id].area, rel=1e-9)


@pytest.mark.parametrize("crossing", ["", *CROSSINGS, *NEAR_ENDS])
def test_the_balance_of_each_swale_and_of_all_closes(
    plan_file_with: PlanFileOf, crossing: str
) -> None:
    path = plan_file_with(crossing)
    earth = pyogrio.read_dataframe(path, layer="earthworks")
    amount = pyogrio.read_dataframe(path, layer="quantities").set_index("item").amount
    ground = pyogrio.read_dataframe(path, layer="swale_ground")
    # Swell of 25 %, settlement of 10 %: method, the run file's defaults.
    dug = earth.cut_m3 + earth.cut_between_m3 + earth.cut_below_m3
    dug += earth.cut_track_m3 + earth.cut_sill_m3
    assert earth.spoil_m3.to_numpy() == pytest.approx(1.25 * 0.9 * dug.to_numpy())
    out = earth.made_up_m3 + earth.mound_m3 + earth.returns_m3 + earth.track_fill_m3
    out += earth.spread_m3 + earth.left_over_m3
    came = earth.spoil_m3 + earth.short_m3
    assert came.to_numpy() == pytest.approx(out.to_numpy(), rel=1e-6)
    assert amount["cut"] == pytest.approx(earth.cut_m3.sum())
    assert amount["spoil left over"] == pytest.approx(earth.left_over_m3.sum())
    assert amount["topsoil stripped"] == amount["topsoil spread back"]
    assert amount["topsoil stripped"] == pytest.approx(earth.topsoil_m3.sum())
    stripped = ground[ground.part != "berm"].groupby("swale_id").area_m2.sum()
    mound = ground[ground.part == "mound"].groupby("swale_id").area_m2.sum()
    assert earth.topsoil_m3.to_numpy() == pytest.approx(0.1 * stripped.to_numpy())
    back = earth.topsoil_back_m * mound.to_numpy()
    assert back.to_numpy() == pytest.approx(earth.topsoil_m3.to_numpy())


SHAPES = [
    (Trench(0.6, 1.2, 1.0), MoundShape(0.6, 2.0, 0.5), 1.5),
    (Trench(3.0, 0.3, 2.5), MoundShape(0.0, 3.0, 1.0), 1.0),
    (Trench(1.5, 0.5, 1.5), MoundShape(0.3, 1.5, 0.5), 2.5),
]


@pytest.mark.parametrize(("trench", "mound", "crest_m"), SHAPES)
def test_other_shapes_have_the_volumes_of_their_sections(
    plan: SetOutPlan, trench: Trench, mound: MoundShape, crest_m: float
) -> None:
    """Method 4: cut per metre for e = 0 is A + T² s / (2 (1 − s m)), less the battered ends."""
    # Ground falls to the south: uphill, on the left, is north of a line that runs east.
    lip = np.array([[600_000.0, 6_000_000.0], [600_060.0, 6_000_000.0]])
    level = float(PLANE(lip[:1, 0], lip[:1, 1])[0])
    m, top = trench.batter, trench.top_width_m
    daylight = top / (1.0 - 0.08 * m)
    pegs = np.array([0.0, 60.0])
    ground = [shapely.box(599_990.0, 5_999_960.0, 600_070.0, 6_000_000.0)]
    ground.append(shapely.box(600_000.0, 6_000_000.0, 600_060.0, 6_000_040.0))
    swale = replace(
        plan.swales[0],
        lip=lip,
        level_m=level,
        sill_level_m=level,
        trench=trench,
        slope=0.08,
        mound=mound,
        crest_height_m=0.3,
        crest_width_m=crest_m,
        head_m=0.1,
        sills=tuple(Sill(a, b, level, 0.6, 1.0, "grass") for a, b in ((0.0, 6.0), (30.0, 34.0))),
        mound_ground=ground[0].buffer(10.0),
        dug_ground=ground[1],
        chainage_m=pegs,
        ground_m=pegs * 0.0 + level,
        beside=Beside(
            pegs * 0.0, *(pegs * 0.0 + v for v in (daylight, 0.08 * daylight, 0.08, 0.08))
        ),
    )
    cut, fill = differences(plan, swale)
    per_metre = trench.area_m2 + top**2 * 0.08 / (2 * (1 - 0.08 * m))
    ends = trench.area_m2 * 60.0 - float(trench.capacity_m3(60.0))
    assert cut == pytest.approx(per_metre * (60.0 - ends / trench.area_m2), rel=0.02)
    # The mound by its corners (shoelace), on ground that falls at 8 %.
    start = -0.08 * mound.berm_m
    rise = mound.batter * (0.3 - start)
    end = mound.berm_m + rise + crest_m
    toe = (mound.batter * 0.3 + end) / (1 - 0.08 * mound.batter)
    x = np.array([mound.berm_m, mound.berm_m + rise, end, toe])
    y = np.array([start, 0.3, 0.3, -0.08 * toe])
    area = abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2.0
    # One end is a sill; round the other the mound turns uphill.
    (turned,) = swale.ends().values()
    assert fill == pytest.approx(area * 50.0 + float(turned.volume_m3(mound)[0]), rel=0.02)


def test_sills_of_spread_spoil_are_cut_until_the_ground_lies_under_them(plan: SetOutPlan) -> None:
    """0.1 m under the lip on 8 %: 1.25 m downhill, 0.1² / (2 · 0.08) m² per metre of sill."""
    first = plan.swales[0]
    level, at = first.level_m - 0.1, first.length_m / 2.0
    sill = Sill(at - 10.0, at + 10.0, level, 0.6, 1.0, "grass")
    flat = Beside(0.0 * first.ground_m, *(getattr(first.beside, own) for own in (
        "daylight_m", "daylight_above_m", "rise", "fall")))  # fmt: skip
    spread = replace(
        first, crest_height_m=0.0, crest_width_m=0.0, sills=(sill,), sill_level_m=level, beside=flat
    )
    without = replace(spread, sills=())
    cut, _ = differences(plan, spread)
    uncut, _ = differences(plan, without)
    above = first.beside.above_m[0] + 0.1
    assert cut - uncut == pytest.approx(20.0 * above**2 / (2.0 * 0.08), rel=0.1)


def test_nothing_is_changed_where_a_track_passes_between_two_swales(
    plan_file_with: PlanFileOf,
) -> None:
    path = plan_file_with("gap")
    plan = read_setout(path)
    place: pd.Series = pyogrio.read_dataframe(path, layer="crossings").iloc[0]
    for swale in plan.swales:
        grid, ground, finished = before_and_after(plan, swale)
        row, column = np.nonzero(finished != ground)
        east, _ = grid.easting_northing(row, column)
        assert np.abs(east - place.geometry.x).min() > 2.0


@pytest.mark.parametrize("crossing", ["ford at 60", "causeway at 30"])
def test_mounds_end_along_a_track_that_is_aslant(plan_file_with: PlanFileOf, crossing: str) -> None:
    """Between its edges, drawn straight on, no mound lies; right beside them it does."""
    path = plan_file_with(crossing)
    ground = pyogrio.read_dataframe(path, layer="swale_ground")
    mounds = ground[ground.part == "mound"].dissolve("swale_id").geometry
    tracks = pyogrio.read_dataframe(path, layer="crossings").set_index("swale_id")
    lean = lean_of(crossing)
    crossed = [swale for swale in read_setout(path).swales if swale.swale_id in tracks.index]
    assert len(crossed) >= 2
    for swale in crossed:
        own, mound = tracks.loc[swale.swale_id], mounds[swale.swale_id]
        north = swale.lip[0, 1]
        down = np.array([-0.3, -2.0])
        beside = TRACK_M / 2.0 * np.hypot(1.0, lean)
        for aside, covered in ((0.0, 0), (0.97, 0), (1.03, 2)):
            east = own.geometry.x + lean * down + aside * beside * np.array([[-1.0], [1.0]])
            places = shapely.points(east, np.broadcast_to(north + down, east.shape))
            assert (shapely.intersects(mound, places).sum(axis=0) == covered).all()
