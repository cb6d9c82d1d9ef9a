"""Files that are written whole or not at all: under a temporary name, then renamed."""

import errno
import os
import re
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from urllib.parse import quote

from soakline.ending import cleared
from soakline.geopackage_guard import is_sqlite
from soakline.problems import InputProblem, InputRefused

_SIDE_FILES = ("-journal", "-wal", "-shm")
# No room on the disk, in the user's quota, or under the limit that a shell or a file system sets.
NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


@contextmanager
def written_whole(target: Path, needed_bytes: int) -> Iterator[Path]:
    """Lend a temporary path beside `target`, which takes its place when the block ends well.

    However the block fails, signals included, the temporary is removed and `target` stays as it
    was. A kill leaves the temporary behind; the next run clears it.

    Parameters
    ----------
    target : where the file shall stand; replaced whatever it holds
    needed_bytes : estimate of the file's size, asked of the disk before the block runs

    Yields
    ------
    Path of the temporary, which does not exist yet; it has the target's suffix

    Raises
    ------
    InputRefused
        If the place cannot be written to, another program holds the target, or the disk is full.
    """
    target = Path(os.path.realpath(target))  # a link keeps pointing: its file is what is replaced
    refuse_unwritable(target)
    clear_dead_leftovers(target)
    temporary = _temporary(target, os.getpid())
    _remove_with_side_files(temporary)
    if shutil.disk_usage(target.parent).free < needed_bytes:
        raise _disk_full(target, needed_bytes)
    with cleared(lambda: _remove_with_side_files(temporary)):
        try:
            yield temporary
            flush_to_disk(temporary)
            # Asked again: the writing took time, and what holds the file now would lose its ground.
            _refuse_if_held(target)
            _remove_side_files(target)
            temporary.replace(target)
            flush_to_disk(target.parent)
        except Exception as error:
            if _disk_is_full(error, temporary, needed_bytes):
                _remove_with_side_files(temporary)  # what is free is told as the user will find it
                raise _disk_full(target, needed_bytes) from error
            raise


@contextmanager
def scratch_beside(target: Path, needed_bytes: int) -> Iterator[Path]:
    """Lend a hidden folder beside `target` for files on their way; gone when the block ends.

    A kill leaves it behind; the next run for the same target clears it. On the target's own disk
    there is one place to run full, and none where memory stands in for a disk.

    Parameters
    ----------
    target : file that the folder's files will become part of
    needed_bytes : estimate of what is written into it

    Yields
    ------
    Path of the empty folder

    Raises
    ------
    InputRefused
        If the disk is full, or becomes so.
    """
    target = Path(os.path.realpath(target))
    clear_dead_leftovers(target)
    folder = _temporary(target, os.getpid())
    folder = folder.with_name(f"{folder.name}-files")
    shutil.rmtree(folder, ignore_errors=True)
    if shutil.disk_usage(target.parent).free < needed_bytes:
        raise _disk_full(target, needed_bytes)
    with cleared(lambda: shutil.rmtree(folder, ignore_errors=True)):
        try:
            folder.mkdir()
            yield folder
        except Exception as error:
            if _disk_is_full(error, folder, needed_bytes):
                shutil.rmtree(folder, ignore_errors=True)
                raise _disk_full(target, needed_bytes) from error
            raise


def refuse_unwritable(target: Path) -> None:
    """Refuse a place that could not be written to, before any long work is done for it.

    Raises
    ------
    InputRefused
        If the folder is missing or read-only, the target is no plain file, or is held by another
        program.
    """
    folder = target.parent
    if not folder.is_dir():
        raise _refused(target, "no such folder", "a folder that exists", f"Create {folder}.")
    if target.exists() and not target.is_file():
        raise _refused(target, "a folder or device", "a file to write or replace")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise _refused(target, "a folder that may not be written to", "a writable folder")
    _refuse_if_held(target)


def _refused(target: Path, found: str, allowed: str, mend: str = "") -> InputRefused:
    return InputRefused([InputProblem(str(target), "", found, allowed, mend)])


def _disk_full(target: Path, needed_bytes: int) -> InputRefused:
    free = shutil.disk_usage(target.parent).free
    quota = ", but a quota or a limit on the size of files" if free >= needed_bytes else ""
    return _refused(
        target,
        f"{free} bytes free on its disk{quota}",
        f"about {needed_bytes} bytes free to write it",
        "Nothing was written. Make room, or write to another disk.",
    )


def _disk_is_full(error: Exception, temporary: Path, needed_bytes: int) -> bool:
    """Whether a failure, or what it was raised from, comes of a full disk.

    Libraries pass the system's error on as text, or lose it ("failed to commit", "disk I/O error");
    then the disk itself is asked whether the whole file could still go on it.
    """
    link: BaseException | None = error
    while link is not None:
        if isinstance(link, InputRefused):
            return False
        if isinstance(link, OSError) and link.errno in NO_ROOM:
            return True
        if re.search("disk is full|no space left", str(link), re.IGNORECASE):
            return True
        link = link.__cause__ or link.__context__
    if not isinstance(error, RuntimeError | OSError | sqlite3.Error):
        return False
    written = [temporary] if temporary.is_file() else list(temporary.rglob("*"))
    left = shutil.disk_usage(temporary.parent).free
    if left + sum(file.stat().st_size for file in written) < needed_bytes:
        return True
    room = temporary / "room" if temporary.is_dir() else temporary
    return not _may_grow_to(needed_bytes, room)


def _may_grow_to(needed_bytes: int, temporary: Path) -> bool:
    """Whether the system lets the file have its size, which is then taken from the disk."""
    if not hasattr(os, "posix_fallocate"):
        return True
    try:
        with temporary.open("ab") as file:
            os.posix_fallocate(file.fileno(), 0, needed_bytes)
    except OSError as error:
        return error.errno not in NO_ROOM
    return True


def _refuse_if_held(target: Path) -> None:
    """Refuse a target that another program holds open with an SQLite lock."""
    if not is_sqlite(target):
        return
    place = f"file:{quote(str(target))}?mode=rw"
    try:
        with closing(sqlite3.connect(place, uri=True, timeout=0, isolation_level=None)) as held:
            # Without this, one who only keeps a file with a write-ahead log open is not seen.
            held.execute("PRAGMA locking_mode=EXCLUSIVE")
            held.execute("BEGIN EXCLUSIVE")
            held.execute("ROLLBACK")
    except sqlite3.DatabaseError as error:
        # Any other failure is the old file's own, and it is to be replaced whatever it holds.
        if error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise _refused(
                target,
                "a file that another program holds open",
                "a file that no other program uses",
                "Close it there, or write to another file.",
            ) from error


def _temporary(target: Path, pid: int) -> Path:
    # Hidden, and with the suffix at the end, since GDAL judges a file by it.
    return target.with_name(f".{target.stem}.part-{pid}{target.suffix}")


def clear_dead_leftovers(target: Path) -> None:
    """Remove temporaries of this target whose process is gone.

    Parameters
    ----------
    target : in a folder that exists
    """
    target = Path(os.path.realpath(target))
    pattern = re.compile(
        re.escape(f".{target.stem}.part-") + r"(\d+)" + re.escape(target.suffix) + r"(-\w+)?"
    )
    for path in target.parent.iterdir():
        match = pattern.fullmatch(path.name)
        if not match or _is_alive(int(match[1])):
            continue
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            with suppress(OSError):
                path.unlink()


def _is_alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True  # somebody else's, but there
    return True


def _remove_with_side_files(path: Path) -> None:
    with suppress(FileNotFoundError):
        path.unlink()
    _remove_side_files(path)


def _remove_side_files(path: Path) -> None:
    # A log left beside an old file would be played into the new one by whoever opens it next.
    for ending in _SIDE_FILES:
        with suppress(FileNotFoundError):
            path.with_name(path.name + ending).unlink()


def flush_to_disk(path: Path) -> None:
    """Wait until what is written of a file or folder is on the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
