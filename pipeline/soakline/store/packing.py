"""Values as bytes and back: a stream for the tree, and each larger array as it lies in memory.

Loading rebuilds values of the kinds that stages make and nothing else, so that a folder that came
from elsewhere can name no command to be run.
"""

import io
import pickle
from collections.abc import Sequence
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandas.api.extensions import ExtensionArray, ExtensionDtype
from pyproj import CRS

_TABLES = (pd.DataFrame, pd.Series, pd.Index, ExtensionArray, ExtensionDtype)
_KINDS = (np.generic, np.dtype, *_TABLES, CRS)
_PACKAGES = frozenset({"builtins", "numpy", "pandas", "geopandas", "pyproj", "shapely", "soakline"})
# What the libraries above name in their own pickles, besides classes of `_KINDS`.
_BUILDERS = frozenset(
    {
        "builtins.complex",
        "builtins.frozenset",
        "builtins.set",
        "builtins.slice",
        "numpy.frombuffer",
        "numpy.ndarray",
        "numpy._core.multiarray._reconstruct",
        "numpy._core.multiarray.scalar",
        "numpy._core.numeric._frombuffer",
        "pandas.NA",
        "pandas._libs.arrays.__pyx_unpickle_NDArrayBacked",
        "pandas._libs.internals._unpickle_block",
        "pandas._libs.missing.C_NA",
        "pandas._libs.tslibs.timestamps._unpickle_timestamp",
        "pandas.core.indexes.base._new_Index",
        "pandas.core.indexes.datetimes._new_DatetimeIndex",
        "pandas.core.internals.managers.BlockManager",
        "pandas.core.internals.managers.SingleBlockManager",
        "shapely.io.from_wkb",
        "shapely.geometry.polygon._unpickle_linearring",
        "soakline.store.packing.dates",
        "soakline.store.packing.objects",
    }
)

# Smaller arrays are quicker to load from within the tree: ways and pegs have thousands of them.
_APART_BYTES = 4096

Buffer = memoryview | pickle.PickleBuffer


class NotKept(TypeError):
    """A value holds something that would not be rebuilt."""


@dataclass(frozen=True, eq=False, slots=True)
class Packed:
    """A value as bytes.

    Parameters
    ----------
    tree : the value without its larger arrays
    arrays : memory of each larger array, not copied
    """

    tree: bytes
    arrays: tuple[memoryview, ...]


def pack(value: object) -> Packed:
    """Take a value apart; its arrays become read-only, as they will be when they are loaded.

    A kernel that is handed an array is compiled for read-only or for writable ones: so the first
    run compiles what the next ones need, and a stage that writes to what it was handed fails at
    once and not only when its input was loaded.

    Raises
    ------
    NotKept
        If the value would not come back: some object in it is of a kind that is not rebuilt.
    """
    stream = io.BytesIO()
    buffers: list[pickle.PickleBuffer] = []

    def within_tree(memory: pickle.PickleBuffer) -> bool:
        small = memory.raw().nbytes < _APART_BYTES
        if not small:
            buffers.append(memory)
        return small

    packer = _Packer(stream, protocol=5, buffer_callback=within_tree)
    try:
        packer.dump(value)
        # Costs little, as arrays are only pointed at, and tells now what would fail in every rerun.
        unpack(stream.getvalue(), buffers)
    except Exception as error:  # whatever an object's own way of being pickled raises
        raise NotKept(str(error)) from error
    return Packed(stream.getvalue(), tuple(buffer.raw() for buffer in buffers))


def unpack(tree: bytes | memoryview, arrays: Sequence[Buffer]) -> Any:
    """Put a value together again; its arrays lie where the given memory does, and are read-only.

    Raises
    ------
    pickle.UnpicklingError
        If the tree names what is not rebuilt; and whatever a tree of other classes, or none at all,
        makes the unpickler raise.
    """
    return _Unpacker(io.BytesIO(tree), buffers=arrays).load()


def objects(items: Sequence[object], shape: tuple[int, ...]) -> npt.NDArray[np.object_]:
    """Read-only object array, such as geometries."""
    array = np.empty(len(items), dtype=object)
    for i, item in enumerate(items):  # assigned at once, nested sequences would be spread
        array[i] = item
    array = array.reshape(shape)
    array.flags.writeable = False
    return array


def dates(steps: npt.NDArray[np.int64], dtype: "np.dtype[Any]") -> npt.NDArray[Any]:
    """Dates or spans of time, of which numpy lends no memory under their own type."""
    return steps.view(dtype)


class _Packer(pickle.Pickler):
    def reducer_override(self, value: Any) -> Any:
        kind: Any = type(value)
        if kind is not np.ndarray:
            names = _given_in_order(kind)
            if not names:
                return NotImplemented
            return kind, tuple(getattr(value, name) for name in names)
        value.flags.writeable = False
        if value.dtype.hasobject:
            return objects, (value.ravel().tolist(), value.shape)
        if value.dtype.kind in "mM":
            return dates, (value.view(np.int64), value.dtype)
        if not value.flags.forc:  # numpy would put one with gaps into the tree, to load writable
            value = value.copy()
            value.flags.writeable = False
        if value.ndim == 1:
            # As numpy does, in one call: ways have two short arrays each.
            return np.frombuffer, (pickle.PickleBuffer(value), value.dtype)
        return value.__reduce_ex__(5)


@cache
def _given_in_order(kind: type) -> tuple[str, ...]:
    """Fields of a dataclass that is made again by giving it all of them; else none.

    Python's own way of loading frozen dataclasses takes five times as long.
    """
    if not is_dataclass(kind) or hasattr(kind, "__post_init__"):
        return ()
    given = fields(kind)
    if any(field.kw_only or not field.init for field in given):
        return ()
    return tuple(field.name for field in given)


class _Unpacker(pickle.Unpickler):
    def find_class(self, module: str, name: str) -> Any:
        # A module named __main__ is a program, and would be run by being looked into.
        if module.partition(".")[0] in _PACKAGES and not module.endswith("__main__"):
            found = super().find_class(module, name)
            if f"{module}.{name}" in _BUILDERS or _is_of_kind(found):
                return found
        raise pickle.UnpicklingError(f"{module}.{name} is not rebuilt from a store")


def _is_of_kind(found: object) -> bool:
    if not isinstance(found, type):
        return False
    own = found.__module__.startswith("soakline.")
    return issubclass(found, _KINDS) or (own and (is_dataclass(found) or issubclass(found, tuple)))
