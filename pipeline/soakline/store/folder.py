"""The store's folder: known by a marker, filled by renaming, kept under a size."""

import errno
import fcntl
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from soakline.ending import cleared
from soakline.problems import InputProblem
from soakline.store.keys import Key

MARKER = "CACHEDIR.TAG"
"""Backups leave out folders with such a file (Cache Directory Tagging Specification)."""

_SIGNATURE = "Signature: 8a477f597d28d172789f06886806bc55\n"
_OURS = "# The stage store of soakline"
_MARKED = f"""{_SIGNATURE}{_OURS}: results of stages, so that a changed run makes less anew.
# It may be deleted whenever no run is at work. Do not put files of your own here.
"""
_ENTRY = re.compile(r"([a-z][a-z0-9 -]*)@[0-9a-f]{32}")
_TEMPORARY = re.compile(r"\..+\.part")
# The plan is yet to be written, to this disk as a rule.
_LEFT_FREE_BYTES = 1 << 30


@dataclass(frozen=True, slots=True)
class Entry:
    """A file of the store.

    Parameters
    ----------
    path : its name starts with the stage
    stage : stage that it is of
    size_bytes : bytes
    used_ns : when it was last stored or loaded
    """

    path: Path
    stage: str
    size_bytes: int
    used_ns: int


def entry_path(folder: Path, stage: str, key: Key) -> Path:
    """Where the entry of a stage and key stands.

    Raises
    ------
    ValueError
        If the stage's name is not lower-case words.
    """
    name = f"{stage}@{key.digest[:32]}"
    if not _ENTRY.fullmatch(name):
        raise ValueError(f"no name for a stage: {stage!r}")
    return folder / name


def folder_problem(folder: Path, key: str) -> InputProblem | None:
    """What speaks against a folder as a store; None if nothing does. Nothing is written.

    Parameters
    ----------
    folder : that need not exist yet
    key : what names it to the user: "--work"
    """

    def problem(found: str, allowed: str, mend: str = "") -> InputProblem:
        return InputProblem(str(folder), key, found, allowed, mend)

    allowed = "a folder for the stage store, new, empty or of an earlier run"
    try:
        if not folder.exists():
            parent = folder.absolute().parent
            if not parent.is_dir():
                return problem(f"no folder {parent}", "a folder that exists", "Make it first")
            if not os.access(parent, os.W_OK | os.X_OK):
                return problem(f"folder {parent}, read-only", "a folder you may write in")
            return None
        if not folder.is_dir():
            return problem("a file", allowed)
        if not os.access(folder, os.R_OK | os.W_OK | os.X_OK):
            return problem("a folder that you may not read and write", allowed)
        if not _is_ours(folder):
            mend = "Name a folder of its own; nothing is deleted from this one"
            return problem("a folder with other files in it", allowed, mend)
    except OSError as error:
        return problem(f"an unusable path ({error})", allowed)
    return None


def _is_ours(folder: Path) -> bool:
    """Whether a folder has the marker, or nothing but the marker of a run that begins just now."""
    foreign = any(not _TEMPORARY.fullmatch(path.name) for path in folder.iterdir())
    return not foreign or is_marked(folder)


def is_marked(folder: Path) -> bool:
    """Whether a folder, which need not exist, has the marker of a store."""
    try:
        text = (folder / MARKER).read_bytes()
    except FileNotFoundError:
        return False
    return text.startswith(f"{_SIGNATURE}{_OURS}".encode())


def make_ours(folder: Path) -> None:
    """Make the folder if there is none, and mark it.

    Raises
    ------
    OSError
        If it cannot be made or marked, or holds what is not ours.
    """
    folder.mkdir(exist_ok=True)
    if is_marked(folder):
        return
    if not _is_ours(folder):
        raise FileExistsError(f"{folder} holds other files")
    with written_whole(folder / MARKER) as file:
        file.write(_MARKED.encode())


@contextmanager
def written_whole(target: Path) -> Iterator[BinaryIO]:
    """Lend a file that takes the target's place when the block ends well, and is removed else.

    It is not flushed to the disk, which would take seconds: what a power cut leaves unfinished is
    found by its checksum. A lock shows that its writer lives, on whichever machine.
    """
    temporary = target.with_name(f".{target.name}.{secrets.token_hex(8)}.part")
    with cleared(lambda: temporary.unlink(missing_ok=True)), temporary.open("xb") as file:
        try:
            with suppress(OSError):  # some network drives know no locks
                fcntl.flock(file, fcntl.LOCK_EX)
            yield file
            file.flush()
            temporary.replace(target)
        except BaseException:
            # What could not be written is still in the buffer, and would fail once more at the end.
            with suppress(OSError):
                file.close()
            raise


def entries(folder: Path) -> list[Entry]:
    """Every entry of the folder, the longest unused first; none if there is no folder."""
    found = []
    with suppress(OSError), os.scandir(folder) as files:
        for file in files:
            name = _ENTRY.fullmatch(file.name)
            with suppress(FileNotFoundError):  # another run may have dropped it
                if name and file.is_file(follow_symlinks=False):
                    stat = file.stat()
                    path = Path(file.path)
                    found.append(Entry(path, name[1], stat.st_size, stat.st_mtime_ns))
    return sorted(found, key=lambda entry: (entry.used_ns, entry.path.name))


def mark_used(path: Path) -> None:
    """Note that an entry was used now."""
    with suppress(OSError):
        os.utime(path)


def make_room(folder: Path, needed_bytes: int, limit_bytes: int, keep: set[str]) -> None:
    """Drop entries until another one fits, the longest unused first, and what killed runs left.

    A run that has a dropped entry open keeps its contents.

    Parameters
    ----------
    folder : of the store
    needed_bytes : size of the one to come
    limit_bytes : that all together may have; what must be kept may go over it
    keep : names of entries that stay

    Raises
    ------
    OSError
        If the disk would be left without room for a plan.
    """
    clear_leftovers(folder)
    there = entries(folder)
    total = sum(entry.size_bytes for entry in there) + needed_bytes
    wanted_free = needed_bytes + _LEFT_FREE_BYTES
    for entry in there:
        if total <= limit_bytes and shutil.disk_usage(folder).free >= wanted_free:
            break
        if entry.path.name in keep:
            continue
        with suppress(OSError):
            entry.path.unlink(missing_ok=True)
            total -= entry.size_bytes
    if shutil.disk_usage(folder).free < wanted_free:
        raise OSError(errno.ENOSPC, "its disk would be left with less than 1 GiB free")


def remove(path: Path) -> None:
    """Remove an entry, if it is there and may be removed."""
    with suppress(OSError):
        path.unlink()


def clear_leftovers(folder: Path) -> None:
    """Remove unfinished files whose writer is gone: nobody holds their lock."""
    for path in folder.glob(".*.part"):
        with suppress(OSError), path.open("r+b") as file:
            # Its writer may be about to lock it. Files of the future are of before a clock was set.
            if os.fstat(file.fileno()).st_size == 0 and _age_s(path) < 60.0:
                continue
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            path.unlink()


def _age_s(path: Path) -> float:
    return abs(time.time() - path.stat().st_mtime)
