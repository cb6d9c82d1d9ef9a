"""One kept value as a file: a head that says whose it is, a checksum of every byte, the value.

magic, version of the format, length of the head      16 bytes
xxh3_64 of all other bytes                              8
head: stage, key and lengths of the pieces, as JSON
pieces: the tree, then each array, every one at a multiple of 64 bytes
"""

import json
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from mmap import ACCESS_READ, MADV_DONTNEED, mmap
from pathlib import Path
from typing import Any, BinaryIO

import xxhash

from soakline.store.keys import Key
from soakline.store.packing import Packed, unpack

FORMAT = 2
"""Raised when the layout below or `packing` changes: entries of other formats are made anew."""

_MAGIC = b"soakline"
_LEAD = struct.Struct("<8sII")
_CHECK = struct.Struct("<Q")
_HEAD_AT = _LEAD.size + _CHECK.size
# An entry is checked in pieces of this size, of which only one need be in memory.
_PIECE_BYTES = 1 << 28
# Arrays start at whole cache lines, which compiled loops like best.
_ALIGNED_TO = 64


class Unusable(Exception):
    """An entry cannot be used; says why, to follow the entry's name."""


@dataclass(frozen=True, slots=True)
class Head:
    """Whose an entry is.

    Parameters
    ----------
    stage, key : of the value
    lengths : bytes of each piece
    """

    stage: str
    key: str
    lengths: tuple[int, ...]

    @classmethod
    def of(cls, stage: str, key: Key, packed: Packed) -> "Head":
        """Head of a packed value."""
        pieces = (len(packed.tree), *(array.nbytes for array in packed.arrays))
        return cls(stage, key.digest, pieces)

    @property
    def text(self) -> bytes:
        return json.dumps([self.stage, self.key, self.lengths]).encode()

    def starts(self) -> Iterator[int]:
        """Where each piece starts in the file, and where the last one ends."""
        at = _HEAD_AT + len(self.text)
        for length in self.lengths:
            start = -(-at // _ALIGNED_TO) * _ALIGNED_TO
            yield start
            at = start + length
        yield at

    @property
    def file_bytes(self) -> int:
        """Length of the whole file."""
        return list(self.starts())[-1]


def write_entry(file: BinaryIO, head: Head, packed: Packed) -> None:
    """Write an entry into an empty file.

    Raises
    ------
    OSError
        If it cannot be written, as on a full disk.
    """
    text = head.text
    lead = _LEAD.pack(_MAGIC, FORMAT, len(text))
    check = xxhash.xxh3_64(lead)
    file.write(lead + _CHECK.pack(0) + text)
    check.update(text)
    at = _HEAD_AT + len(text)
    pieces = (memoryview(packed.tree), *packed.arrays)
    for start, piece in zip(head.starts(), pieces, strict=False):
        for part in (bytes(start - at), piece):
            check.update(part)
            file.write(part)
        at = start + piece.nbytes
    file.seek(_LEAD.size)
    file.write(_CHECK.pack(check.intdigest()))


def read_entry(
    path: Path, stage: str, key: Key, told: Callable[[mmap], object] = lambda _: None
) -> Any:
    """Map an entry into memory, check every byte of it, and put its value together.

    Arrays stay in the file: read-only, and in memory only where they are looked at. The file may be
    unlinked or replaced meanwhile.

    Parameters
    ----------
    path : of the entry
    stage, key : whose it should be
    told : is told the memory that the value's arrays lie in

    Raises
    ------
    FileNotFoundError
        If there is none.
    Unusable
        If it is damaged, of another format, of another value, or no entry at all.
    """
    try:
        with path.open("rb") as file:
            memory = mmap(file.fileno(), 0, access=ACCESS_READ)
    except FileNotFoundError:
        raise
    except (OSError, ValueError) as error:  # ValueError: an empty file
        raise Unusable(f"cannot be read ({error})") from error
    head = _checked(memory)
    if (head.stage, head.key) != (stage, key.digest):
        raise Unusable(f"holds another value, of stage {head.stage}")
    content = memoryview(memory)
    pieces = [
        content[start : start + length]
        for start, length in zip(head.starts(), head.lengths, strict=False)
    ]
    try:
        value = unpack(pieces[0], pieces[1:])
    except Exception as error:  # a pickle that does not fit may raise anything at all
        raise Unusable(f"cannot be put together ({error})") from error
    told(memory)
    return value


def _checked(memory: mmap) -> Head:
    """The head of an entry whose every byte is as it was written."""
    content = memoryview(memory)
    if len(content) < _HEAD_AT or content[: len(_MAGIC)] != _MAGIC:
        raise Unusable("is no result of a stage")
    _, written_as, head_bytes = _LEAD.unpack_from(content)
    if written_as != FORMAT:
        raise Unusable("is of another version of the store")
    check = xxhash.xxh3_64(content[: _LEAD.size])
    for start in range(_HEAD_AT, len(content), _PIECE_BYTES):
        check.update(content[start : start + _PIECE_BYTES])
        if len(content) > _PIECE_BYTES:
            memory.madvise(MADV_DONTNEED)
    if check.intdigest() != _CHECK.unpack_from(content, _LEAD.size)[0]:
        raise Unusable("is damaged: its checksum does not hold")
    stage, key, lengths = json.loads(bytes(content[_HEAD_AT : _HEAD_AT + head_bytes]))
    return Head(stage, key, tuple(lengths))
