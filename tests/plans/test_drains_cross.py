"""Drains drawn across a plane, over a track, a cable and the ways of spilled water."""

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
from shapely import LineString

from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample
from tests.terrain_analytic.run_folder import write_run

Layers = dict[str, pd.DataFrame]
TRACK_M = 4.0


def _line(*places: tuple[float, float]) -> LineString:
    return LineString([(CENTRE_EASTING_M + x, CENTRE_NORTHING_M + y) for x, y in places])


# Along the plane: what swales above it spill runs over it.
LOW_TRACK = _line((-170, -63), (170, -63))


@pytest.fixture(scope="module")
def layers(tmp_path_factory: pytest.TempPathFactory) -> Layers:
    """A gentle drain over all the plane's width, and a short one straight down it."""
    folder = tmp_path_factory.mktemp("drains")
    dem, grid = sample(plane(12.0), width_m=400.0)
    drains = [_line((175, 75), (-175, 65)), _line((90, 150), (90, 110))]
    features = {
        "diversions": gpd.GeoDataFrame({"name": ["long", "steep"]}, geometry=drains),
        "tracks": gpd.GeoDataFrame(
            {"name": ["hill track", "far track", "low track"], "width_m": [TRACK_M] * 3},
            geometry=[_line((20, 170), (20, -170)), _line((-170, -100), (-100, -100)), LOW_TRACK],
        ),
        "services": gpd.GeoDataFrame({"name": [None]}, geometry=[_line((-60, 85), (-60, 55))]),
    }
    run_file = write_run(folder, dem, grid, features=features)
    make_plan(load_run_file(run_file), folder / "plan.gpkg", Progress())
    names = ("diversions", "overflow_routes", "findings")
    return {name: pyogrio.read_dataframe(folder / "plan.gpkg", layer=name) for name in names}


def test_every_way_over_a_track_is_told(layers: Layers) -> None:
    track = LOW_TRACK.buffer(TRACK_M / 2.0)
    routes, found = layers["overflow_routes"], layers["findings"]
    over = {own.route_id for own in routes.itertuples() if own.geometry.intersects(track)}
    assert over
    assert over <= set(found[found.code == "route_crosses_track"].feature_id)


def _told(layers: Layers, code: str) -> dict[str, str]:
    found = layers["findings"]
    found = found[found.code == code]
    assert (found.layer == "diversions").all()
    return dict(zip(found.feature_id, found.message, strict=True))


def test_a_drain_over_a_track_is_told_with_the_track(layers: Layers) -> None:
    told = _told(layers, "diversion_crosses_track")
    assert list(told) == ["V1"]
    assert 'track "hill track"' in told["V1"]
    assert "far track" not in told["V1"]


def test_a_drain_over_a_service_is_told_with_its_number_where_it_has_no_name(
    layers: Layers,
) -> None:
    told = _told(layers, "diversion_crosses_service")
    assert list(told) == ["V1"]
    assert "service 1" in told["V1"]


def test_drains_over_ways_of_spilled_water_are_told_with_each_way(layers: Layers) -> None:
    routes, drains = layers["overflow_routes"], layers["diversions"]
    crossed = {
        drain.diversion_id: [
            route.route_id for route in routes.itertuples() if route.geometry.intersects(line)
        ]
        for drain, line in zip(drains.itertuples(), drains.geometry, strict=True)
    }
    told = _told(layers, "diversion_crosses_route")
    assert set(told) == {name for name, met in crossed.items() if met} == {"V1"}
    assert all(route in told["V1"] for route in crossed["V1"])


def test_only_a_drain_too_steep_for_its_cover_asks_for_lining(layers: Layers) -> None:
    """The grass mixture has no figure over 10 % (USDA TP-61, Table 3)."""
    drains = layers["diversions"].set_index("diversion_id")
    assert drains.grade_pct["V1"] < 1.0
    assert drains.grade_pct["V2"] == pytest.approx(12.0, rel=0.01)
    told = _told(layers, "diversion_needs_lining")
    assert list(told) == ["V2"]
    assert "no figure" in told["V2"]
