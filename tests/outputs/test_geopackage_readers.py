"""The written file through other readers, run after run, and what the writer refuses."""

import sqlite3
from contextlib import closing
from pathlib import Path

import fiona
import pandas as pd
import pyogrio
import pytest
import shapely

from soakline.outputs.columns import LAYERS, SCHEMAS, LayerSchema
from soakline.outputs.empty_plan import empty_plan
from soakline.outputs.geopackage import estimated_bytes, write_plan
from soakline.outputs.geopackage_styles import STYLE_TABLE
from soakline.outputs.geopackage_views import RELATED, VIEWS
from soakline.problems import InputRefused
from tests.outputs.conftest import DESCRIBE
from tests.outputs.hillside import CRS, Layers

every_layer = pytest.mark.parametrize("schema", LAYERS, ids=lambda schema: schema.name)


def assert_same_layer(read: pd.DataFrame, written: pd.DataFrame) -> None:
    for name in written.columns:
        if name == "geom":
            assert shapely.to_wkb(read.geometry.array).tolist() == (
                shapely.to_wkb(written.geometry.array).tolist()
            )
        else:
            mine = written[name].astype(object).where(written[name].notna(), None)
            other = read[name].astype(object).where(read[name].notna(), None)
            assert mine.tolist() == other.tolist(), name


@every_layer
def test_pyogrio_reads_what_was_written(
    plan_file: Path, layers: Layers, schema: LayerSchema
) -> None:
    read = pyogrio.read_dataframe(plan_file, layer=schema.name)
    assert_same_layer(read, layers[schema.name])
    if schema.geometry:
        assert read.crs == CRS


@every_layer
def test_fiona_reads_what_was_written(plan_file: Path, layers: Layers, schema: LayerSchema) -> None:
    written = layers[schema.name]
    with fiona.open(plan_file, layer=schema.name) as source:
        features = list(source)
        assert list(source.schema["properties"]) == list(schema.column_names)
    read = pd.DataFrame([dict(feature.properties) for feature in features])
    assert_same_layer(read, written.drop(columns="geom", errors="ignore"))
    if schema.geometry:
        shapes = [shapely.geometry.shape(feature.geometry) for feature in features]
        assert shapely.to_wkb(shapes).tolist() == shapely.to_wkb(written.geometry.array).tolist()


def test_missing_figures_are_null_and_never_nan(plan_file: Path) -> None:
    sql = "SELECT length_m, typeof(length_m), role FROM swales WHERE fid IN (1, 2)"
    with closing(sqlite3.connect(plan_file)) as opened:
        rows = opened.execute(sql).fetchall()
    assert rows == [(None, "null", "tree"), (1 / 3, "real", "windbreak")]


def test_two_runs_differ_in_last_change_only(layers: Layers, tmp_path: Path) -> None:
    dumps = []
    for name in ("one.gpkg", "two.gpkg"):
        write_plan(tmp_path / name, layers, CRS, DESCRIBE)
        with closing(sqlite3.connect(tmp_path / name)) as opened:
            opened.execute("UPDATE gpkg_contents SET last_change = '1970-01-01T00:00:00.000Z'")
            opened.commit()
        dumps.append((tmp_path / name).read_bytes())
    assert dumps[0] == dumps[1]


def test_a_plan_of_empty_layers_is_whole(layers: Layers, tmp_path: Path) -> None:
    path = tmp_path / "empty.gpkg"
    write_plan(path, {name: layer.iloc[:0] for name, layer in layers.items()}, CRS, DESCRIBE)
    others = {STYLE_TABLE, *(view.name for view in VIEWS), *(f"swales_{name}" for name in RELATED)}
    assert set(pyogrio.list_layers(path)[:, 0]) == set(SCHEMAS) | others
    with closing(sqlite3.connect(path)) as opened:
        sql = """SELECT geometry_type_name, z FROM gpkg_geometry_columns WHERE table_name IN (SELECT
            name FROM sqlite_master WHERE type = 'table') ORDER BY rowid"""
        rows = opened.execute(sql).fetchall()
    assert rows == [
        (schema.geometry.removesuffix("Z").upper(), int(schema.has_z))
        for schema in LAYERS
        if schema.geometry
    ]


def test_a_crs_without_a_code_is_kept_and_known_to_every_layer(
    layers: Layers, tmp_path: Path
) -> None:
    local = "+proj=tmerc +lat_0=-36 +lon_0=148.3 +k=1 +x_0=5000 +y_0=5000 +ellps=GRS80 +units=m"
    moved = {
        name: layer.set_crs(local, allow_override=True) if "geom" in layer.columns else layer
        for name, layer in layers.items()
    }
    path = tmp_path / "local.gpkg"
    write_plan(path, moved, local, DESCRIBE)
    assert pyogrio.read_dataframe(path, layer="pegs").crs.equals(local)
    with closing(sqlite3.connect(path)) as opened:
        unknown = """SELECT srs_id FROM gpkg_geometry_columns WHERE srs_id NOT IN (SELECT srs_id
            FROM gpkg_spatial_ref_sys)"""
        assert opened.execute(unknown).fetchall() == []


def test_the_estimate_of_size_is_enough_and_not_wild(plan_file: Path, layers: Layers) -> None:
    size = plan_file.stat().st_size
    assert size < empty_plan(CRS).file.size + estimated_bytes(layers) < 3 * size


def test_layers_not_of_the_contract_are_refused(layers: Layers, tmp_path: Path) -> None:
    path = tmp_path / "plan.gpkg"
    with pytest.raises(ValueError, match="missing \\['pegs'\\]"):
        write_plan(path, {k: v for k, v in layers.items() if k != "pegs"}, CRS, DESCRIBE)
    with pytest.raises(ValueError, match="storms has columns"):
        write_plan(path, layers | {"storms": layers["storms"].iloc[:, 1:]}, CRS, DESCRIBE)
    with pytest.raises(ValueError, match="not in the working CRS"):
        write_plan(path, layers, "EPSG:32756", DESCRIBE)
    with pytest.raises(InputRefused, match=r"NAME\.gpkg"):
        write_plan(tmp_path / "plan.sqlite", layers, CRS, DESCRIBE)
    assert list(tmp_path.iterdir()) == []
