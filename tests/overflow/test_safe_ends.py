"""Where spilled water may end: edges, dams, hollows, given points, from whole small plans."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from soakline.terrain.cells import burn
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_NORTHING_M,
    Height,
    hollow,
    plane,
    sample,
    v_valley,
)
from tests.terrain_analytic.run_folder import write_run

SIZE_M = 240.0


def place(east_m: float, north_m: float) -> shapely.Point:
    return shapely.Point(CENTRE_EASTING_M + east_m, CENTRE_NORTHING_M + north_m)


class Outcome:
    """Layers of a small plan on a slope falling south."""

    def __init__(
        self,
        folder: Path,
        form: Height,
        features: dict[str, gpd.GeoDataFrame],
        *,
        boundary: shapely.Polygon | None = None,
        clipped: bool = False,
        **run: object,
    ) -> None:
        dem, grid = sample(form, width_m=SIZE_M)
        if boundary is not None and clipped:
            dem[~burn(np.array([boundary], dtype=object), grid)] = np.nan
        file = write_run(folder, dem, grid, boundary=boundary, features=features, run=run)
        self.outcome = make_plan(load_run_file(file), folder / "plan.gpkg", Progress())

    def layer(self, name: str) -> pd.DataFrame:
        return pyogrio.read_dataframe(self.outcome.path, layer=name)

    @property
    def stops(self) -> pd.DataFrame:
        findings = self.layer("findings")
        return findings[findings.code == "no_safe_end"]

    @property
    def stopped(self) -> set[str]:
        return set(self.stops.feature_id)

    def codes(self, severity: str) -> set[str]:
        findings = self.layer("findings")
        return set(findings.code[findings.severity == severity])


def frame(shape: shapely.Geometry, **values: object) -> gpd.GeoDataFrame:
    columns = {"name": ["it"], **{name: [value] for name, value in values.items()}}
    return gpd.GeoDataFrame(columns, geometry=[shape], crs=32755)


def across(south_m: float) -> shapely.Polygon:
    """A band right across the property, from a line down to its southern edge."""
    west, top = place(-110.0, south_m).coords[0]
    east, low = place(110.0, south_m - 12.0).coords[0]
    return shapely.box(west, low, east, top)


def test_water_over_the_property_s_edge_is_a_stop_for_the_whole_chain(tmp_path: Path) -> None:
    plan = Outcome(tmp_path, plane(8.0), {}, spacing={"mature_tree_height_m": 4.0})
    assert plan.stopped == set(plan.layer("swales").swale_id)
    assert plan.outcome.stops >= len(plan.stopped) > 1


@pytest.mark.parametrize("clipped", [False, True], ids=["whole model", "clipped"])
def test_the_edge_is_the_property_s_where_the_elevation_model_ends_there(
    tmp_path: Path, clipped: bool
) -> None:
    """No cell of the model lies beyond the edge: a consent holds there, and its lack is told."""
    half = SIZE_M / 2.0
    corners = [(-half, -half), (half, -half), (half, half), (-half, half)]
    if clipped:
        corners[1] = (half, -half + 40.0)
    ground = shapely.Polygon([place(*corner) for corner in corners])
    asked = {"allow_property_edge": True, "neighbour_consent": "in writing"}
    plan = Outcome(
        tmp_path / "agreed", plane(8.0), {}, boundary=ground, clipped=clipped, overflow=asked
    )
    leaving = plan.layer("overflow_routes").query("to_kind == 'property_edge'")
    assert len(leaving) > 0
    assert plan.stopped == set()
    assert "leaves_property" in plan.codes("caution")
    alone = Outcome(tmp_path / "alone", plane(8.0), {}, boundary=ground, clipped=clipped)
    lowest = alone.layer("swales").sort_values("level_m").swale_id.iloc[0]
    (why,) = alone.stops.message[alone.stops.feature_id == lowest]
    assert "leaves over the property's edge" in why


@pytest.mark.parametrize(
    ("accepts_m3", "spillway", "severity"),
    [(0.0, True, None), (1e6, False, None), (1.0, False, "caution")],
    ids=["spillway", "room enough", "too little room"],
)
def test_a_dam_is_a_safe_end_and_cautioned_when_it_has_no_room(
    tmp_path: Path, accepts_m3: float, spillway: bool, severity: str | None
) -> None:
    dam = frame(across(-70.0), spillway=spillway, accepts_m3=accepts_m3)
    plan = Outcome(tmp_path, plane(8.0), {"dams": dam})
    routes = plan.layer("overflow_routes")
    assert "dam" in set(routes.to_kind)
    assert plan.stopped == set()
    dam_findings = {code for code in plan.codes("caution") if "dam" in code}
    assert bool(dam_findings) == (severity == "caution")
    # On its rim where the route enters.
    points = plan.layer("safe_points")
    assert set(points.kind) == {"dam"}
    assert shapely.distance(points.geometry[0], across(-70.0).exterior) < 1.0


def test_a_given_safe_point_ends_the_chain(tmp_path: Path) -> None:
    gully = frame(across(-93.0), kind="gully", accepts_m3=None)
    plan = Outcome(tmp_path, plane(8.0), {"safe_points": gully})
    assert plan.stopped == set()
    assert "safe_point" in set(plan.layer("overflow_routes").to_kind)
    points = plan.layer("safe_points")
    assert set(points.source) == {"given"}
    # An area is met on its rim: there its point stands.
    last = shapely.get_point(
        plan.layer("overflow_routes").query("to_kind == 'safe_point'").geometry.array, -1
    )
    assert shapely.distance(last, points.geometry[0]).min() <= 1.0


def test_a_drainage_line_that_leaves_with_the_elevation_model_has_its_outlet_on_the_edge(
    tmp_path: Path,
) -> None:
    half = SIZE_M / 2.0
    ground = shapely.box(*place(-half, -half).coords[0], *place(half, half).coords[0])
    plan = Outcome(
        tmp_path,
        v_valley(8.0, 3.0),
        {},
        boundary=ground,
        terrain={"drainage_area_ha": 0.5},
        spacing={"mature_tree_height_m": 3.0},
    )
    assert "drainage_line" in set(plan.layer("overflow_routes").to_kind)
    points = plan.layer("safe_points")
    outlets = points[points.kind == "outlet"]
    assert len(outlets) > 0
    assert shapely.distance(ground.exterior, outlets.geometry.array).max() < 1e-6
    assert plan.stopped == set()


def pond(depth_m: float) -> Height:
    """A kept hollow low on the slope, in the way of the middle of every lip above it."""
    return hollow(plane(3.0), depth_m, 45.0, 0.0, -55.0)


def test_a_hollow_with_room_takes_a_route_and_one_too_small_does_not_end_it(
    tmp_path: Path,
) -> None:
    """Half its volume must take its own catchment's runoff and all that is spilled into it."""
    tree = {"mature_tree_height_m": 3.0}
    large = Outcome(tmp_path / "large", pond(9.0), {}, spacing=tree)
    into = large.layer("overflow_routes")
    into = into[into.to_kind == "hollow"]
    assert len(into) > 0
    assert not set(into.swale_id) & large.stopped
    small = Outcome(tmp_path / "small", pond(2.4), {}, spacing=tree)
    assert small.layer("hollows").treatment.tolist() == ["kept"]
    routes = small.layer("overflow_routes")
    still = set(routes.swale_id[routes.to_kind == "hollow"])
    # What a hollow too small passes on leaves over the edge here: no safe end.
    assert still <= small.stopped


def test_a_hollow_too_small_passes_water_on_over_an_edge_that_is_consented_to(
    tmp_path: Path,
) -> None:
    asked = {"allow_property_edge": True, "neighbour_consent": "in writing"}
    tree = {"mature_tree_height_m": 3.0}
    plan = Outcome(tmp_path, pond(2.4), {}, spacing=tree, overflow=asked)
    assert "hollow" in set(plan.layer("overflow_routes").to_kind)
    assert plan.stopped == set()
    findings = plan.layer("findings")
    (told,) = findings.message[findings.code == "hollow_overflows"]
    assert "over the property's edge, with consent" in told


def test_no_way_leads_through_ground_that_water_must_keep_off(tmp_path: Path) -> None:
    """Excluded ground limits where swales stand; only some of it limits where water runs."""
    house = shapely.box(*place(0.0, -20.0).buffer(6.0).bounds)
    wood = place(-60.0, -10.0).buffer(12.0)
    plan = Outcome(
        tmp_path,
        plane(8.0),
        {"buildings": frame(house), "protected": frame(wood)},
    )
    routes = plan.layer("overflow_routes")
    assert len(routes) > 0
    assert shapely.distance(routes.geometry.array, house).min() >= 10.0 - 1.5
    assert not shapely.intersects(routes.geometry.array, wood).any()


def test_a_way_over_a_track_is_taken_last_and_cautioned(tmp_path: Path) -> None:
    """The track bars every way but the last stretch beside it, and then all of them."""
    start, end = place(-110.0, -60.0), place(60.0, -60.0)
    track = frame(shapely.LineString([start, end]), width_m=3.0)
    plan = Outcome(
        tmp_path / "part",
        plane(8.0),
        {"tracks": track, "dams": frame(across(-80.0), spillway=True, accepts_m3=None)},
    )
    routes = plan.layer("overflow_routes")
    lowest = plan.layer("swales").sort_values("level_m").swale_id.iloc[0]
    own = routes[routes.swale_id == lowest]
    line = track.geometry[0]
    whole = frame(shapely.LineString([start, place(110.0, -60.0)]), width_m=3.0)
    barred = Outcome(
        tmp_path / "whole",
        plane(8.0),
        {"tracks": whole, "dams": frame(across(-80.0), spillway=True, accepts_m3=None)},
    )
    assert len(own) > 0
    assert not shapely.intersects(own.geometry.array, line).any()
    crossing = barred.layer("overflow_routes")
    crossing = crossing[shapely.intersects(crossing.geometry.array, whole.geometry[0])]
    findings = barred.layer("findings")
    told = set(findings.feature_id[findings.code.str.contains("track")])
    assert set(crossing.route_id) <= told
    assert len(crossing) > 0
