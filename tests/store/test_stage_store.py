"""A result is made once, kept, found again, and never worse than made anew."""

import errno
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from soakline.problems import InputRefused
from soakline.store import folder as store_folder
from soakline.store import stage_store
from soakline.store.keys import key_of
from soakline.store.stage_store import FILE_DIGESTS, StageStore, default_folder, open_store
from tests.store.values import assert_same, everything, never, opened

KEY = key_of("a DEM")


@pytest.fixture
def told() -> list[str]:
    return []


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "store"


def entry_of(folder: Path, stage: str = "terrain") -> Path:
    (path,) = folder.glob(f"{stage}@*")
    return path


def names(folder: Path) -> set[str]:
    return {path.name.partition("@")[0] for path in folder.iterdir()} - {store_folder.MARKER}


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


def refuse() -> object:
    raise InputRefused([])


def test_a_fresh_run_loads_nothing_and_renews_what_is_stored(folder: Path, told: list[str]) -> None:
    opened(folder, told).kept("terrain", KEY, lambda: "old")
    fresh = opened(folder, told, fresh=True)
    assert fresh.kept("terrain", KEY, lambda: "new") == "new"
    assert fresh.kept("terrain", KEY, never) == "new"
    assert opened(folder, told).kept("terrain", KEY, never) == "new"


@pytest.mark.parametrize("where", ["head", "middle", "end"])
def test_a_damaged_entry_is_told_once_and_made_anew(
    where: str, folder: Path, told: list[str]
) -> None:
    value = np.arange(1000)
    opened(folder, told).kept("terrain", KEY, lambda: value)
    path = entry_of(folder)
    content = bytearray(path.read_bytes())
    content[{"head": 30, "middle": len(content) // 2, "end": -1}[where]] ^= 4
    path.write_bytes(content)
    store = opened(folder, told)
    assert store.kept("terrain", KEY, lambda: value) is value
    assert len(told) == 1
    assert "stage terrain is damaged: its checksum does not hold; it is made anew" in told[0]
    assert_same(value, opened(folder, told).kept("terrain", KEY, never))
    assert len(told) == 1


def test_a_damaged_entry_is_removed_even_if_its_stage_fails_now(
    folder: Path, told: list[str]
) -> None:
    opened(folder, told).kept("terrain", KEY, lambda: 1)
    entry_of(folder).write_bytes(b"damaged")
    with pytest.raises(InputRefused):
        opened(folder, told).kept("terrain", KEY, refuse)
    assert names(folder) == set()


@pytest.mark.parametrize("content", [b"", b"someone's notes\n" * 9, b"soakline\x02\0\0\0"])
def test_a_foreign_file_in_an_entrys_place_gives_way(
    content: bytes, folder: Path, told: list[str]
) -> None:
    opened(folder, told).kept("terrain", KEY, lambda: 1)
    entry_of(folder).write_bytes(content)
    assert opened(folder, told).kept("terrain", KEY, lambda: 1) == 1
    assert len(told) == 1
    assert opened(folder, told).kept("terrain", KEY, never) == 1


class _FailsAfter:
    """A file on a disk that is full after some bytes."""

    def __init__(self, file: BinaryIO, room: int) -> None:
        self.file, self.room = file, room

    def write(self, content: Any) -> int:
        self.room -= memoryview(content).nbytes
        if self.room < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return self.file.write(content)

    def seek(self, at: int) -> int:
        return self.file.seek(at)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(room=st.integers(0, 900))
def test_a_disk_full_at_any_byte_costs_a_warning_and_no_more(
    room: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    value, told = np.arange(100.0), []
    with tempfile.TemporaryDirectory() as name, monkeypatch.context() as patched:
        folder = Path(name)
        opened(folder, told).kept("first", KEY, lambda: 1)

        @contextmanager
        def nearly_full(target: Path) -> Iterator[Any]:
            with store_folder.written_whole(target) as file:
                yield _FailsAfter(file, room)

        patched.setattr(stage_store, "written_whole", nearly_full)
        store = opened(folder, told)
        assert store.kept("terrain", KEY, lambda: value) is value
        assert store.kept("lines", KEY, lambda: value) is value
        assert len(told) == 1
        assert "stage terrain is not kept for the next run: [Errno 28] No space left" in told[0]
        assert names(folder) == {"first"}


def test_a_store_leaves_room_for_the_plan(
    folder: Path, told: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    opened(folder, told).kept("old", KEY, lambda: 1)
    usage = type("Usage", (), {"free": 2**30})
    monkeypatch.setattr(store_folder.shutil, "disk_usage", lambda _: usage)
    store = opened(folder, told)
    assert store.kept("terrain", KEY, lambda: 2) == 2
    assert len(told) == 1
    assert "less than 1 GiB free" in told[0]
    # What nobody uses went first, to make room.
    assert names(folder) == set()


def test_what_would_not_come_back_is_told_and_not_kept(folder: Path, told: list[str]) -> None:
    value = (Path("dem.tif"), 1)
    assert opened(folder, told).kept("reading", KEY, lambda: value) is value
    assert len(told) == 1
    assert told[0].endswith(
        "stage reading is not kept for the next run: pathlib.PosixPath is not rebuilt from a store"
    )
    assert names(folder) == set()


def test_an_interrupted_run_leaves_no_half_entry(
    folder: Path, told: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(file: BinaryIO, *_: object) -> None:
        file.write(b"half")
        raise KeyboardInterrupt

    monkeypatch.setattr(stage_store, "write_entry", interrupted)
    with pytest.raises(KeyboardInterrupt):
        opened(folder, told).kept("terrain", KEY, lambda: 1)
    assert [path.name for path in folder.iterdir()] == [store_folder.MARKER]


@contextmanager
def as_nobody() -> Iterator[None]:
    """Give up the superuser's right to write anywhere, for the length of a block."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def everybodys() -> Iterator[Path]:
    """A folder whose parents anybody may pass."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)


def test_a_store_that_has_become_read_only_still_serves(everybodys: Path, told: list[str]) -> None:
    folder = everybodys / "store"
    opened(folder, told).kept("terrain", KEY, lambda: 1)
    store = opened(folder, told)
    folder.chmod(0o555)
    with as_nobody():
        assert store.kept("terrain", KEY, never) == 1
        assert store.kept("lines", KEY, lambda: 2) == 2
        assert store.kept("overflow", KEY, lambda: 3) == 3
    folder.chmod(0o755)
    assert len(told) == 1
    assert "stage lines is not kept" in told[0]
    assert names(folder) == {"terrain"}


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
    assert store.folder == default_folder(out) == tmp_path / ".soakline"
    assert names(tmp_path / ".soakline") == {"terrain"}


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
    assert names(folder) == {"a", "d", "e"}
    store.kept("a", KEY, never)
    store.kept("f", KEY, megabyte.copy)
    store.kept("g", KEY, megabyte.copy)
    assert names(folder) == {"a", "e", "f", "g"}
    assert told == []


def test_a_dropped_result_stays_with_who_has_loaded_it(folder: Path, told: list[str]) -> None:
    value = np.arange(2**17)
    opened(folder, told).kept("terrain", KEY, value.copy)
    loaded = opened(folder, told).kept("terrain", KEY, never)
    opened(folder, told, limit_gib=0.0).kept("lines", KEY, lambda: 1)
    assert names(folder) == {"lines"}
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


@pytest.fixture
def hashed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of files that were read to be hashed; all count as long settled."""
    names: list[str] = []
    real = stage_store.hashlib.file_digest

    def hash_and_note(file: BinaryIO, name: str) -> Any:
        names.append(Path(file.name).name)
        return real(file, name)

    monkeypatch.setattr(stage_store.hashlib, "file_digest", hash_and_note)
    monkeypatch.setattr(stage_store, "_SETTLED_S", -60.0)
    return names


def dem_at(tmp_path: Path, content: bytes = b"abc") -> Path:
    path = tmp_path / "dem.tif"
    path.write_bytes(content)
    return path


# SHA-256 of "abc": FIPS 180-4, example B.1 (from memory).
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_file_is_hashed_once_while_it_stays_as_it_is(
    folder: Path, told: list[str], tmp_path: Path, hashed: list[str]
) -> None:
    path = dem_at(tmp_path)
    first = opened(folder, told)
    assert first.file_digest(path) == ABC
    first.kept("terrain", KEY, lambda: 1)
    second = opened(folder, told)
    assert second.file_digest(path) == ABC
    assert hashed == ["dem.tif"]
    assert names(folder) == {"terrain", FILE_DIGESTS}
    assert second.loaded == second.made == []


@pytest.mark.parametrize("change", ["content", "times kept", "replaced", "touched", "fresh"])
def test_a_file_that_has_changed_is_hashed_again(
    change: str, folder: Path, told: list[str], tmp_path: Path, hashed: list[str]
) -> None:
    path = dem_at(tmp_path)
    first = opened(folder, told)
    first.file_digest(path)
    first.kept("terrain", KEY, lambda: 1)
    stat = path.stat()
    if change in ("content", "times kept"):
        path.write_bytes(b"abx")
    if change == "times kept":  # as copying programs do
        os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    if change == "replaced":
        path.unlink()
        path.write_bytes(b"abc")
    if change == "touched":
        os.utime(path, (1, 1))
    digest = opened(folder, told, fresh=change == "fresh").file_digest(path)
    assert hashed == ["dem.tif", "dem.tif"]
    assert (digest == ABC) == (change in ("replaced", "touched", "fresh"))


def test_a_file_that_has_just_changed_is_not_remembered(
    folder: Path, told: list[str], tmp_path: Path
) -> None:
    path = dem_at(tmp_path)
    store = opened(folder, told)
    assert store.file_digest(path) == ABC
    store.kept("terrain", KEY, lambda: 1)
    assert names(folder) == {"terrain"}


def test_a_file_that_changes_while_it_is_read_is_not_remembered(
    folder: Path, told: list[str], tmp_path: Path, hashed: list[str], monkeypatch
) -> None:
    path = dem_at(tmp_path)
    counted = stage_store.hashlib.file_digest

    def write_meanwhile(file: BinaryIO, name: str) -> Any:
        path.write_bytes(b"longer than before")
        return counted(file, name)

    monkeypatch.setattr(stage_store.hashlib, "file_digest", write_meanwhile)
    store = opened(folder, told)
    store.file_digest(path)
    store.kept("terrain", KEY, lambda: 1)
    assert hashed == ["dem.tif"]
    assert names(folder) == {"terrain"}


def test_hashing_alone_writes_nothing(
    folder: Path, told: list[str], tmp_path: Path, hashed: list[str]
) -> None:
    opened(folder, told).file_digest(dem_at(tmp_path))
    assert hashed == ["dem.tif"]
    assert not folder.exists()


def test_a_file_that_cannot_be_read_is_told_as_such(folder: Path, told: list[str]) -> None:
    with pytest.raises(FileNotFoundError):
        StageStore(folder, 1.0, False, told.append).file_digest(folder / "dem.tif")
