"""Volumes along the pegs, and the ground that the works take in plan."""

from dataclasses import dataclass, fields, replace

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.grid import FloatArray
from soakline.section.aslant import no_tracks
from soakline.section.earthworks import Earthworks, OtherEarth, earthworks, end_batter_m3
from soakline.section.footprint import Footprint, dug_ground, footprint
from soakline.section.mound import MoundShape, MoundShapes, section_area_m2
from soakline.section.mounds import Mounds
from soakline.section.pegs import Pegs, set_pegs
from soakline.section.stations import LipStations
from soakline.section.stretches import stretches
from soakline.section.strips import empty_areas, strips
from soakline.section.trench import Trench, cut_area_m2, trenches_of
from soakline.section.works import GroundWorks, clear_of_others
from soakline.terrain.cells import GeometryArray
from tests.section.lips import curved, no_other, straight, uphill_m
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_NORTHING_M,
    ODD_ANGLE_DEG,
    cone,
    plane,
    sample,
)

TRENCH = Trench(1.5, 0.5, 1.5)
MOUND = MoundShape(0.0, 2.0, 0.5)
LOW_FACE = np.array([0.5])
# Volumes by slices of an eighth of a metre against closed forms.
SLICED = 1e-3


@dataclass(frozen=True)
class Dug:
    """Volumes of one swale in plain numbers, as `Earthworks` names them."""

    cut_m3: float
    between_m3: float
    below_m3: float
    track_cut_m3: float
    sill_cut_m3: float
    fill_m3: float
    spoil_m3: float
    made_up_m3: float
    mound_m3: float
    returns_m3: float
    track_fill_m3: float
    spread_m3: float
    short_m3: float
    surplus_m3: float
    crest_width_m: float
    face_height_m: float
    wedge_m2: float


def dug(
    stations: LipStations,
    trench: Trench,
    height_m: float,
    mounded_m: float,
    least_m: float,
    other: OtherEarth | None = None,
) -> Dug:
    """Works whose mound begins at the lip's start, and ends at a sill where it is shorter."""
    length = stations.at.length_m
    sills = [(mounded_m, float(length[0]))] if mounded_m < length[0] else []
    mounds = Mounds(MOUND.off_faces(LOW_FACE), np.array([height_m]), np.zeros(1), np.array([0.1]))
    done = earthworks(
        stations, stations, trenches_of([trench]), mounds, stretches(length, [sills]), no_tracks(),
        np.array([least_m]), 1.125, other or no_other(1),
    )  # fmt: skip
    return Dug(*(float(getattr(done, field.name)[0]) for field in fields(Earthworks)))


@dataclass(frozen=True)
class Plan:
    """Footprint of one swale."""

    ponded: BaseGeometry
    cut_slope: BaseGeometry
    berm: BaseGeometry
    mound: BaseGeometry


def works_plan(
    stations: LipStations,
    berm_m: float = 0.0,
    height_m: float = 0.25,
    crest_m: float = 1.2,
    shore_m: float = 0.0,
) -> Plan:
    mounds = Mounds(
        MoundShape(berm_m, 2.0, 0.5).off_faces(LOW_FACE),
        np.array([height_m]),
        np.array([crest_m]),
        np.array([0.1]),
    )
    along = stretches(stations.at.length_m, [[(0.0, 4.0)]])
    drawn = footprint(
        stations,
        trenches_of([TRENCH]),
        np.array([shore_m]),
        along,
        mounds,
        empty_areas(1),
        no_tracks(),
    )
    return Plan(drawn.ponded[0], drawn.cut_slope[0], drawn.berm[0], drawn.mound[0])


def test_cut_is_the_section_along_the_lip_less_its_battered_ends() -> None:
    stations = straight(100.0)
    done = dug(stations, TRENCH, 0.25, 90.0, 80.0)
    area = float(cut_area_m2(TRENCH, np.zeros(1), np.array([0.08]))[0])
    # Ends: the prism holds A L − (what stands under two battered ends); the wedge in proportion.
    kept = (TRENCH.area_m2 * 100.0 - float(TRENCH.capacity_m3(100.0))) * area / TRENCH.area_m2
    assert done.cut_m3 == pytest.approx(100.0 * area - kept)
    assert done.fill_m3 == pytest.approx(1.125 * done.cut_m3)
    assert done.wedge_m2 == pytest.approx(area - TRENCH.area_m2)


def test_ground_left_under_the_ends_is_that_of_the_sliced_trench() -> None:
    """Level ground: what the two end batters leave standing, slice by slice along the lip."""
    along = (np.arange(40_000) + 0.5) / 40_000 * 50.0
    edge = np.minimum(along, 50.0 - along)
    depth = np.minimum(edge / TRENCH.batter, TRENCH.depth_m)
    dug = TRENCH.area_m2 - (TRENCH.depth_m - depth) * (
        TRENCH.base_width_m + TRENCH.batter * (TRENCH.depth_m - depth)
    )
    left = (TRENCH.area_m2 - dug).mean() * 50.0
    full = np.array([TRENCH.area_m2])
    assert end_batter_m3(trenches_of([TRENCH]), full, full) == pytest.approx(left, rel=1e-3)


def test_the_mound_holds_the_spoil() -> None:
    done = dug(straight(100.0), TRENCH, 0.25, 90.0, 80.0)
    args = [np.array(x) for x in (0.25, done.crest_width_m, 0.0, 0.08)]
    heaped = float(section_area_m2(MOUND, *args)) * 90.0
    assert heaped == pytest.approx(done.mound_m3, rel=SLICED)
    assert heaped + done.returns_m3 == pytest.approx(done.fill_m3, rel=SLICED)
    assert done.short_m3 == 0.0
    assert done.surplus_m3 == pytest.approx(0.0, abs=1e-6)


def test_short_spoil_is_told_in_cubic_metres() -> None:
    shallow = Trench(0.4, 0.15, 1.0)
    done = dug(straight(100.0, 0.01), shallow, 0.6, 100.0, 80.0)
    args = [np.array(x) for x in (0.6, 0.5, 0.0, 0.01)]
    least = float(section_area_m2(MOUND, *args)) * 100.0
    assert done.crest_width_m == 0.5
    assert done.short_m3 == pytest.approx(least + done.returns_m3 - done.fill_m3, rel=SLICED)
    assert done.short_m3 > 0.0


def heaped_m2(crest_width_m: float, above_m: float, fall: float, height_m: float = 0.25) -> float:
    args = [np.array(x) for x in (height_m, crest_width_m, above_m, fall)]
    return float(section_area_m2(MOUND, *args))


def test_low_spots_are_made_up_out_of_the_spoil() -> None:
    """2 cm under the least crest of 0.5 m, for 100 m: 1 m³ that the mound lacks."""
    low = dug(straight(100.0, above_m=-0.02), TRENCH, 0.25, 90.0, 80.0)
    heaped = 90.0 * heaped_m2(low.crest_width_m, -0.02, 0.08)
    assert heaped == pytest.approx(low.fill_m3 - 1.0 - low.returns_m3, rel=SLICED)
    shallow = Trench(0.4, 0.15, 1.0)
    short = dug(straight(100.0, 0.01, -0.02), shallow, 0.6, 100.0, 80.0)
    least = 100.0 * heaped_m2(0.5, -0.02, 0.01, 0.6)
    lacking = least + short.returns_m3 - (short.fill_m3 - 1.0)
    assert short.short_m3 == pytest.approx(lacking, rel=SLICED)


def test_spoil_beyond_the_room_kept_for_the_mound_is_left_over() -> None:
    """Room was kept for 80 m of mound and sills leave 40: half of the spoil is over."""
    done = dug(straight(100.0), TRENCH, 0.25, 40.0, 80.0)
    free = done.fill_m3 - done.returns_m3
    assert done.surplus_m3 == pytest.approx(free / 2.0, rel=1e-6)
    heaped = 40.0 * heaped_m2(done.crest_width_m, 0.0, 0.08)
    assert heaped == pytest.approx(free / 2.0, rel=SLICED)


def test_inside_a_tight_bend_the_mound_keeps_to_the_room_that_a_straight_lip_has() -> None:
    """Round the head of a hollow: each metre of crest would find ever less ground."""
    bent = curved(9.0, inward=False, turn=0.45)
    length = float(bent.at.length_m[0])
    done = dug(bent, TRENCH, 0.25, length, 0.8 * length)
    roomy = heaped_m2(done.crest_width_m, 0.0, 0.08)
    assert 0.8 * length * roomy <= done.fill_m3 * (1.0 + 1e-9)
    assert done.surplus_m3 > 0.0
    out = done.mound_m3 + done.returns_m3 + done.surplus_m3
    assert done.spoil_m3 == pytest.approx(out, abs=1e-6)


def test_trench_meets_the_slope_above_and_mound_the_slope_below() -> None:
    below = uphill_m(np.zeros(21), np.full(21, -0.03))
    below_gentler = replace(straight(100.0, 0.08), fall=np.full(21, 0.03), downhill_m=below)
    done = dug(below_gentler, TRENCH, 0.25, 90.0, 80.0)
    even = dug(straight(100.0, 0.08), TRENCH, 0.25, 90.0, 80.0)
    assert done.cut_m3 == even.cut_m3
    assert done.face_height_m == even.face_height_m
    heaped = 90.0 * heaped_m2(done.crest_width_m, 0.0, 0.03)
    assert heaped + done.returns_m3 == pytest.approx(done.fill_m3, rel=SLICED)


@pytest.mark.parametrize("height_m", [0.0, 0.25, 0.6])
@pytest.mark.parametrize("mounded_m", [100.0, 60.0])
@pytest.mark.parametrize("fill_m3", [0.0, 30.0])
def test_spoil_in_is_spoil_out(height_m: float, mounded_m: float, fill_m3: float) -> None:
    """With low spots on the lip, a layer dug out below the base, and a track."""
    other = OtherEarth(*(np.array([v]) for v in (12.0, fill_m3, 15.0, 3.0)))
    for trench in (TRENCH, Trench(0.4, 0.15, 1.0)):
        done = dug(straight(100.0, 0.05, -0.02), trench, height_m, mounded_m, 80.0, other)
        assert done.spoil_m3 == pytest.approx(1.125 * (done.cut_m3 + 12.0 + 15.0 + 3.0))
        out = done.made_up_m3 + done.mound_m3 + done.returns_m3 + done.track_fill_m3
        out += done.spread_m3 + done.surplus_m3
        assert done.spoil_m3 + done.short_m3 == pytest.approx(out, abs=1e-4)
        assert min(done.short_m3, done.surplus_m3) == 0.0


def test_a_lip_far_under_its_level_lacks_spoil_also_where_it_is_spread() -> None:
    """Made up by 1 m over 0.5 m for 100 m: 50 m³, of which a small trench yields not half."""
    low = dug(straight(100.0, 0.01, -1.0), Trench(0.4, 0.15, 1.0), 0.0, 100.0, 80.0)
    assert low.spread_m3 == 0.0
    assert low.short_m3 == pytest.approx(50.0 - low.spoil_m3)


def test_spoil_from_elsewhere_widens_no_crest_and_makes_good_what_is_short() -> None:
    plenty = replace(no_other(1), below_m3=np.array([50.0]))
    with_more = dug(straight(100.0), TRENCH, 0.25, 90.0, 80.0, plenty)
    alone = dug(straight(100.0), TRENCH, 0.25, 90.0, 80.0)
    # The ends are then heaped with it, and no more.
    assert with_more.mound_m3 == pytest.approx(alone.mound_m3 + alone.returns_m3, rel=1e-3)
    short = dug(straight(100.0, 0.01), Trench(0.4, 0.15, 1.0), 0.6, 100.0, 80.0)
    made_good = dug(straight(100.0, 0.01), Trench(0.4, 0.15, 1.0), 0.6, 100.0, 80.0, plenty)
    assert made_good.short_m3 == pytest.approx(max(0.0, short.short_m3 - 50.0 * 1.125))


def test_along_uneven_ground_the_highest_face_and_the_mean_wedge_are_told() -> None:
    """Slope rises evenly from 4 % to 12 %: faces d + s T / (1 − s m)."""
    slope = np.linspace(0.04, 0.12, 21)
    done = dug(
        replace(straight(100.0), uphill_m=uphill_m(np.zeros(21), slope)), TRENCH, 0.25, 90.0, 80.0
    )
    width = TRENCH.top_width_m
    assert done.face_height_m == pytest.approx(0.5 + 0.12 * width / (1.0 - 0.12 * 1.5))
    wedge = width**2 * slope / (2.0 * (1.0 - slope * 1.5))
    assert done.wedge_m2 == pytest.approx(np.trapezoid(wedge, dx=5.0) / 100.0)


def test_each_end_leaves_ground_by_its_own_section() -> None:
    one, two, three = (np.array([times * TRENCH.area_m2]) for times in (1.0, 2.0, 3.0))
    trench = trenches_of([TRENCH])
    assert end_batter_m3(trench, one, three) == pytest.approx(end_batter_m3(trench, two, two))


@pytest.mark.parametrize(
    "stations",
    [straight(100.0), curved(30.0, inward=True), curved(30.0, inward=False), curved(7.0, True)],
    ids=["straight", "round a knoll", "round a hollow", "tight bend"],
)
@pytest.mark.parametrize("berm_m", [0.0, 0.6])
def test_parts_do_not_overlap_and_lie_on_their_own_side(
    stations: LipStations, berm_m: float
) -> None:
    plan = works_plan(stations, berm_m)
    parts = [plan.ponded, plan.cut_slope, plan.berm, plan.mound]
    assert all(part.is_valid for part in parts)
    assert shapely.union_all(parts).area == pytest.approx(
        sum(part.area for part in parts), abs=1e-6
    )
    assert plan.ponded.area > 0.0
    lip = shapely.LineString(np.column_stack([stations.easting_m, stations.northing_m]))
    # The ponded water begins on the lip; the mound is on the other side of it.
    assert shapely.distance(plan.ponded, lip) < 1e-9
    inner = shapely.Point(stations.beside(1.0)[stations.rise.size // 2])
    outer = shapely.Point(stations.beside(-1.0 - berm_m)[stations.rise.size // 2])
    assert plan.ponded.covers(inner)
    assert plan.mound.covers(outer)


def test_areas_of_a_straight_footprint() -> None:
    """Ponded L T; cut slope L (x − T) with x = T / (1 − s m); the mound stops at the sill."""
    plan = works_plan(straight(100.0))
    width = TRENCH.top_width_m
    assert plan.ponded.area == pytest.approx(100.0 * width)
    assert plan.cut_slope.area == pytest.approx(100.0 * (width / (1.0 - 0.08 * 1.5) - width))
    assert plan.berm.is_empty
    # An end that is a sill has no mound round it, the other one has.
    assert plan.mound.bounds[0] == pytest.approx(4.0)
    assert plan.mound.bounds[2] > 100.0


def test_the_mound_turns_uphill_at_the_end_for_the_head_over_the_slope() -> None:
    """0.10 m of head on 8 % of slope: until 1.25 m uphill of the lip, at most 6 m."""
    plan = works_plan(straight(100.0))
    assert plan.mound.bounds[3] == pytest.approx(0.10 / 0.08)
    gentle = works_plan(straight(100.0, slope=0.005))
    assert gentle.mound.bounds[3] == pytest.approx(6.0)


def test_spread_spoil_has_no_mound() -> None:
    assert works_plan(straight(50.0), height_m=0.0, crest_m=0.0).mound.is_empty


def test_water_below_the_lip_leaves_both_faces_dry() -> None:
    """A sill 0.10 m lower, batter 1.5: 0.15 m of face on either side; what is dug is the same."""
    lower, full = (works_plan(straight(100.0), shore_m=shore) for shore in (0.15, 0.0))
    assert lower.ponded.area == pytest.approx(100.0 * (TRENCH.top_width_m - 0.30))
    assert shapely.intersection(lower.ponded, lower.cut_slope).area == pytest.approx(0.0, abs=1e-9)
    dug = [shapely.union(plan.ponded, plan.cut_slope) for plan in (lower, full)]
    assert shapely.symmetric_difference(*dug).area == pytest.approx(0.0, abs=1e-6)


def test_a_strip_round_a_tight_bend_is_one_valid_area() -> None:
    stations = curved(2.0, inward=True)
    assert shapely.is_valid(strips(stations, np.zeros(40), np.full(40, 3.5))).all()


def lip_on(form, radius_or_length: float) -> tuple[FloatArray, np.ndarray, object]:  # type: ignore[no-untyped-def]
    dem, grid = sample(form, width_m=200.0)
    half = radius_or_length / 2.0
    angle = np.radians(ODD_ANGLE_DEG)
    along = np.array([np.cos(angle), np.sin(angle)])
    centre = np.array([CENTRE_EASTING_M, CENTRE_NORTHING_M])
    return np.array([centre - half * along, centre + half * along]), dem, grid


def pegs_of(line, level_m, sill_m, dem, grid) -> Pegs:  # type: ignore[no-untyped-def]
    return set_pegs([line], np.array([level_m]), [sill_m], 3.0, 9.0, 0.0, dem, grid)


def test_pegs_stand_at_ends_bends_and_sills_and_every_10_m() -> None:
    line, dem, grid = lip_on(plane(8.0, 180.0 - ODD_ANGLE_DEG), 47.0)
    bent = np.vstack([line[0], line.mean(axis=0) + 0.05, line[1]])
    pegs = pegs_of(bent, 400.0, [3.0], dem, grid)  # type: ignore[arg-type]
    kind = pegs.kind.tolist()
    assert kind[0] == "start"
    assert kind[-1] == "end"
    assert kind.count("sill") == 1
    assert kind.count("bend") == 1
    along, line_pegs = pegs.stations.at.along_m, pegs.kind == "line"
    assert np.diff(along).max() <= 10.0
    # 23.5 m to the bend and from it to the end: whole metres fit at 10 m at most between.
    assert line_pegs.any()
    assert (along[line_pegs] % 1.0 == 0.0).all()


def test_no_peg_is_added_for_whole_metres() -> None:
    """19.9 m from 0.5 m on are two gaps; three it would take with a peg at a whole metre."""
    line, dem, grid = lip_on(plane(8.0, 180.0 - ODD_ANGLE_DEG), 20.4)
    pegs = pegs_of(line, 400.0, [0.5], dem, grid)  # type: ignore[arg-type]
    assert pegs.stations.at.along_m == pytest.approx([0.0, 0.5, 10.45, 20.4])


def test_cross_slope_at_a_peg_is_the_plane_s() -> None:
    line, dem, grid = lip_on(plane(8.0, 180.0 - ODD_ANGLE_DEG), 60.0)
    pegs = pegs_of(line, 400.0, [], dem, grid)  # type: ignore[arg-type]
    assert pegs.stations.slope == pytest.approx(0.08, abs=1e-4)
    assert pegs.stations.ground_above_m == pytest.approx(0.0, abs=1e-3)


def test_trench_and_mound_each_meet_the_slope_of_their_own_side() -> None:
    line, dem, grid = lip_on(plane(8.0, 180.0 - ODD_ANGLE_DEG), 60.0)
    side = pegs_of(line, 400.0, [], dem, grid).stations  # type: ignore[arg-type]
    easting, northing = grid.easting_northing(*np.indices(dem.shape))
    uphill_m = (easting - side.easting_m[0]) * side.left_east[0]
    uphill_m += (northing - side.northing_m[0]) * side.left_north[0]
    steeper_above = (dem + 0.04 * np.maximum(uphill_m, 0.0)).astype(np.float32)
    pegs = pegs_of(line, 400.0, [], steeper_above, grid)  # type: ignore[arg-type]
    assert pegs.stations.rise == pytest.approx(0.12, abs=3e-3)
    assert pegs.stations.fall == pytest.approx(0.08, abs=3e-3)


def test_ground_of_a_peg_is_bilinear() -> None:
    dem, grid = sample(cone(10.0), width_m=200.0)
    line = np.array([[CENTRE_EASTING_M - 20.3, CENTRE_NORTHING_M + 50.1]] * 2)
    line[1, 0] += 40.0
    pegs = pegs_of(line, 394.0, [], dem, grid)
    radius = np.hypot(
        pegs.stations.easting_m - CENTRE_EASTING_M, pegs.stations.northing_m - CENTRE_NORTHING_M
    )
    assert pegs.ground_m == pytest.approx(400.0 - 0.1 * radius, abs=2e-3)


def test_a_peg_steeper_than_can_be_cut_stops_nothing() -> None:
    """On a bridged step, or where a peg looks further than a cell: drawn at the limit."""
    assert (
        dug_ground(straight(50.0, slope=0.5), trenches_of([TRENCH]))[0].area
        > 50.0 * TRENCH.top_width_m
    )


def areas(*shapes: BaseGeometry) -> GeometryArray:
    return np.array(shapes, dtype=object)


def test_a_mound_that_gives_way_is_cut_back_where_another_swale_lies() -> None:
    """Of two on each other both give way only where both are to."""
    nothing = shapely.Polygon()
    trench = shapely.box(0.0, 6.0, 50.0, 9.0)
    below, lower = shapely.box(0.0, 0.0, 50.0, 6.0), shapely.box(0.0, -4.0, 50.0, 1.0)
    works = GroundWorks(
        None,  # type: ignore[arg-type] - no volume takes part
        Footprint(
            areas(trench, lower, nothing),
            areas(nothing, nothing, nothing),
            areas(nothing, nothing, nothing),
            areas(below, shapely.box(0.0, -9.0, 50.0, -4.0), shapely.box(40.0, 5.0, 60.0, 7.0)),
        ),
        MoundShapes(np.array([0.6, 0.0, 0.0]), 2.0, 0.5),
    )
    nowhere, all_of_them = (areas(), np.empty(0, dtype=int)), np.ones(3, dtype=bool)
    cleared = clear_of_others(works, all_of_them, *nowhere)
    done = cleared.footprint
    assert shapely.distance(done.mound[0], lower) == pytest.approx(0.01, abs=1e-6)
    assert done.mound[0].area == pytest.approx(50.0 * 5.0 - 10.0 * 1.0, abs=0.7)
    assert done.mound[1] == works.footprint.mound[1]
    assert shapely.distance(done.mound[2], trench) == pytest.approx(0.01, abs=1e-6)
    assert done.mound[2].area == pytest.approx(2.0 * 10.0, abs=0.1)
    assert clear_of_others(cleared, all_of_them, *nowhere) is cleared
    assert clear_of_others(works, ~all_of_them, *nowhere) is works
    first = clear_of_others(works, np.array([True, False, False]), *nowhere).footprint.mound
    assert first[0] == done.mound[0]
    assert first[1:].tolist() == works.footprint.mound[1:].tolist()
    # A basin of its own is where it may be, another swale's is kept clear of.
    basin = areas(shapely.box(0.0, 2.0, 4.0, 4.0))
    own, other = (
        clear_of_others(works, all_of_them, basin, np.array([swale])).footprint.mound[0].area
        for swale in (0, 2)
    )
    assert own == done.mound[0].area
    assert own - other == pytest.approx(4.0 * 2.0, abs=0.2)
