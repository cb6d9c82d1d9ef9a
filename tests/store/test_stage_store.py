"""A result is made once, kept, found again, and never worse than made anew."""

import os
from pathlib import Path

import numpy as np
import pytest

from soakline import lean
from soakline.problems import InputRefused
from soakline.store.keys import key_of
from soakline.store.opening import default_folder, open_store
from tests.store.values import assert_same, entry_of, everything, kept_stages, never, opened, refuse

KEY = key_of("a DEM")


def test_a_stage_is_run_once_for_each_key(folder: Path, told: list[str]) -> None:
    value = everything()
    first = opened(folder, told)
    assert first.kept("terrain", KEY, lambda: value) is value
    second = opened(folder, told)
    assert_same(everything(), second.kept("terrain", KEY, never))
    assert second.kept("terrain", key_of("another DEM"), lambda: 2) == 2
    assert second.kept("lines", KEY, lambda: 3) == 3
    assert (first.made, first.loaded) == (["terrain"], [])
    assert (second.made, second.loaded) == (["terrain", "lines"], ["terrain"])
    assert told == []


@pytest.mark.parametrize("value", [None, False, 0, (), np.zeros(0)], ids=repr)
def test_a_result_that_counts_as_nothing_is_kept_too(
    value: object, folder: Path, told: list[str]
) -> None:
    opened(folder, told).kept("terrain", KEY, lambda: value)
    assert_same(value, opened(folder, told).kept("terrain", KEY, never))


def test_a_stage_that_fails_leaves_nothing(folder: Path, told: list[str]) -> None:
    with pytest.raises(InputRefused):
        opened(folder, told).kept("terrain", KEY, refuse)
    assert not folder.exists()
    assert told == []


def test_a_fresh_run_loads_nothing_and_renews_what_is_stored(folder: Path, told: list[str]) -> None:
    opened(folder, told).kept("terrain", KEY, lambda: "old")
    fresh = opened(folder, told, fresh=True)
    assert fresh.kept("terrain", KEY, lambda: "new") == "new"
    assert fresh.kept("terrain", KEY, never) == "new"
    assert opened(folder, told).kept("terrain", KEY, never) == "new"


def test_a_named_folder_that_is_no_store_is_refused_and_a_default_one_told(
    tmp_path: Path, told: list[str]
) -> None:
    out = tmp_path / "plan.gpkg"
    default_folder(out).write_text("a file")
    with pytest.raises(InputRefused, match="--work: found a file"):
        open_store(default_folder(out), out, 1.0, False, told.append)
    assert told == []
    store = open_store(None, out, 1.0, False, told.append)
    assert len(told) == 1
    assert told[0].startswith("nothing is kept for the next run")
    assert store.kept("terrain", KEY, lambda: 1) == 1
    assert store.kept("terrain", KEY, lambda: 2) == 2
    assert store.made == ["terrain", "terrain"]
    assert str(store.describe()) == "no stage store"
    assert default_folder(out).read_text() == "a file"


def test_the_default_folder_is_beside_the_plan(tmp_path: Path, told: list[str]) -> None:
    out = tmp_path / "plan.gpkg"
    store = open_store(None, out, 1.0, False, told.append)
    store.kept("terrain", KEY, lambda: 1)
    store.finish()
    assert store.folder == default_folder(out) == tmp_path / ".soakline"
    assert kept_stages(tmp_path / ".soakline") == {"terrain"}


def test_longest_unused_results_are_dropped_and_none_of_this_run(
    folder: Path, told: list[str]
) -> None:
    megabyte = np.zeros(2**20, np.uint8)
    for at, stage in enumerate(["a", "b", "c", "d"]):
        opened(folder, told).kept(stage, KEY, megabyte.copy)
        os.utime(entry_of(folder, stage), (at, at))
    opened(folder, told).kept("a", KEY, never)  # used again: b and c are the oldest
    store = opened(folder, told, limit_gib=3.5 / 1024)
    store.kept("e", KEY, megabyte.copy)
    assert kept_stages(folder) == {"a", "d", "e"}
    store.kept("a", KEY, never)
    store.kept("f", KEY, megabyte.copy)
    store.kept("g", KEY, megabyte.copy)
    assert kept_stages(folder) == {"a", "e", "f", "g"}
    assert told == []


def test_a_dropped_result_stays_with_who_has_loaded_it(folder: Path, told: list[str]) -> None:
    value = np.arange(2**17)
    opened(folder, told).kept("terrain", KEY, value.copy)
    loaded = opened(folder, told).kept("terrain", KEY, never)
    opened(folder, told, limit_gib=0.0).kept("lines", KEY, lambda: 1)
    assert kept_stages(folder) == {"lines"}
    assert_same(value, loaded)


def test_files_of_others_are_neither_counted_nor_dropped(folder: Path, told: list[str]) -> None:
    store = opened(folder, told)
    store.kept("terrain", KEY, lambda: 1)
    (folder / "notes.txt").write_text("mine")
    (folder / "lines@short").write_text("mine")
    size = store.size()
    opened(folder, told, limit_gib=0.0).kept("lines", KEY, lambda: 1)
    assert (folder / "notes.txt").read_text() == (folder / "lines@short").read_text() == "mine"
    assert store.size() < 2 * size


def test_a_store_tells_where_it_is_and_what_is_in_it(folder: Path, told: list[str]) -> None:
    store = opened(folder, told, limit_gib=2.5)
    assert str(store.describe()) == f"stage store {folder}: 0 MiB of at most 2.5 GiB (empty)"
    store.kept("terrain", KEY, lambda: np.zeros(3 * 2**20, np.uint8))
    store.kept("excluded ground", KEY, lambda: 1)
    store.kept("excluded ground", key_of(2), lambda: 1)
    described = store.describe()
    assert [(own.stage, own.count) for own in described.stages] == [
        ("excluded ground", 2),
        ("terrain", 1),
    ]
    size = sum(path.stat().st_size for path in folder.glob("*@*"))
    assert store.size() == described.size_bytes == size
    assert sum(own.size_bytes for own in described.stages) == size
    assert str(described).endswith("3 MiB of at most 2.5 GiB (excluded ground 2, terrain 1)")


@pytest.mark.parametrize("stage", ["", "Terrain", "a/b", "../up", "a@b", ".a", "a\n"])
def test_a_stage_has_a_name_of_lower_case_words(stage: str, folder: Path, told: list[str]) -> None:
    with pytest.raises(ValueError, match="no name for a stage"):
        opened(folder, told).kept(stage, KEY, never)


def test_a_large_result_is_used_as_it_lies_in_the_store(folder: Path, told: list[str]) -> None:
    """From the start, so that its memory is free for others; a small one is as it was made."""
    large, small = np.arange(100_000), np.arange(10.0)
    store = opened(folder, told)
    store.lean_from_bytes = large.nbytes
    kept = store.kept("terrain", KEY, lambda: (large, small, large))
    assert kept[0] is not large
    assert kept[0] is kept[2]
    assert_same((large, small, large), kept)
    assert not kept[0].flags.writeable
    lean.let_go()
    assert_same(large, kept[0])
    assert store.kept("lines", KEY, lambda: small) is small
    assert (store.made, store.loaded, told) == (["terrain", "lines"], [], [])
    assert_same((large, small, large), opened(folder, told).kept("terrain", KEY, never))


def test_a_large_result_that_cannot_be_stored_is_used_as_it_was_made(
    folder: Path, told: list[str]
) -> None:
    store = opened(folder, told)
    store.lean_from_bytes = 0
    value = (np.arange(10), lambda: 1)
    assert store.kept("terrain", KEY, lambda: value) is value
    assert len(told) == 1
