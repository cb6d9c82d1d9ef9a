"""What a stage's result depends on, as one short text: inputs, keys of the run file, code."""

import hashlib
import platform
import struct
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import numpy as np
from pydantic import BaseModel

_PACKAGE = Path(__file__).resolve().parents[1]
# Libraries whose code shapes results. Others draw, print or test.
_LIBRARIES = (
    "contourpy",
    "fiona",
    "geopandas",
    "networkx",
    "numba",
    "numpy",
    "pandas",
    "pyogrio",
    "pyproj",
    "rasterio",
    "richdem2",
    "scipy",
    "shapely",
)


@dataclass(frozen=True, slots=True)
class Key:
    """A SHA-256 over all that a value was made from.

    Parameters
    ----------
    digest : hexadecimal
    """

    digest: str


def key_of(*parts: object) -> Key:
    """Key of nested plain values; the same in every process and on every machine.

    Parameters
    ----------
    parts : None, bool, int, float (to the bit), str, numpy numbers and arrays, other keys; sections
        of the run file and dataclasses, by their fields; tuples and lists, which count as the same,
        and dicts with text as keys, whose order does not count

    Raises
    ------
    TypeError
        If a part is of another type. So is a path: it tells where a file is, not what it holds;
        `StageStore.file_digest` tells that.

    Examples
    --------
    >>> key_of(1, "a") == key_of(1, "a")
    True
    >>> key_of({"a": 1, "b": 2}) == key_of({"b": 2, "a": 1})
    True
    >>> key_of(1) == key_of(1.0)
    False
    """
    digest = hashlib.sha256()
    for piece in _pieces(parts):
        digest.update(piece)
    return Key(digest.hexdigest())


def _pieces(part: object) -> Iterator[bytes | memoryview]:
    """Bytes of a part, kind and length before content, so that no two parts have the same."""
    match part:
        case np.bool_() | np.integer():
            yield from _pieces(part.item())
        case np.floating() if part.itemsize <= 8:
            yield from _pieces(part.item())
        case np.ndarray() if not part.dtype.hasobject:
            yield from _told(b"a", repr((part.dtype.descr, part.shape)).encode())
            yield np.ascontiguousarray(part).reshape(-1).view(np.uint8).data
        case tuple() | list():
            yield from _told(b"t", b"%d" % len(part))
            for item in part:
                yield from _pieces(item)
        case dict() if all(isinstance(name, str) for name in part):
            yield from _told(b"d", b"%d" % len(part))
            for name in sorted(part):
                yield from _pieces((name, part[name]))
        case BaseModel():
            yield from _told(b"m", type(part).__name__.encode())
            yield from _pieces(part.model_dump())
        case Key():
            yield from _told(b"k", part.digest.encode())
        case _ if is_dataclass(part) and not isinstance(part, type):
            yield from _told(b"o", type(part).__name__.encode())
            yield from _pieces({field.name: getattr(part, field.name) for field in fields(part)})
        case _:
            yield from _told(*_plain(part))


def _plain(value: object) -> tuple[bytes, bytes]:
    """Kind and content of a value without parts."""
    match value:
        case None | bool():
            return b"c", repr(value).encode()
        case int():
            return b"i", b"%d" % value
        case float():
            return b"f", struct.pack("<d", value)
        case str():
            return b"s", value.encode("utf-8", "surrogatepass")
    raise TypeError(f"a value of type {type(value).__name__} has no place in a key")


def _told(kind: bytes, content: bytes) -> Iterator[bytes]:
    yield kind + len(content).to_bytes(8, "little")
    yield content


@cache
def code_version(*names: str) -> Key:
    """Key of the code that a stage uses: files of soakline, Python, and the libraries below them.

    Parameters
    ----------
    names : subpackages or modules of soakline: "terrain", "grid", "stages.placing"; exactly these
        count, not what they import

    Raises
    ------
    ValueError
        If there is no such subpackage or module.
    """
    sources = {path for name in names for path in _sources(name)}
    code = {
        path.relative_to(_PACKAGE).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sources
    }
    return key_of(code, platform.python_version(), _libraries())


def _sources(name: str) -> list[Path]:
    place = _PACKAGE.joinpath(*name.split("."))
    module = place.with_name(f"{place.name}.py")
    found = [module] if module.is_file() else list(place.rglob("*.py"))
    if not found:
        raise ValueError(f"soakline has no package or module {name}")
    return found


@cache
def _libraries() -> dict[str, str]:
    found = {}
    for name in _LIBRARIES:
        with suppress(PackageNotFoundError):  # another installer may have it under another name
            found[name] = version(name)
    return found
