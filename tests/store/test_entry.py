"""An entry is whole and the one that was asked for, or it is not used."""

from collections.abc import Callable, Iterator
from pathlib import Path
from unittest import mock

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from soakline.store import entry, packing
from soakline.store.entry import Head, Unusable, read_entry, write_entry
from soakline.store.keys import Key, key_of
from soakline.store.packing import Packed, pack
from tests.store.values import assert_same, everything

KEY = key_of("terrain")
VALUE = ("level", 1.5, np.arange(50, dtype=np.float32), np.arange(3, dtype=np.uint8))


def written(path: Path, value: object, stage: str = "terrain", key: Key = KEY) -> bytes:
    packed = pack(value)
    with path.open("wb") as file:
        write_entry(file, Head.of(stage, key, packed), packed)
    return path.read_bytes()


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("entry") / "entry"


@pytest.fixture(autouse=True, scope="module")
def _every_array_apart() -> Iterator[None]:
    """Small entries, that can be damaged at every byte, with all that large ones have."""
    with mock.patch.object(packing, "_APART_BYTES", 0):
        yield


def test_everything_comes_back(path: Path) -> None:
    written(path, everything())
    assert_same(everything(), read_entry(path, "terrain", KEY))


def test_the_head_tells_the_length_of_the_file(path: Path) -> None:
    for value in (VALUE, None, np.zeros(0), [np.zeros(7, np.uint8)] * 3):
        content = written(path, value)
        assert Head.of("terrain", KEY, pack(value)).file_bytes == len(content)


def test_arrays_start_at_multiples_of_64_bytes(path: Path) -> None:
    written(path, [np.arange(n, dtype=np.uint8) for n in range(1, 200, 7)])
    for array in read_entry(path, "terrain", KEY):
        assert array.ctypes.data % 64 == 0
        assert array.flags.aligned


def test_arrays_are_the_file_and_outlive_its_name(path: Path) -> None:
    written(path, VALUE)
    value = read_entry(path, "terrain", KEY)
    mapped = [
        line for line in Path("/proc/self/maps").read_text().splitlines() if str(path) in line
    ]
    address = value[2].ctypes.data
    assert any(
        int(low, 16) <= address < int(high, 16)
        for low, high in (line.split()[0].split("-") for line in mapped)
    )
    assert all(line.split()[1].startswith("r--") for line in mapped)
    path.unlink()
    assert_same(VALUE, value)


def test_a_missing_entry_is_no_fault(path: Path) -> None:
    path.unlink(missing_ok=True)
    with pytest.raises(FileNotFoundError):
        read_entry(path, "terrain", KEY)


@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_any_changed_byte_is_noticed(path: Path, data: st.DataObject) -> None:
    content = bytearray(written(path, VALUE))
    at = data.draw(st.integers(0, len(content) - 1))
    content[at] ^= data.draw(st.integers(1, 255))
    path.write_bytes(content)
    with pytest.raises(Unusable):
        read_entry(path, "terrain", KEY)


def test_one_changed_bit_is_noticed_at_every_byte(path: Path) -> None:
    content = written(path, VALUE)
    for at in range(len(content)):
        path.write_bytes(content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :])
        with pytest.raises(Unusable):
            read_entry(path, "terrain", KEY)


def test_an_entry_cut_short_anywhere_is_noticed(path: Path) -> None:
    content = written(path, VALUE)
    for length in range(len(content)):
        path.write_bytes(content[:length])
        with pytest.raises(Unusable):
            read_entry(path, "terrain", KEY)


def test_bytes_put_in_or_added_are_noticed(path: Path) -> None:
    content = written(path, VALUE)
    for at in (0, 8, 16, 24, 100, len(content)):
        for more in (b"\0", b"\0" * 64, content):
            path.write_bytes(content[:at] + more + content[at:])
            with pytest.raises(Unusable):
                read_entry(path, "terrain", KEY)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda path: path.write_text("notes of somebody\n" * 9), "no result of a stage"),
        (lambda path: path.write_bytes(b""), "cannot be read"),
        (lambda path: (path.unlink(), path.mkdir()), "cannot be read"),
        (lambda path: written(path, VALUE, stage="lines"), "another value, of stage lines"),
        (lambda path: written(path, VALUE, key=key_of("other")), "another value"),
    ],
    ids=["text", "empty", "folder", "another stage", "another key"],
)
def test_what_is_not_the_entry_asked_for_is_told(
    change: Callable[[Path], object], told: str, tmp_path: Path
) -> None:
    path = tmp_path / "entry"
    written(path, VALUE)
    change(path)
    with pytest.raises(Unusable, match=told):
        read_entry(path, "terrain", KEY)


def test_an_entry_of_another_format_is_told(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written(path, VALUE)
    monkeypatch.setattr(entry, "FORMAT", entry.FORMAT + 1)
    with pytest.raises(Unusable, match="another version of the store"):
        read_entry(path, "terrain", KEY)


def test_a_whole_entry_that_names_what_is_not_rebuilt_is_not_used(path: Path) -> None:
    packed = Packed(b"\x80\x05\x8c\x02os\x8c\x06getcwd\x93)R.", ())
    with path.open("wb") as file:
        write_entry(file, Head.of("terrain", KEY, packed), packed)
    with pytest.raises(Unusable, match=r"os\.getcwd is not rebuilt"):
        read_entry(path, "terrain", KEY)


def test_two_writings_of_one_value_are_alike(path: Path) -> None:
    assert written(path, VALUE) == written(path, VALUE)
