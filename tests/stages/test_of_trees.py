"""Trees placed and put into the plan's file by a copy of the process."""

import os
import signal
import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from soakline import beside as module
from soakline import tables
from soakline.beside import NotBeside
from soakline.inputs.species import read_species
from soakline.outputs.empty_plan import empty_plan
from soakline.planting.trees import Trees
from soakline.stages.of_trees import trees_under_way

CRS = "EPSG:32755"


@pytest.fixture(autouse=True)
def main_program(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tests themselves may run in workers of a pool."""
    monkeypatch.setattr(module.multiprocessing, "parent_process", lambda: None)


@pytest.fixture
def begun(tmp_path: Path) -> Path:
    """A plan's file without rows."""
    file = tmp_path / "begun.gpkg"
    file.write_bytes(empty_plan(CRS).file.data)
    return file


def _trees() -> Trees:
    which = np.zeros(3, dtype=np.int64)
    return Trees(
        read_species(tables.folder() / "species.csv"),
        which,
        which,
        which,
        which + 1,
        np.array([600000.0, 600010.0, 600020.0]),
        np.full(3, 6100000.0),
        np.zeros(0),
        np.zeros(0, dtype=np.int64),
        np.full(1, np.nan),
    )


def test_trees_and_their_rows_come_from_the_copy(begun: Path) -> None:
    here = os.getpid()

    def plant() -> Trees:
        assert os.getpid() != here
        return _trees()

    with trees_under_way(begun, CRS) as under_way:
        planted = under_way.placed_by(plant, ["S001"])
        assert planted() is planted()
        assert planted().easting_m.tolist() == _trees().easting_m.tolist()
        filled = under_way.filled()
    assert filled is not None
    assert len(filled) == 3
    with closing(sqlite3.connect(begun)) as plan:
        assert plan.execute("SELECT DISTINCT swale_id, year FROM trees").fetchall() == [("S001", 1)]
        assert plan.execute("SELECT count(*) FROM rtree_trees_geom").fetchone() == (3,)


def test_rows_are_left_to_the_plan_where_its_file_is_not_begun(tmp_path: Path) -> None:
    with trees_under_way(tmp_path / "begun.gpkg", CRS) as under_way:
        assert under_way.placed_by(_trees, ["S001"])().lip.size == 3
        assert under_way.filled() is None


def test_what_a_copy_that_is_killed_leaves_is_told(
    begun: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def killed(*_: object) -> None:
        os.kill(os.getpid(), signal.SIGKILL)

    monkeypatch.setattr("soakline.stages.of_trees.fill_begun", killed)
    with trees_under_way(begun, CRS) as under_way:
        assert under_way.placed_by(_trees, ["S001"])().lip.size == 3
        with pytest.raises(NotBeside):
            under_way.filled()


def test_without_a_copy_trees_are_placed_here(begun: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_FORKS", False)
    with trees_under_way(begun, CRS) as under_way:
        planted = under_way.placed_by(_trees, ["S001"])
        assert planted() is planted()
        assert under_way.filled() is None
