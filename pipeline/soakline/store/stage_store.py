"""Stages that are not run again: their results kept from run to run, checked, bounded in size."""

import hashlib
import time
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field
from mmap import mmap
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

from soakline import lean
from soakline.problems import InputRefused
from soakline.store.description import StoreDescription, described
from soakline.store.entry import Head, Unusable, read_entry, write_entry
from soakline.store.folder import (
    clear_leftovers,
    entry_path,
    folder_problem,
    is_marked,
    make_ours,
    make_room,
    mark_used,
    remove,
    written_whole,
)
from soakline.store.keys import Key, key_of
from soakline.store.packing import NotKept, pack

LEAN_FROM_BYTES = 1 << 30
"""Results as large as this are used as they lie in the store, to leave memory to other things."""
FILE_DIGESTS = "file digest"
"""Stage under which digests of input files are kept."""

# A file that changed this short a while ago may change again without its times telling.
_SETTLED_S = 2.0

T = TypeVar("T")


@dataclass(slots=True)
class StageStore:
    """Results of stages, kept in a folder.

    Nothing that goes wrong with it fails a run: it is reported, once for each cause, and the stage
    is run. The folder is made when the first result is stored, so that a refused run leaves none
    behind. Several runs may use one folder at once.

    Parameters
    ----------
    folder : of the store; None keeps nothing
    limit_gib : over this, results unused for longest are dropped, but none that this run has used
    fresh : what is stored is not loaded, but made and stored anew
    report : is told one line of each thing that goes wrong
    lean_from_bytes : results of as many bytes are used as they lie in the store from the start

    Raises
    ------
    InputRefused
        If the folder is a file, may not be written to, or holds other files.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     store = StageStore(Path(folder), 1.0, False, print)
    ...     first = store.kept("terrain", key_of("a DEM"), lambda: (1.0, 2.0))
    ...     again = store.kept("terrain", key_of("a DEM"), lambda: (0.0, 0.0))
    >>> again, store.made, store.loaded
    ((1.0, 2.0), ['terrain'], ['terrain'])
    """

    folder: Path | None
    limit_gib: float
    fresh: bool
    report: Callable[[str], None]
    lean_from_bytes: int = LEAN_FROM_BYTES
    made: list[str] = field(default_factory=list)
    """Stages that this run had to run, in order."""
    loaded: list[str] = field(default_factory=list)
    """Stages whose results this run found."""
    _own: set[str] = field(default_factory=set)
    _reported: set[str] = field(default_factory=set)
    _digests: dict[Key, str] = field(default_factory=dict)
    """Of files read by this run, stored with the first result of a stage."""
    _behind: Executor | None = None
    """Writes beside the stages that follow; None writes at once."""
    _writing: list[tuple[str, "Future[None]"]] = field(default_factory=list)
    _storing: Lock = field(default_factory=Lock)
    """Stages may end in several threads; one value at a time is made ready for writing."""

    def __post_init__(self) -> None:
        problem = folder_problem(self.folder, "--work") if self.folder else None
        if problem:
            raise InputRefused([problem])

    def clear_leftovers(self) -> None:
        """Remove what killed runs left half-written, though this one may have nothing to store."""
        if self.folder is not None:
            with suppress(OSError):
                if is_marked(self.folder):
                    clear_leftovers(self.folder)

    def write_behind(self) -> None:
        """Write results in a thread, beside the stages that follow, until `finish`."""
        self._behind = ThreadPoolExecutor(max_workers=1)

    def kept(self, stage: str, key: Key, make: Callable[[], T]) -> T:
        """Result of a stage: as it was stored under this key, else made now, and stored.

        Parameters
        ----------
        stage : lower-case words
        key : of all that `make` uses
        make : runs the stage

        Returns
        -------
        The value. Its arrays are read-only; if it was loaded, or is large, they lie in the store's
        file.
        """
        found = self._loaded(stage, key)
        if found is not None:
            self.loaded.append(stage)
            value: T = found[0]
            return value
        value = make()
        self.made.append(stage)
        if self._store(stage, key, value):
            found = self._loaded(stage, key)
        return value if found is None else found[0]

    def holds(self, stage: str, key: Key) -> bool:
        """Whether a result is stored under this key, as far as its name tells."""
        if self.folder is None:
            return False
        path = entry_path(self.folder, stage, key)
        return path.is_file() and (not self.fresh or path.name in self._own)

    def file_digest(self, path: Path) -> str:
        """SHA-256 of a file, hexadecimal; remembered for as long as the file stays as it is.

        A file counts as unchanged while its path, inode, size and times are the same. One that
        changed less than two seconds ago is not remembered.

        Raises
        ------
        OSError
            If the file cannot be read.
        """
        before = _state(path)
        key = key_of(str(path.absolute()), before)
        found = self._loaded(FILE_DIGESTS, key)
        if found is not None:
            return str(found[0])
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        settled_ns = time.time_ns() - round(_SETTLED_S * 1e9)
        if max(before[-2:]) < settled_ns and _state(path) == before:
            self._digests[key] = digest
        return digest

    def finish(self) -> None:
        """Wait until all is written that is written beside the stages; tell what could not be."""
        while self._writing:
            stage, done = self._writing.pop(0)
            try:
                done.result()
            except OSError as error:
                self._not_kept(stage, error)

    def size(self) -> int:
        """Bytes of all that is kept."""
        return self.describe().size_bytes

    def describe(self) -> StoreDescription:
        """Where the store is, how big, and what is in it by stage."""
        return described(self.folder, self._limit_bytes)

    @property
    def _limit_bytes(self) -> int:
        return round(self.limit_gib * 2**30)

    def _loaded(self, stage: str, key: Key) -> tuple[Any] | None:
        """The stored value, in a tuple, since it may be None itself; None if there is none."""
        if self.folder is None:
            return None
        path = entry_path(self.folder, stage, key)
        if self.fresh and path.name not in self._own:
            return None
        try:
            value = read_entry(path, stage, key, self._is_mapped)
        except FileNotFoundError:
            return None
        except Unusable as unusable:
            self._tell(path.name, f"a kept result of stage {stage} {unusable}; it is made anew")
            remove(path)
            return None
        self._own.add(path.name)
        mark_used(path)
        return (value,)

    def _is_mapped(self, memory: mmap) -> None:
        if len(memory) >= self.lean_from_bytes:
            lean.note(memory)

    def _store(self, stage: str, key: Key, value: object) -> bool:
        """Store a result; whether it is to be used as it lies in the store."""
        if self.folder is None:
            return False
        with self._storing:
            try:
                make_ours(self.folder)
                while self._digests:
                    self._write(self.folder, FILE_DIGESTS, *self._digests.popitem())
                size = self._write(self.folder, stage, key, value)
                if size < self.lean_from_bytes:
                    return False
                if self._writing:
                    self._writing.pop()[1].result()
            except (NotKept, OSError) as error:
                self._not_kept(stage, error)
                return False
        return True

    def _not_kept(self, stage: str, error: Exception) -> None:
        # One full disk is one line, however many stages meet it.
        cause = str(error.errno) if isinstance(error, OSError) else stage
        self._tell(cause, f"the result of stage {stage} is not kept for the next run: {error}")

    def _write(self, folder: Path, stage: str, key: Key, value: object) -> int:
        """Store one value; the bytes that it takes.

        Raises
        ------
        NotKept, OSError
            If it cannot be stored.
        """
        packed = pack(value)
        head = Head.of(stage, key, packed)
        path = entry_path(folder, stage, key)
        self._own.add(path.name)
        keep = set(self._own)

        def write() -> None:
            make_room(folder, head.file_bytes, self._limit_bytes, keep)
            with written_whole(path) as file:
                write_entry(file, head, packed)

        if self._behind is None:
            write()
        else:
            # Arrays are read-only from here on: what is written is what was made.
            self._writing.append((stage, self._behind.submit(write)))
        return head.file_bytes

    def _tell(self, cause: str, text: str) -> None:
        if cause not in self._reported:
            self._reported.add(cause)
            self.report(text)


def _state(path: Path) -> tuple[int, ...]:
    """What tells a file from a changed one; times last, in ns."""
    stat = path.stat()
    return stat.st_dev, stat.st_ino, stat.st_size, stat.st_mtime_ns, stat.st_ctime_ns
