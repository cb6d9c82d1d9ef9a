"""The folder of a store is known for what it is, and no other folder is filled."""

from collections.abc import Callable
from pathlib import Path

import pytest

from soakline.problems import InputRefused
from soakline.store.folder import MARKER, folder_problem, make_ours
from soakline.store.keys import key_of
from tests.store.values import never, opened

KEY = key_of("a DEM")


def _another_cache(folder: Path) -> None:
    (folder / MARKER).write_text("Signature: 8a477f597d28d172789f06886806bc55\n# another program\n")


@pytest.mark.parametrize(
    ("fill", "found"),
    [
        (lambda folder: (folder / "notes.txt").write_text("mine"), "other files"),
        (lambda folder: (folder / "sub").mkdir(), "other files"),
        (lambda folder: (folder / ".hidden").write_text("mine"), "other files"),
        (lambda folder: (folder / "terrain@" / "x").parent.mkdir(), "other files"),
        (_another_cache, "other files"),
        (lambda folder: (folder.rmdir(), folder.write_text("mine")), "a file"),
        (lambda folder: folder.rmdir() or folder.parent.rmdir(), "no folder"),
    ],
    ids=["file", "folder", "hidden", "like an entry", "another cache", "is a file", "no parent"],
)
def test_a_folder_that_is_no_store_is_refused_and_left_alone(
    fill: Callable[[Path], object], found: str, tmp_path: Path
) -> None:
    folder = tmp_path / "parent" / "work"
    folder.mkdir(parents=True)
    fill(folder)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(InputRefused, match=found) as refused:
        opened(folder, [])
    (problem,) = refused.value.problems
    assert (problem.file, problem.key) == (str(folder), "--work")
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize("there", [True, False])
def test_a_new_or_an_empty_folder_becomes_a_store(there: bool, tmp_path: Path) -> None:
    folder = tmp_path / "work"
    if there:
        folder.mkdir()
    store = opened(folder, [])
    store.kept("terrain", KEY, lambda: 1)
    text = (folder / MARKER).read_text()
    assert text.startswith("Signature: 8a477f597d28d172789f06886806bc55\n")
    assert "stage store of soakline" in text
    assert opened(folder, []).kept("terrain", KEY, never) == 1


def test_a_folder_that_others_fill_meanwhile_is_left_alone(tmp_path: Path) -> None:
    told: list[str] = []
    store = opened(tmp_path, told)
    (tmp_path / "notes.txt").write_text("mine")
    assert store.kept("terrain", KEY, lambda: 1) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]
    assert len(told) == 1


def test_opening_writes_nothing(tmp_path: Path) -> None:
    opened(tmp_path / "work", [])
    opened(tmp_path, [])
    assert list(tmp_path.iterdir()) == []


def test_a_link_to_a_store_is_a_store(tmp_path: Path) -> None:
    make_ours(tmp_path / "work")
    (tmp_path / "link").symlink_to("work")
    assert folder_problem(tmp_path / "link", "--work") is None


def test_a_name_that_no_system_takes_is_a_problem(tmp_path: Path) -> None:
    problem = folder_problem(tmp_path / ("x" * 300), "--work")
    assert problem is not None
    assert "unusable path" in problem.found
