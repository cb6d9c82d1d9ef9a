"""A file is written whole or not at all: failures, kills, full disks and files held elsewhere."""

import errno
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pandas as pd
import pyogrio
import pytest

from soakline.outputs import geopackage, whole_file
from soakline.outputs.columns import LayerSchema
from soakline.outputs.geopackage import write_plan
from soakline.outputs.layer_rows import LayerRows
from soakline.outputs.whole_file import refuse_unwritable, written_whole
from soakline.problems import InputRefused
from tests.outputs.conftest import DESCRIBE
from tests.outputs.hillside import CRS, Layers

EARLIER = b"an earlier output, of whatever kind"

DiskUsage = Callable[[Path], "shutil._ntuple_diskusage"]


@pytest.fixture
def target(tmp_path: Path) -> Path:
    path = tmp_path / "plan.gpkg"
    path.write_bytes(EARLIER)
    return path


def assert_untouched(target: Path, content: bytes = EARLIER) -> None:
    assert target.read_bytes() == content
    assert list(target.parent.iterdir()) == [target]


def fail_at(monkeypatch: pytest.MonkeyPatch, name: str, failure: BaseException) -> None:
    """Let the write of one layer fail, after others have been written."""
    real = geopackage.fill_layer

    def fill(database: sqlite3.Connection, schema: LayerSchema, rows: LayerRows) -> None:
        if schema.name == name:
            raise failure
        real(database, schema, rows)

    monkeypatch.setattr(geopackage, "fill_layer", fill)


def test_whatever_stood_there_is_replaced(target: Path, layers: Layers) -> None:
    write_plan(target, layers, CRS, DESCRIBE)
    assert set(layers) < set(pyogrio.list_layers(target)[:, 0])
    assert list(target.parent.iterdir()) == [target]


def test_a_link_keeps_pointing_to_the_file_that_is_replaced(target: Path) -> None:
    link = target.with_name("link.gpkg")
    link.symlink_to(target)
    write_new(link)
    assert link.is_symlink()
    assert target.read_bytes() == b"new"


@pytest.mark.parametrize("failure", [KeyboardInterrupt(), SystemExit(143), RuntimeError("broken")])
def test_a_failure_half_way_leaves_the_earlier_file(
    target: Path, layers: Layers, monkeypatch: pytest.MonkeyPatch, failure: BaseException
) -> None:
    fail_at(monkeypatch, "pegs", failure)
    with pytest.raises(type(failure)):
        write_plan(target, layers, CRS, DESCRIBE)
    assert_untouched(target)


def test_rows_lost_in_writing_are_found(
    target: Path, layers: Layers, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = geopackage.rows_of

    def rows_but_one(schema: LayerSchema, layer: pd.DataFrame) -> LayerRows:
        return real(schema, layer.iloc[:-1])

    monkeypatch.setattr(geopackage, "rows_of", rows_but_one)
    with pytest.raises(RuntimeError, match="rows were lost"):
        write_plan(target, layers, CRS, DESCRIBE)
    assert_untouched(target)


KILLED_WHILE_WRITING = """
import sys, time
from pathlib import Path
from soakline.outputs.layer_rows import LayerRows
from soakline.outputs.whole_file import written_whole
with written_whole(Path(sys.argv[1]), 0) as temporary:
    temporary.write_bytes(b"half")
    temporary.with_name(temporary.name + "-journal").write_bytes(b"half")
    print("writing", flush=True)
    time.sleep(60)
"""


def start_writing(target: Path) -> "subprocess.Popen[str]":
    writer = subprocess.Popen(
        [sys.executable, "-c", KILLED_WHILE_WRITING, str(target)], stdout=subprocess.PIPE, text=True
    )
    assert writer.stdout is not None
    assert writer.stdout.readline() == "writing\n"
    return writer


def write_new(target: Path) -> None:
    with written_whole(target, 0) as temporary:
        temporary.write_bytes(b"new")


def test_an_interrupted_run_clears_up_after_itself(target: Path) -> None:
    with start_writing(target) as writer:
        writer.send_signal(signal.SIGINT)
    assert_untouched(target)


def test_leftovers_of_a_killed_run_go_with_the_next(target: Path) -> None:
    with start_writing(target) as writer:
        writer.kill()
    left = {f".plan.part-{writer.pid}.gpkg{end}" for end in ("", "-journal")}
    assert {path.name for path in target.parent.iterdir()} == {"plan.gpkg", *left}
    assert target.read_bytes() == EARLIER
    write_new(target)
    assert_untouched(target, b"new")


def test_what_a_living_run_is_writing_stays(target: Path) -> None:
    with start_writing(target) as writer:
        write_new(target)
        left = {f".plan.part-{writer.pid}.gpkg{end}" for end in ("", "-journal")}
        assert {path.name for path in target.parent.iterdir()} == {"plan.gpkg", *left}
        writer.kill()


def test_leftovers_of_other_files_stay(target: Path) -> None:
    others = [target.with_name(name) for name in (".plan2.part-1.gpkg", ".plan.part-x.gpkg")]
    for other in others:
        other.write_bytes(b"")
    write_new(target)
    assert all(other.exists() for other in others)


@pytest.mark.parametrize(
    "failure",
    [
        OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)),
        OSError(errno.EDQUOT, os.strerror(errno.EDQUOT)),
        sqlite3.OperationalError("database or disk is full"),
    ],
    ids=str,
)
def test_a_disk_that_fills_up_is_told_with_the_bytes(
    target: Path, layers: Layers, monkeypatch: pytest.MonkeyPatch, failure: Exception
) -> None:
    fail_at(monkeypatch, "pegs", failure)
    with pytest.raises(InputRefused, match=r"plan\.gpkg: found \d+ bytes free.*about \d+ bytes"):
        write_plan(target, layers, CRS, DESCRIBE)
    assert_untouched(target)


def lying_disk(monkeypatch: pytest.MonkeyPatch, free_bytes: list[int]) -> None:
    """A disk that tells these figures one after the other, the last one ever after."""
    real: DiskUsage = shutil.disk_usage

    def usage(path: Path) -> "shutil._ntuple_diskusage":
        free = free_bytes.pop(0) if len(free_bytes) > 1 else free_bytes[0]
        return real(path)._replace(free=free)

    monkeypatch.setattr(whole_file.shutil, "disk_usage", usage)


def test_too_small_a_disk_is_told_before_anything_is_written(
    target: Path, layers: Layers, monkeypatch: pytest.MonkeyPatch
) -> None:
    lying_disk(monkeypatch, [1000])
    fail_at(monkeypatch, "property", AssertionError("was written to"))
    with pytest.raises(InputRefused, match="found 1000 bytes free"):
        write_plan(target, layers, CRS, DESCRIBE)
    assert_untouched(target)


def test_a_library_that_loses_the_reason_is_not_believed_on_a_full_disk(
    target: Path, layers: Layers, monkeypatch: pytest.MonkeyPatch
) -> None:
    lying_disk(monkeypatch, [10**12, 4096])
    failure = sqlite3.OperationalError("disk I/O error")
    fail_at(monkeypatch, "pegs", failure)
    with pytest.raises(InputRefused, match="found 4096 bytes free"):
        write_plan(target, layers, CRS, DESCRIBE)
    assert_untouched(target)


@pytest.mark.parametrize("journal", ["delete", "wal"])
def test_a_file_that_another_program_holds_is_refused_and_then_replaced(
    target: Path, layers: Layers, journal: str
) -> None:
    target.unlink()
    write_plan(target, layers, CRS, DESCRIBE)
    with closing(sqlite3.connect(target, isolation_level=None)) as holder:
        holder.execute(f"PRAGMA journal_mode={journal}")
        holder.execute("SELECT count(*) FROM pegs").fetchone()
        if journal == "delete":
            holder.execute("BEGIN IMMEDIATE")
        content = target.read_bytes()
        with pytest.raises(InputRefused, match="another program holds open"):
            write_plan(target, layers, CRS, DESCRIBE)
        assert target.read_bytes() == content
        assert not list(target.parent.glob(".*"))
    write_plan(target, layers, CRS, DESCRIBE)
    assert_untouched(target, target.read_bytes())


def test_a_file_that_is_taken_hold_of_meanwhile_is_refused(target: Path) -> None:
    target.unlink()
    with closing(sqlite3.connect(target, isolation_level=None)) as holder:
        holder.execute("CREATE TABLE mine (id)")
        content = target.read_bytes()

        def write_while_the_other_begins() -> None:
            with written_whole(target, 0) as temporary:
                temporary.write_bytes(b"new")
                holder.execute("BEGIN EXCLUSIVE")

        with pytest.raises(InputRefused, match="another program holds open"):
            write_while_the_other_begins()
    assert_untouched(target, content)


def test_a_log_left_beside_the_old_file_is_not_played_into_the_new_one(target: Path) -> None:
    for ending in ("-wal", "-shm", "-journal"):
        target.with_name(target.name + ending).write_bytes(b"stale")
    write_new(target)
    assert_untouched(target, b"new")


def test_a_broken_sqlite_file_is_replaced(target: Path) -> None:
    target.write_bytes(b"SQLite format 3\0" + b"\xff" * 200)
    write_new(target)
    assert target.read_bytes() == b"new"


def test_places_that_cannot_be_written_to_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="no such folder"):
        refuse_unwritable(tmp_path / "missing" / "plan.gpkg")
    with pytest.raises(InputRefused, match="a folder or device"):
        refuse_unwritable(tmp_path)


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_read_only_folder_is_refused(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(InputRefused, match="may not be written to"):
        refuse_unwritable(tmp_path / "plan.gpkg")
