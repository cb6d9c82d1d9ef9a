"""Tables of species: the one that ships, and what is refused in an owner's."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import pytest
from shapely import box

from soakline import tables
from soakline.inputs.planting_blocks import check_blocks
from soakline.inputs.species import COLUMNS, GROUPS, read_species
from soakline.planting.choice import mixture_for
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


def test_blocks_that_overlap_are_refused_by_feature_and_touching_ones_are_not() -> None:
    table = read_species(tables.table("species.csv"))

    def blocks(second_west_m: float) -> Any:
        shapes = [box(0.0, 0.0, 50.0, 20.0), box(second_west_m, 0.0, 90.0, 20.0)]
        named = ["Malus domestica; pyrus communis", None]
        return SimpleNamespace(
            planting_blocks=gpd.GeoDataFrame({"species": named}, geometry=shapes)
        )

    run: Any = SimpleNamespace(
        property=SimpleNamespace(features="land.gpkg"),
        planting=SimpleNamespace(trees=True, species=""),
        resolve=Path,
    )
    check_blocks(run, blocks(50.0), table)
    with pytest.raises(InputRefused) as refused:
        check_blocks(run, blocks(45.0), table)
    (problem,) = refused.value.problems
    assert problem.file == "land.gpkg"
    assert "feature 2" in problem.key
    assert problem.found == "100 m² that feature 1 covers too"
