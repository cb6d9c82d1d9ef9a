"""Phases of building from a column of the layer of given swales."""

from pathlib import Path

import geopandas as gpd
import pytest
from shapely import LineString

from soakline.inputs.given_phases import read_phases
from soakline.problems import InputRefused


def layer(folder: Path, **columns: list[object]) -> Path:
    count = len(next(iter(columns.values())))
    lines = [LineString([(0, 10 * k), (50, 10 * k)]) for k in range(count)]
    file = folder / "f.gpkg"
    frame = gpd.GeoDataFrame(columns, geometry=lines, crs="EPSG:32755")
    frame.to_file(file, layer="given_swales", driver="GPKG")
    return file


def problem_of(path: Path, column: str) -> str:
    with pytest.raises(InputRefused) as refused:
        read_phases(path, column)
    (problem,) = refused.value.problems
    return str(problem)


def test_numbers_go_by_id_and_those_without_have_none(tmp_path: Path) -> None:
    file = layer(tmp_path, swale_id=["S001", "S002", None, "S003"], Stage=[2, 1, 1, None])
    assert read_phases(file, "stage") == {"S001": 2, "S002": 1}


def test_pieces_of_a_split_line_have_their_own(tmp_path: Path) -> None:
    file = layer(tmp_path, swale_id=["S001", "S001"], stage=[1, 3])
    assert read_phases(file, "stage") == {"S001": 1, "S001-2": 3}


def test_digits_in_a_column_of_text_are_numbers(tmp_path: Path) -> None:
    file = layer(tmp_path, swale_id=["S001"], stage=["2"])
    assert read_phases(file, "stage") == {"S001": 2}


@pytest.mark.parametrize("wrong", [0, -1, 1.5, "first"])
def test_what_is_no_whole_number_from_1_is_refused(tmp_path: Path, wrong: object) -> None:
    file = layer(tmp_path, swale_id=["S001"], stage=[wrong])
    told = problem_of(file, "stage")
    assert str(wrong) in told
    assert "whole numbers from 1" in told


def test_a_column_or_layer_that_is_not_there_is_refused_with_those_that_are(
    tmp_path: Path,
) -> None:
    file = layer(tmp_path, swale_id=["S001"], stage=[1])
    assert 'The nearest is "stage"' in problem_of(file, "stages")
    assert 'The nearest is "year"' in problem_of(file, "yearly")
    frame = gpd.read_file(file, layer="given_swales")
    frame.to_file(tmp_path / "other.gpkg", layer="tracks", driver="GPKG")
    assert "no layer given_swales" in problem_of(tmp_path / "other.gpkg", "stage")
