"""Values as stages make them, and what it means that one came back as it was."""

from dataclasses import fields, is_dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from geopandas.testing import assert_geodataframe_equal

from soakline.findings import Finding
from soakline.grid import Grid
from soakline.inputs.types import Elevation, Property, RainTable
from soakline.problems import InputRefused
from soakline.runfile.sections import TerrainKeys
from soakline.store.folder import MARKER
from soakline.store.stage_store import StageStore
from soakline.terrain.condition import condition_ground

GRID = Grid(60, 70, 600_000.0, 6_000_000.0, 2.0, gpd.GeoSeries(crs=32755).crs.to_wkt())


def elevation() -> Elevation:
    """A slope with a hollow and a hole in it."""
    row, column = np.indices(GRID.shape)
    dem = (100.0 + 0.2 * row - 3.0 * np.exp(-((row - 30) ** 2 + (column - 35) ** 2) / 40.0)).astype(
        np.float32
    )
    dem[:4, :4] = np.nan
    return Elevation(GRID, dem)


def geometries() -> list[object]:
    """One of every kind, with and without Z, empty ones and none."""
    ring = shapely.LinearRing([(0, 0), (4, 0), (4, 3)])
    hole = shapely.Polygon([(0, 0), (9, 0), (9, 9), (0, 9)], [[(1, 1), (2, 1), (2, 2)]])
    return [
        shapely.Point(1, 2),
        shapely.Point(1, 2, 3),
        shapely.Point(),
        shapely.set_srid(shapely.Point(5, 6), 32755),
        shapely.LineString([(0, 0, 5.5), (1, 1, 5.25)]),
        ring,
        hole,
        shapely.Polygon(),
        shapely.MultiPolygon([hole]),
        shapely.MultiLineString([ring, ring]),
        shapely.GeometryCollection([hole, ring]),
        None,
    ]


def frames() -> dict[str, pd.DataFrame]:
    """Frames with columns of every kind that layers have, nulls among them."""
    table = pd.DataFrame(
        {
            "name": ["a", None, "ü"],
            "count": pd.array([1, None, 3], dtype="Int64"),
            "held": pd.array([True, None, False], dtype="boolean"),
            "amount_m3": [0.1, np.nan, -0.0],
            "whole": [1, 2, 3],
            "text": pd.array(["x", None, "z"], dtype="string"),
            "kind": pd.Categorical(["b", "a", "b"]),
            "at": pd.to_datetime(["2020-01-01", None, "2021-06-01T12:00"], format="ISO8601"),
            "other": [(1, 2), None, "mixed"],
        }
    )
    places = table.set_index(pd.Index(["p", "q", "r"]))[["name"]]
    crs = "EPSG:32755"
    return {
        "table": table,
        "empty": table.iloc[:0],
        "layer": gpd.GeoDataFrame(places, geometry=list(shapely.points([[0, 1], [2, 3], [4, 5]]))),
        "layer with crs": gpd.GeoDataFrame(table, geometry=[*geometries()[:2], None], crs=crs),
        "empty layer": gpd.GeoDataFrame({"name": []}, geometry=[], crs=crs),
    }


def arrays() -> dict[str, np.ndarray]:
    """Arrays of every kind and shape."""
    random = np.random.default_rng(1)
    ground = random.random((50, 40), dtype=np.float32)
    ground[3, 4] = np.nan
    objects = np.empty((2, 6), dtype=object)
    objects[:] = np.array(geometries(), dtype=object).reshape(2, 6)
    return {
        "ground": ground,
        "columns first": np.asfortranarray(ground),
        "with gaps": ground[::2, ::-3],
        "of a larger one": ground[10:20],
        "none": np.zeros((0, 2)),
        "one": np.array(1.5),
        "bool": ground > 0.5,
        "uint8": random.integers(0, 9, (7, 5), dtype=np.uint8),
        "uint32": random.integers(0, 9, 11, dtype=np.uint32),
        "big-endian": np.arange(5, dtype=">i4"),
        "dates": np.array(["2020-01-01", "NaT"], dtype="datetime64[ns]"),
        "text": np.array(["a", "bcd"]),
        "fields": np.array([(1, 2.0), (3, 4.0)], dtype=[("cell", "i8"), ("level_m", "f8")]),
        "geometries": objects,
        "sequences": np.array([None, [1, 2], (3, 4)], dtype=object),
    }


def everything() -> dict[str, object]:
    """A tree of all that stages hand on."""
    shared = np.arange(6.0)
    return {
        "terrain": condition_ground(elevation(), TerrainKeys(hollow_area_m2=4.0)),
        "property": Property("Räume", shapely.MultiPolygon([shapely.box(0, 0, 1, 1)])),
        "rain": RainTable(np.array([5.0, 10.0]), ("10", "1%"), np.ones((2, 2))),
        "findings": (Finding("no_swale", "caution", "", "", "figures"),),
        "frames": frames(),
        "arrays": arrays(),
        "geometries": geometries(),
        "plain": (None, True, -1, 10**30, 0.1, float("inf"), -0.0, "text", b"bytes", {1, 2}),
        "numbers": [np.float64(0.1), np.int32(4), np.bool_(True)],
        "nested": [[{"a": ((),)}], {}],
        "twice": (shared, shared),
    }


def assert_same(one: object, other: object) -> None:
    """Fail unless both are alike to the bit, types and shapes included."""
    assert type(one) is type(other)
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        assert (one.dtype, one.shape) == (other.dtype, other.shape)
        if one.dtype.hasobject:
            assert_same(one.ravel().tolist(), other.ravel().tolist())
        else:
            assert one.tobytes() == other.tobytes()
    elif isinstance(one, shapely.Geometry) and isinstance(other, shapely.Geometry):
        assert shapely.to_wkb(one, include_srid=True) == shapely.to_wkb(other, include_srid=True)
    elif isinstance(one, gpd.GeoDataFrame) and isinstance(other, gpd.GeoDataFrame):
        assert_geodataframe_equal(one, other)
        assert one.crs == other.crs
    elif isinstance(one, pd.DataFrame) and isinstance(other, pd.DataFrame):
        pd.testing.assert_frame_equal(one, other, check_exact=True)
    elif isinstance(one, dict) and isinstance(other, dict):
        assert list(one) == list(other)
        assert_same(list(one.values()), list(other.values()))
    elif isinstance(one, tuple | list) and isinstance(other, tuple | list):
        assert len(one) == len(other)
        for own, others in zip(one, other, strict=True):
            assert_same(own, others)
    elif is_dataclass(one):
        for field in fields(one):
            assert_same(getattr(one, field.name), getattr(other, field.name))
    else:
        assert repr(one) == repr(other)


def arrays_of(value: object) -> list[np.ndarray]:
    """Every array of a tree."""
    if isinstance(value, np.ndarray):
        return [value]
    if isinstance(value, dict):
        return arrays_of(list(value.values()))
    if isinstance(value, tuple | list):
        return [array for item in value for array in arrays_of(item)]
    if is_dataclass(value):
        return arrays_of([getattr(value, field.name) for field in fields(value)])
    return []


def never() -> object:
    """Stand in for a stage that must not run."""
    raise AssertionError("the stage was run")


def opened(
    folder: Path, told: list[str], limit_gib: float = 1.0, fresh: bool = False
) -> StageStore:
    """Open a store that tells into a list."""
    return StageStore(folder, limit_gib, fresh, told.append)


def refuse() -> object:
    """Stand in for a stage that refuses its input."""
    raise InputRefused([])


def entry_of(folder: Path, stage: str = "terrain") -> Path:
    """The one result of a stage."""
    (path,) = folder.glob(f"{stage}@*")
    return path


def kept_stages(folder: Path) -> set[str]:
    """Stages that a folder holds results of, and the names of other files, but for the marker."""
    return {path.name.partition("@")[0] for path in folder.iterdir()} - {MARKER}
