"""Keys: alike for what is alike, different for what is different, and for the code behind it."""

import itertools
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.runfile.sections import SetbackKeys, SitingKeys, TerrainKeys
from soakline.section.trench import Trench
from soakline.store import keys
from soakline.store.keys import Key, code_version, key_of


@dataclass(frozen=True)
class Pair:
    first: object
    second: object = None


@dataclass(frozen=True)
class Other:
    first: object
    second: object = None


DIFFERENT: list[tuple[object, ...]] = [
    (),
    (None,),
    (True,),
    (False,),
    (0,),
    (1,),
    (-1,),
    (0.0,),
    (-0.0,),
    (1.0,),
    (np.nextafter(1.0, 2.0),),
    (float("nan"),),
    (float("inf"),),
    ("",),
    ("1",),
    ("None",),
    ("a", "b"),
    ("ab",),
    ("ab", ""),
    ("asb", "c"),
    ("a", "bsc"),
    (("a", "b"),),
    (("a",), "b"),
    ((),),
    ({},),
    ({"a": "b"},),
    ({"a": 1},),
    ({"a": 1, "b": 2},),
    ({"a": 2, "b": 1},),
    (Pair(1),),
    (Pair(1, 2),),
    (Other(1),),
    (key_of(1),),
    (key_of(1).digest,),
    (np.array([1, 2]),),
    (np.array([2, 1]),),
    (np.array([[1, 2]]),),
    (np.array([1, 2], dtype=np.int32),),
    (np.array([1.0, 2.0]),),
    (np.array([1, 2], dtype=">i8"),),
    (np.array([], dtype=np.int64),),
    (np.array(1),),
    (np.array([(1, 2)], dtype=[("a", "i8"), ("b", "i8")]),),
    (np.array([(1, 2)], dtype=[("a", "i8"), ("c", "i8")]),),
    (TerrainKeys(),),
    (TerrainKeys(smoothing_m=4.0),),
    (TerrainKeys(slope_class_pct=(1.0, 2.0)),),
]

plain = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=4),
    lambda inner: (
        st.lists(inner, max_size=3).map(tuple)
        | st.dictionaries(st.text(max_size=2), inner, max_size=3)
    ),
    max_leaves=6,
)


def test_whatever_differs_has_keys_that_differ() -> None:
    for one, other in itertools.combinations(DIFFERENT, 2):
        assert key_of(*one) != key_of(*other), (one, other)


def _exactly(value: object) -> str:
    """Text that is the same for the same value alone."""
    if isinstance(value, dict):
        return "{" + ",".join(f"{k!r}:{_exactly(value[k])}" for k in sorted(value)) + "}"
    if isinstance(value, tuple):
        return "(" + ",".join(map(_exactly, value)) + ")"
    return repr(value)


@given(plain, plain)
def test_keys_are_equal_where_values_are_and_nowhere_else(one: object, other: object) -> None:
    assert (key_of(one) == key_of(other)) == (_exactly(one) == _exactly(other))


@given(st.dictionaries(st.text(max_size=3), st.integers(), min_size=2), st.randoms())
def test_the_order_of_a_dict_does_not_count(value: dict[str, int], random) -> None:
    names = list(value)
    random.shuffle(names)
    assert key_of({name: value[name] for name in names}) == key_of(value)


def test_what_means_the_same_has_the_same_key() -> None:
    ground = np.random.default_rng(2).random((6, 8))
    assert key_of([1, 2]) == key_of((1, 2))
    assert key_of(np.float64(0.1), np.int32(4)) == key_of(0.1, 4)
    assert key_of(ground.T) == key_of(np.ascontiguousarray(ground.T))
    assert key_of(ground[::2]) == key_of(ground[::2].copy())
    assert key_of(TerrainKeys()) == key_of(TerrainKeys(smoothing_m=5.0))


@pytest.mark.parametrize("name", SitingKeys.model_fields)
def test_every_key_of_a_section_counts(name: str) -> None:
    section = SitingKeys()
    others = {float: 7.0, bool: False, str: "A. Name", SetbackKeys: SetbackKeys(well=31.0)}
    changed = section.model_copy(update={name: others[type(getattr(section, name))]})
    assert key_of(changed) != key_of(section)


def test_every_field_of_a_dataclass_counts() -> None:
    trench = Trench(1.5, 0.5, 1.5)
    others = [
        replace(trench, base_width_m=2.0),
        replace(trench, depth_m=0.6),
        replace(trench, batter=2.0),
    ]
    assert len({key_of(own) for own in (trench, *others)}) == 4


def test_a_key_holds_the_keys_that_it_was_made_of() -> None:
    def lines(smoothing_m: float) -> Key:
        terrain = key_of("dem", TerrainKeys(smoothing_m=smoothing_m))
        return key_of(key_of(terrain, SitingKeys()), "lines")

    assert lines(5.0) == lines(5.0) != lines(4.0)


@pytest.mark.parametrize(
    "part",
    [
        Path("dem.tif"),
        {1, 2},
        {1: "a"},
        b"bytes",
        np.array([None]),
        np.longdouble(1.0),
        object(),
        Pair,
        [Path("dem.tif")],
        Pair(Path("dem.tif")),
    ],
)
def test_other_types_have_no_place_in_a_key(part: object) -> None:
    with pytest.raises(TypeError, match="no place in a key"):
        key_of(part)


def test_every_process_makes_the_same_key() -> None:
    program = (
        "from soakline.store.keys import key_of;"
        "print(key_of({'a': 1.5, 'b': ('x', None)}, True).digest)"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", program],
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": ":".join(sys.path)},
            capture_output=True,
            text=True,
            check=True,
        ).stdout.strip()
        for seed in ("1", "2")
    }
    assert digests == {key_of({"b": ["x", None], "a": 1.5}, True).digest}


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A copy of the package's sources that may be changed."""
    package = tmp_path / "soakline"
    for name in ("terrain", "store"):
        shutil.copytree(keys._PACKAGE / name, package / name)
    shutil.copy(keys._PACKAGE / "grid.py", package)
    monkeypatch.setattr(keys, "_PACKAGE", package)
    code_version.cache_clear()
    yield package
    code_version.cache_clear()


def now(*names: str) -> Key:
    code_version.cache_clear()
    return code_version(*names)


def test_a_changed_file_changes_the_version_of_what_uses_it(package: Path) -> None:
    names = [("terrain",), ("terrain.flow",), ("terrain", "grid"), ("grid",), ("store", "grid")]
    before = [now(*own) for own in names]
    assert [now(*own) for own in names] == before
    with (package / "terrain" / "flow.py").open("a") as file:
        file.write("# changed\n")
    assert [now(*own) != old for own, old in zip(names, before, strict=True)] == [
        *(True, True, True),
        *(False, False),
    ]


def test_a_file_that_comes_goes_or_changes_its_name_changes_the_version(package: Path) -> None:
    versions = [now("terrain")]
    new = package / "terrain" / "new.py"
    new.write_text("")
    versions.append(now("terrain"))
    new.rename(new.with_name("newer.py"))
    versions.append(now("terrain"))
    assert len(set(versions)) == 3
    new.with_name("newer.py").unlink()
    assert now("terrain") == versions[0]


def test_compiled_and_other_files_do_not_count(package: Path) -> None:
    before = now("terrain")
    (package / "terrain" / "__pycache__").mkdir(exist_ok=True)
    (package / "terrain" / "__pycache__" / "flow.cpython-311.pyc").write_bytes(b"new")
    (package / "terrain" / "notes.txt").write_text("new")
    assert now("terrain") == before


def test_the_order_of_names_does_not_count() -> None:
    assert now("terrain", "grid") == now("grid", "terrain")


@pytest.mark.usefixtures("package")
def test_another_version_of_a_library_is_another_version_of_the_code(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = now("terrain")
    found = keys._libraries()
    monkeypatch.setattr(keys, "_libraries", lambda: {**found, "numba": "0.0.1"})
    assert {"numba", "numpy", "richdem2", "shapely"} <= set(found)
    assert now("terrain") != before


@pytest.mark.parametrize("name", ["soils", "terrain.flows", "terrain.flow.flow_over"])
def test_a_name_that_is_no_code_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="no package or module"):
        now(name)
