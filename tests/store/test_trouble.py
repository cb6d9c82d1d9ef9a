"""Damaged results, full disks, read-only folders: a warning each, and the run goes on."""

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
from tests.store.values import assert_same, entry_of, kept_stages, never, opened, refuse

KEY = key_of("a DEM")


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
    assert kept_stages(folder) == set()


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
        assert kept_stages(folder) == {"first"}


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
    assert kept_stages(folder) == set()


def test_what_would_not_come_back_is_told_and_not_kept(folder: Path, told: list[str]) -> None:
    value = (Path("dem.tif"), 1)
    assert opened(folder, told).kept("reading", KEY, lambda: value) is value
    assert len(told) == 1
    assert told[0].endswith(
        "stage reading is not kept for the next run: pathlib.PosixPath is not rebuilt from a store"
    )
    assert kept_stages(folder) == set()


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
    assert kept_stages(folder) == {"terrain"}
