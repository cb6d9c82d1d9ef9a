"""Words of soils and covers: in the tables' spelling, or refused with the nearest valid one."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from pyproj import CRS
from shapely import box

from soakline import tables
from soakline.inputs.feature_columns import read_columns
from soakline.inputs.feature_layers import FEATURE_LAYERS, Column, Layer
from soakline.inputs.features import read_features
from soakline.inputs.land_words import check_figures, checked_words
from soakline.inputs.vector_files import read_layer
from soakline.problems import InputRefused
from soakline.runfile.sections import LandKeys
from tests.inputs.files import NORTH_M, UTM, WEST_M, write_layer

FIELD = box(WEST_M, NORTH_M - 50, WEST_M + 50, NORTH_M)
LAYERS = FEATURE_LAYERS | {
    "land_cover": Layer(("polygon",), (Column("cover", "text"), Column("curve_number", "number")))
}


def checked(tmp_path: Path, layer: str, **columns: list[Any]) -> pd.DataFrame:
    """A layer written to a GeoPackage, read with its columns, and its words checked."""
    count = len(next(iter(columns.values())))
    path = write_layer(tmp_path / "f.gpkg", layer, [FIELD] * count, **columns)
    key = f"property.features, layer {layer}"
    frame, _ = read_layer(path, layer, key)
    table = pd.DataFrame(frame.drop(columns="geometry"))
    return checked_words(
        read_columns(table, LAYERS[layer], str(path), key, []), layer, str(path), key
    )


def refusal(tmp_path: Path, layer: str, **columns: list[Any]) -> list[str]:
    with pytest.raises(InputRefused) as refused:
        checked(tmp_path, layer, **columns)
    return [str(problem) for problem in refused.value.problems]


def test_words_are_brought_to_the_tables_spelling(tmp_path: Path) -> None:
    soils = checked(
        tmp_path,
        "soils",
        texture=["Sandy loam", "silty_clay", None],
        hydrologic_group=["b", "D", None],
    )
    assert soils["texture"].tolist() == ["sandy-loam", "silty-clay", None]
    assert soils["hydrologic_group"].tolist() == ["B", "D", None]


def test_covers_are_brought_to_the_tables_spelling(tmp_path: Path) -> None:
    cover = checked(tmp_path, "land_cover", cover=["Pasture fair", None], curve_number=[None, 68.0])
    assert cover["cover"].tolist() == ["pasture-fair", None]
    assert cover["curve_number"].tolist() == pytest.approx([np.nan, 68.0], nan_ok=True)


def test_every_cover_and_texture_of_the_tables_is_taken(tmp_path: Path) -> None:
    covers = list(tables.curve_numbers())
    assert checked(tmp_path, "land_cover", cover=covers)["cover"].tolist() == covers
    textures = list(tables.names("soils.csv", "texture"))
    soils = checked(tmp_path, "soils", texture=textures)
    assert soils["texture"].tolist() == textures


@pytest.mark.parametrize(
    ("layer", "column", "value", "allowed", "nearest"),
    [
        ("soils", "texture", "sandy lome", '"sandy-clay-loam"', "Nearest valid: sandy-loam"),
        ("soils", "texture", "silt", '"silt-loam"', "Nearest valid: silt-loam"),
        ("soils", "hydrologic_group", "E", '"A", "B", "C", "D"', ""),
        ("soils", "hydrologic_group", "B/D", '"A", "B", "C", "D"', 'write "D", or "B" where'),
        ("land_cover", "cover", "pasture-fare", '"meadow"', "Nearest valid: pasture-fair"),
        (
            "land_cover",
            "cover",
            "Brush",
            '"meadow"',
            "Nearest valid: brush-poor or brush-fair or brush-good",
        ),
        ("land_cover", "cover", "lava", '"meadow"', ""),
        ("land_cover", "curve_number", 29.9, "a number from 30 to 100, or empty", ""),
        ("land_cover", "curve_number", 101.0, "a number from 30 to 100, or empty", ""),
    ],
)
def test_what_no_table_has_is_refused(
    tmp_path: Path, layer: str, column: str, value: object, allowed: str, nearest: str
) -> None:
    (problem,) = refusal(tmp_path, layer, **{column: [None, value]})
    assert f"f.gpkg: property.features, layer {layer}, feature 2, {column}: found " in problem
    found = f'"{value}"' if isinstance(value, str) else f"{value:g}"
    assert f"found {found}; allowed: " in problem
    assert allowed in problem
    assert problem.endswith(nearest) if nearest.startswith("Nearest") else nearest in problem
    assert ("Nearest" in problem) == nearest.startswith("Nearest")


def test_a_word_that_many_features_hold_is_one_problem(tmp_path: Path) -> None:
    """And all wrong words of a layer come together."""
    problems = refusal(
        tmp_path,
        "soils",
        texture=["mud"] * 7 + ["loam", "slate"],
        hydrologic_group=["A"] * 8 + ["F"],
    )
    assert len(problems) == 3
    assert "feature 1, 2, 3, 4, 5 and 2 more, texture" in problems[0]
    assert "feature 9, texture" in problems[1]
    assert "feature 9, hydrologic_group" in problems[2]


def test_layers_that_tell_nothing_of_runoff_pass_as_they_are() -> None:
    table = pd.DataFrame({"name": ["Pasture Fair"]})
    assert checked_words(table, "buildings", "f.gpkg", "").equals(table)


def test_soils_as_the_features_reader_gives_them_can_be_checked(tmp_path: Path) -> None:
    path = write_layer(tmp_path / "f.gpkg", "soils", [FIELD], texture=["clay loam"], ksat_mm_h=[3])
    soils = read_features(path, CRS.from_user_input(UTM))[0].soils
    assert checked_words(pd.DataFrame(soils), "soils", "", "")["texture"].tolist() == ["clay-loam"]


def frame(
    column: str, *rows: tuple[float, float, object], **more: list[object]
) -> gpd.GeoDataFrame:
    """Strips from one easting to another with a word each."""
    shapes = [box(west, 0.0, east, 10.0) for west, east, _ in rows]
    return gpd.GeoDataFrame({column: [word for _, _, word in rows]} | more, geometry=shapes)


def figures(
    soils: gpd.GeoDataFrame, cover: gpd.GeoDataFrame, keys: LandKeys | None = None
) -> list[str]:
    if "curve_number" not in cover:
        cover["curve_number"] = np.nan
    try:
        check_figures(soils, cover, keys or LandKeys(), "f.gpkg", "property.features")
    except InputRefused as refused:
        return [str(problem) for problem in refused.problems]
    return []


DESERT = "arid-herbaceous-fair"  # the table has no figure for group A
PASTURE_B = LandKeys(cover="pasture-fair", hydrologic_group="B")
PASTURE_A = LandKeys(cover="pasture-fair", hydrologic_group="A")
DESERT_B = LandKeys(cover=DESERT, hydrologic_group="B")


def test_a_cover_on_a_group_without_a_figure_is_refused() -> None:
    soils = frame("hydrologic_group", (0, 10, "B"), (10, 20, "A"))
    cover = frame("cover", (0, 10, DESERT), (5, 15, DESERT))
    (problem,) = figures(soils, cover)
    assert "layer land_cover, feature 2 (in the file's order): found" in problem
    assert f'cover "{DESERT}" on hydrologic group A; allowed: for this cover' in problem
    assert "the groups B, C, D" in problem


def test_the_run_files_group_counts_only_where_no_soil_is_drawn() -> None:
    cover = frame("cover", (0, 10, DESERT))
    assert figures(frame("hydrologic_group", (0, 10, "B")), cover, PASTURE_A) == []
    assert len(figures(frame("hydrologic_group", (0, 9, "B")), cover, PASTURE_A)) == 1
    assert figures(frame("hydrologic_group", (0, 9, "B")), cover, PASTURE_B) == []


def test_the_run_files_cover_counts_only_where_no_cover_is_drawn() -> None:
    soils = frame("hydrologic_group", (0, 10, "A"))
    assert figures(soils, frame("cover", (0, 10, "meadow")), DESERT_B) == []
    (problem,) = figures(soils, frame("cover", (0, 9, "meadow")), DESERT_B)
    assert "layer soils, feature 1" in problem
    assert figures(soils, frame("cover", (0, 9, "meadow")), PASTURE_B) == []


def test_a_curve_number_of_its_own_needs_no_figure_of_the_table() -> None:
    soils = frame("hydrologic_group", (0, 10, "A"))
    assert figures(soils, frame("cover", (0, 10, DESERT), curve_number=[70.0])) == []
