"""Water let out of dams: to which swale, in which months."""

import geopandas as gpd
import numpy as np

from soakline.years.releases import released_m3

IDS = ["S001", "S002"]


def dams(*rows: tuple[object, float, float, float]) -> gpd.GeoDataFrame:
    names = ("release_swale", "release_m3_day", "release_from_month", "release_to_month")
    columns = dict(zip(names, zip(*rows, strict=True), strict=True))
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries([None] * len(rows)))


def test_months_run_across_the_turn_of_the_year_and_dams_add_up() -> None:
    nan = float("nan")
    led, unknown = released_m3(
        dams(("S002", 3.0, 11.0, 2.0), ("S002", 1.0, nan, nan), (None, 9.0, nan, nan)), IDS
    )
    assert unknown == []
    assert led[0].tolist() == [0.0] * 12
    assert led[1].tolist() == [4.0, 4.0, *[1.0] * 8, 4.0, 4.0]


def test_one_month_and_no_amount() -> None:
    led, _ = released_m3(dams(("S001", 2.0, 5.0, 5.0), ("S001", np.nan, 1.0, 12.0)), IDS)
    assert np.flatnonzero(led[0]).tolist() == [4]


def test_a_swale_that_is_not_there_is_told() -> None:
    led, unknown = released_m3(dams(("S009", 2.0, 1.0, 12.0)), IDS)
    assert unknown == ["S009"]
    assert not led.any()
