"""Tables of species: the one that ships, and what is refused in an owner's."""

from dataclasses import fields
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
from shapely import box

from soakline import tables
from soakline.inputs.planting_blocks import block_heights_m, check_blocks
from soakline.inputs.species import COLUMNS, GROUPS, read_species
from soakline.inputs.types import Features
from soakline.planting.choice import between_mixture, mixture_for
from soakline.problems import InputRefused

ROW = "Malus domestica,apple,fruit,6,5,12,4,medium,medium,low,low,low,own"


def written(folder: Path, *rows: str, head: str = ",".join(COLUMNS)) -> Path:
    path = folder / "trees.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def test_the_table_that_ships_has_every_group_and_a_source_in_every_row() -> None:
    species = read_species(tables.table("species.csv"))
    assert {own.group for own in species} == set(GROUPS)
    assert all("no source" in own.source for own in species)
    assert all(own.crown_m <= own.height_m * 1.1 for own in species)


@pytest.mark.parametrize(
    ("old", "new", "column"),
    [
        ("Malus domestica", "", "species"),
        ("fruit", "shrub", "group"),
        (",5,12", ",,12", "crown_m"),
        (",6,5", ",-6,5", "height_m"),
        (",12,4", ",0,4", "grown_years"),
        (",4,", ",-4,", "bearing_years"),
        ("low,own", "none,own", "drought"),
    ],
)
def test_a_cell_that_cannot_be_used_is_refused_by_file_row_and_column(
    tmp_path: Path, old: str, new: str, column: str
) -> None:
    path = written(tmp_path, ROW.replace(old, new, 1))
    with pytest.raises(InputRefused) as refused:
        read_species(path)
    (problem,) = refused.value.problems
    assert problem.file == str(path)
    assert problem.key == f"planting.species, row 2, column {column}"


def test_a_species_that_comes_twice_and_a_missing_column_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="again"):
        read_species(written(tmp_path, ROW, ROW))
    with pytest.raises(InputRefused, match="crown_m"):
        read_species(written(tmp_path, head=",".join(COLUMNS).replace("crown_m", "crown")))
    with pytest.raises(InputRefused, match="no species"):
        read_species(written(tmp_path))


def test_pioneers_suit_the_soils_extreme_and_main_trees_keep_below_the_height() -> None:
    species = read_species(tables.table("species.csv"))
    for group, bears in (("sandy", "sand"), ("clayey", "clay")):
        mixed = mixture_for(species, group, 800.0, 8.0)
        assert {species[i].bears[bears] for i in mixed.pioneer} == {"high"}
        chosen = (*mixed.main, *mixed.pioneer, *mixed.fixer)
        assert all(species[i].bears[bears] != "low" for i in chosen)
        assert max(species[i].height_m for i in chosen) <= 8.0
    named = mixture_for(species, "loamy", 800.0, 4.0, ["quercus robur"])
    assert [species[i].species for i in named.main] == ["Quercus robur"]


def test_rows_between_bear_drought_at_any_rain() -> None:
    """No trench waters them. The osier, which bears none, is a mulch of the table that ships."""
    species = read_species(tables.table("species.csv"))
    for group in ("sandy", "loamy", "clayey"):
        chosen = [species[i] for i in between_mixture(species, group, 900.0, 8.0)]
        assert chosen
        assert {own.bears["drought"] for own in chosen} <= {"medium", "high"}
    assert {own.group for own in chosen} >= {"nitrogen fixer"}
    loamy = [species[i].group for i in between_mixture(species, "loamy", 900.0, 8.0)]
    assert {"mulch", "nitrogen fixer"} <= set(loamy)


def test_where_trees_stand_in_the_trench_all_bear_drought_well() -> None:
    species = read_species(tables.table("species.csv"))
    for group in ("sandy", "loamy"):
        mixed = mixture_for(species, group, 250.0, 8.0)
        chosen = (*mixed.main, *mixed.pioneer, *mixed.fixer)
        assert {species[i].bears["drought"] for i in chosen} == {"high"}
    wetter = mixture_for(species, "loamy", 251.0, 8.0)
    assert {species[i].bears["drought"] for i in wetter.main} > {"high"}


def blocks_of(*rows: tuple[float, float, str | None, float | None]) -> Any:
    """Blocks from west to east, m, with species and height."""
    west, east, species, height = zip(*rows, strict=True)
    shapes = [box(own, 0.0, other, 20.0) for own, other in zip(west, east, strict=True)]
    table = {"species": list(species), "mature_tree_height_m": np.array(height, dtype=float)}
    return Features(
        **{
            own.name: gpd.GeoDataFrame(table, geometry=shapes)
            if own.name == "planting_blocks"
            else gpd.GeoDataFrame(geometry=[])
            for own in fields(Features)
        }
    )


def run_with(*, trees: bool) -> Any:
    return SimpleNamespace(
        property=SimpleNamespace(features="land.gpkg"),
        planting=SimpleNamespace(trees=trees, species=""),
        resolve=Path,
    )


def test_blocks_that_overlap_are_refused_by_feature_and_touching_ones_are_not() -> None:
    table = read_species(tables.table("species.csv"))
    first = (0.0, 50.0, "Malus domestica; pyrus communis", 8.0)
    check_blocks(run_with(trees=True), blocks_of(first, (50.0, 90.0, None, 8.0)), table)
    with pytest.raises(InputRefused) as refused:
        check_blocks(run_with(trees=True), blocks_of(first, (45.0, 90.0, None, 8.0)), table)
    (problem,) = refused.value.problems
    assert problem.file == "land.gpkg"
    assert "feature 2" in problem.key
    assert problem.found == "100 m² that feature 1 covers too"


def test_a_block_without_a_height_has_that_of_its_highest_species() -> None:
    table = read_species(tables.table("species.csv"))
    height = {own.species: own.height_m for own in table}
    blocks = blocks_of(
        (0.0, 10.0, "malus domestica; Pyrus communis", None),
        (10.0, 20.0, "Quercus robur", 7.0),
        (20.0, 30.0, None, 5.0),
    )
    check_blocks(run_with(trees=False), blocks, table)
    assert block_heights_m(blocks, table).tolist() == [height["Pyrus communis"], 7.0, 5.0]


def test_a_block_whose_height_nothing_tells_is_refused() -> None:
    table = read_species(tables.table("species.csv"))
    blocks = blocks_of((0.0, 10.0, None, None), (10.0, 20.0, "Pirus communis", None))
    with pytest.raises(InputRefused) as refused:
        check_blocks(run_with(trees=False), blocks, table)
    neither, unknown = refused.value.problems
    assert neither.key == "property.features, layer planting_blocks, feature 1"
    assert neither.found == "neither a height nor a species"
    assert unknown.key == "property.features, layer planting_blocks, feature 2, species"
    assert unknown.found == '"Pirus communis"'
    assert unknown.mend.endswith("Pyrus communis")
    # A height of its own leaves the name alone where no trees are placed.
    check_blocks(run_with(trees=False), blocks_of((0.0, 9.0, "Pirus communis", 6.0)), table)
