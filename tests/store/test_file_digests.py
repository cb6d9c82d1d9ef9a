"""An input file is hashed once, and again as soon as it may have changed."""

import os
from pathlib import Path
from typing import Any, BinaryIO

import pytest

from soakline.store import stage_store
from soakline.store.keys import key_of
from soakline.store.stage_store import FILE_DIGESTS, StageStore
from tests.store.values import kept_stages, opened

KEY = key_of("a DEM")


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
    assert kept_stages(folder) == {"terrain", FILE_DIGESTS}
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
    assert kept_stages(folder) == {"terrain"}


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
    assert kept_stages(folder) == {"terrain"}


def test_hashing_alone_writes_nothing(
    folder: Path, told: list[str], tmp_path: Path, hashed: list[str]
) -> None:
    opened(folder, told).file_digest(dem_at(tmp_path))
    assert hashed == ["dem.tif"]
    assert not folder.exists()


def test_a_file_that_cannot_be_read_is_told_as_such(folder: Path, told: list[str]) -> None:
    with pytest.raises(FileNotFoundError):
        StageStore(folder, 1.0, False, told.append).file_digest(folder / "dem.tif")
