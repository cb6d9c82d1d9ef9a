"""The written file by SQL and bytes, row by row of the standard.

Requirement numbers are those of OGC 12-128r18 (GeoPackage 1.3.1).
"""

import re
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from owslib.iso import MD_Metadata

from soakline.outputs.columns import LAYERS, SCHEMAS, LayerSchema
from soakline.outputs.geopackage_styles import STYLE_TABLE
from soakline.outputs.geopackage_tables import CAUTIONS
from soakline.outputs.geopackage_views import RELATED, VIEWS, View
from soakline.outputs.iso_metadata import PlanDescription, iso_record
from soakline.styles.plan_styles import STYLES
from soakline.styles.sld import style_document
from tests.outputs.conftest import DESCRIBE
from tests.outputs.hillside import EPSG, Layers

WITH_GEOMETRY = [schema for schema in LAYERS if schema.geometry]
every_layer = pytest.mark.parametrize("schema", LAYERS, ids=lambda schema: schema.name)
every_geometry = pytest.mark.parametrize("schema", WITH_GEOMETRY, ids=lambda schema: schema.name)

DATETIME = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z"

# What must hold for every file: each query lists what breaks the requirement.
NOTHING_MAY_BREAK = {
    "7 foreign keys": "PRAGMA foreign_key_check",
    "12, 16 every srs_id is known": """
        SELECT srs_id FROM gpkg_contents WHERE srs_id NOT IN (SELECT srs_id FROM
        gpkg_spatial_ref_sys) UNION SELECT srs_id FROM gpkg_geometry_columns WHERE srs_id NOT IN
        (SELECT srs_id FROM gpkg_spatial_ref_sys)""",
    "14 every table named is there": """
        SELECT table_name FROM gpkg_contents WHERE table_name NOT IN (SELECT name FROM
        sqlite_master WHERE type IN ('table', 'view'))""",
    "18, 118 types of content": """
        SELECT table_name FROM gpkg_contents WHERE data_type NOT IN ('features', 'attributes')""",
    "22 one geometry row a feature table": """
        SELECT table_name FROM gpkg_contents c WHERE data_type = 'features' AND 1 <> (SELECT
        count(*) FROM gpkg_geometry_columns g WHERE g.table_name = c.table_name)""",
    "25 geometry type names": """
        SELECT * FROM gpkg_geometry_columns WHERE geometry_type_name NOT IN ('POINT', 'LINESTRING',
        'POLYGON', 'MULTIPOINT', 'MULTILINESTRING', 'MULTIPOLYGON')""",
    "27, 28 z and m": """
        SELECT * FROM gpkg_geometry_columns WHERE z NOT IN (0, 1, 2) OR m NOT IN (0, 1, 2)""",
    "146 the same srs_id in both tables": """
        SELECT * FROM gpkg_geometry_columns g JOIN gpkg_contents c USING (table_name)
        WHERE g.srs_id <> c.srs_id""",
    "4, 59 no stray tables of the standard's prefix": """
        SELECT name FROM sqlite_master WHERE type IN ('table', 'view') AND name LIKE 'gpkg@_%'
        ESCAPE '@' AND name NOT IN ('gpkg_spatial_ref_sys', 'gpkg_contents',
        'gpkg_geometry_columns', 'gpkg_extensions', 'gpkg_tile_matrix_set', 'gpkg_tile_matrix',
        'gpkg_data_columns', 'gpkg_data_column_constraints', 'gpkg_metadata',
        'gpkg_metadata_reference')""",
    "34 no tile pyramids without tiles": "SELECT * FROM gpkg_tile_matrix_set",
    "63 scopes of extensions": """
        SELECT * FROM gpkg_extensions WHERE scope NOT IN ('read-write', 'write-only')""",
    "61 extensions belong to tables that are there": """
        SELECT * FROM gpkg_extensions WHERE table_name IS NULL OR table_name NOT IN (SELECT name
        FROM sqlite_master)""",
    "103 described columns belong to contents": """
        SELECT table_name FROM gpkg_data_columns WHERE table_name NOT IN (SELECT table_name FROM
        gpkg_contents)""",
    "105 described columns are there": """
        SELECT table_name, column_name FROM gpkg_data_columns d WHERE column_name NOT IN (SELECT
        name FROM pragma_table_info(d.table_name))""",
    "106 constraints are lower case and there": """
        SELECT constraint_name FROM gpkg_data_columns WHERE constraint_name IS NOT NULL AND
        (constraint_name <> lower(constraint_name) OR constraint_name NOT IN (SELECT constraint_name
        FROM gpkg_data_column_constraints))""",
    "108-114 enumerations": """
        SELECT * FROM gpkg_data_column_constraints WHERE constraint_type <> 'enum' OR min IS NOT
        NULL OR max IS NOT NULL OR min_is_inclusive IS NOT NULL OR max_is_inclusive IS NOT NULL OR
        value IS NULL""",
    "96-99 metadata references": """
        SELECT * FROM gpkg_metadata_reference WHERE reference_scope NOT IN ('geopackage', 'table')
        OR (reference_scope = 'geopackage') <> (table_name IS NULL) OR column_name IS NOT NULL
        OR row_id_value IS NOT NULL""",
    "101 metadata referred to is there": """
        SELECT * FROM gpkg_metadata_reference WHERE md_file_id NOT IN (SELECT id FROM
        gpkg_metadata)""",
    "102 parents": """
        SELECT * FROM gpkg_metadata_reference WHERE md_parent_id = md_file_id OR (md_parent_id IS
        NOT NULL AND md_parent_id NOT IN (SELECT id FROM gpkg_metadata))""",
}

TABLES_OF_THE_STANDARD = {
    "gpkg_spatial_ref_sys": "srs_name srs_id organization organization_coordsys_id definition "
    "description",
    "gpkg_contents": "table_name data_type identifier description last_change min_x min_y max_x "
    "max_y srs_id",
    "gpkg_geometry_columns": "table_name column_name geometry_type_name srs_id z m",
    "gpkg_extensions": "table_name column_name extension_name definition scope",
    "gpkg_data_columns": "table_name column_name name title description mime_type constraint_name",
    "gpkg_data_column_constraints": "constraint_name constraint_type value min min_is_inclusive "
    "max max_is_inclusive description",
    "gpkg_metadata": "id md_scope md_standard_uri mime_type metadata",
    "gpkg_metadata_reference": "reference_scope table_name column_name row_id_value timestamp "
    "md_file_id md_parent_id",
}


@pytest.fixture(scope="module")
def database(plan_file: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(f"file:{plan_file}?mode=ro", uri=True)) as opened:
        yield opened


def test_requirements_1_to_3_the_file_says_what_it_is(plan_file: Path) -> None:
    head = plan_file.read_bytes()[:72]
    assert head[:16] == b"SQLite format 3\0"
    assert struct.unpack(">I", head[68:72]) == (0x47504B47,)
    assert struct.unpack(">I", head[60:64]) == (10300,)
    assert plan_file.suffix == ".gpkg"


def test_requirement_6_integrity(database: sqlite3.Connection) -> None:
    assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


@pytest.mark.parametrize("requirement", NOTHING_MAY_BREAK)
def test_nothing_breaks_requirement(database: sqlite3.Connection, requirement: str) -> None:
    assert database.execute(NOTHING_MAY_BREAK[requirement]).fetchall() == []


@pytest.mark.parametrize("table", TABLES_OF_THE_STANDARD)
def test_tables_of_the_standard_have_its_columns(database: sqlite3.Connection, table: str) -> None:
    columns = [row[1] for row in database.execute(f"PRAGMA table_info({table})")]
    assert columns == TABLES_OF_THE_STANDARD[table].split()


def test_requirement_11_reference_systems(database: sqlite3.Connection) -> None:
    sql = "SELECT srs_id, organization, organization_coordsys_id FROM gpkg_spatial_ref_sys"
    rows = database.execute(sql).fetchall()
    assert {(4326, "EPSG", 4326), (-1, "NONE", -1), (0, "NONE", 0), (EPSG, "EPSG", EPSG)} == set(
        rows
    )


def test_requirement_15_times(database: sqlite3.Connection) -> None:
    for (time,) in database.execute("SELECT last_change FROM gpkg_contents"):
        assert re.fullmatch(DATETIME, time)
    times = database.execute("SELECT DISTINCT timestamp FROM gpkg_metadata_reference").fetchall()
    assert times == [("1970-01-01T00:00:00.000Z",)]


@every_layer
def test_requirements_5_29_31_119_columns_and_key(
    database: sqlite3.Connection, schema: LayerSchema
) -> None:
    info = database.execute(f"PRAGMA table_info({schema.name})").fetchall()
    kinds = {"text": "TEXT", "integer": "INTEGER", "real": "REAL", "boolean": "BOOLEAN"}
    shape = [("geom", flat_name(schema))] if schema.geometry else []
    columns = [(column.name, kinds[column.kind]) for column in schema.columns]
    assert [(row[1], row[2]) for row in info] == [("fid", "INTEGER"), *shape, *columns]
    assert [row[1] for row in info if row[5]] == ["fid"]


@every_layer
def test_contents_tell_title_and_description(
    database: sqlite3.Connection, schema: LayerSchema
) -> None:
    sql = "SELECT data_type, identifier, description FROM gpkg_contents WHERE table_name = ?"
    data_type = "features" if schema.geometry else "attributes"
    rows = database.execute(sql, (schema.name,)).fetchall()
    assert rows == [(data_type, schema.title, schema.description)]


@every_layer
def test_every_column_is_described_with_its_unit(
    database: sqlite3.Connection, schema: LayerSchema
) -> None:
    sql = """SELECT column_name, title, description FROM gpkg_data_columns WHERE table_name = ?
        ORDER BY rowid"""
    described = {row[0]: row[1:] for row in database.execute(sql, (schema.name,))}
    shape = ["geom"] if schema.geometry else []
    assert list(described) == ["fid", *shape, *schema.column_names]
    for column in schema.columns:
        title, description = described[column.name]
        assert column.title in title
        assert column.description in description
        assert column.unit in title
        assert column.unit in description


def test_requirement_107_enumerations_hold_the_contracts_values(
    database: sqlite3.Connection,
) -> None:
    sql = "SELECT constraint_name, value FROM gpkg_data_column_constraints ORDER BY rowid"
    found: dict[str, list[str]] = {}
    for name, value in database.execute(sql):
        found.setdefault(name, []).append(value)
    assert found["findings_severity"] == ["note", "caution", "stop"]
    assert found["swales_role"] == ["tree", "windbreak"]
    assert found["swale_ground_part"] == ["ponded", "cut_slope", "berm", "mound"]
    assert found["hollows_treatment"] == ["filled", "kept"]
    assert len(found["overflow_routes_to_kind"]) == 6
    assert len(found["excluded_ground_reason"]) == 16


def test_extensions_are_registered(database: sqlite3.Connection) -> None:
    sql = "SELECT table_name, column_name, extension_name, scope FROM gpkg_extensions"
    trees = {(s.name, "geom", "gpkg_rtree_index", "write-only") for s in WITH_GEOMETRY}
    described = {
        (f"gpkg_{table}", None, f"gpkg_{extension}", "read-write")
        for extension, tables in {
            "schema": ("data_columns", "data_column_constraints"),
            "metadata": ("metadata", "metadata_reference"),
        }.items()
        for table in tables
    }
    related = {
        (table, None, "gpkg_related_tables", "read-write")
        for table in ("gpkgext_relations", *(f"swales_{name}" for name in RELATED))
    }
    assert set(database.execute(sql).fetchall()) == trees | described | related


@pytest.mark.parametrize("related", RELATED)
def test_related_rows_are_those_of_the_same_swale(
    database: sqlite3.Connection, related: str
) -> None:
    """OGC 18-000: base and related ids are primary keys of the tables named."""
    sql = """SELECT base_table_name, base_primary_column, related_table_name,
        related_primary_column, relation_name FROM gpkgext_relations WHERE mapping_table_name = ?"""
    relation = "features" if SCHEMAS[related].geometry else "attributes"
    found = database.execute(sql, (f"swales_{related}",)).fetchall()
    assert found == [("swales", "fid", related, "fid", relation)]
    swales = dict(database.execute("SELECT swale_id, fid FROM swales"))
    rows = database.execute(f"SELECT swale_id, fid FROM {related}")  # noqa: S608
    wanted = {(swales[swale], fid) for swale, fid in rows if swale in swales}
    mapped = database.execute(f"SELECT base_id, related_id FROM swales_{related}")  # noqa: S608
    assert set(mapped) == wanted


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.name)
def test_views_are_contents_like_layers(database: sqlite3.Connection, view: View) -> None:
    sql = "SELECT data_type, identifier, description FROM gpkg_contents WHERE table_name = ?"
    data_type = "features" if view.base else "attributes"
    assert database.execute(sql, (view.name,)).fetchall() == [
        (data_type, view.title, view.description)
    ]
    shape = ["geom"] if view.base else []
    names = [row[1] for row in database.execute(f"PRAGMA table_info({view.name})")]
    assert names == ["fid", *shape, *(column.name for column in view.columns)]
    keys = [row[0] for row in database.execute(f"SELECT fid FROM {view.name}")]  # noqa: S608
    assert len(set(keys)) == len(keys)


def test_the_plan_holds_a_style_for_each_layer_with_geometry(database: sqlite3.Connection) -> None:
    sql = f"SELECT f_table_name, f_geometry_column, styleSLD, useAsDefault FROM {STYLE_TABLE}"  # noqa: S608
    rows = database.execute(sql).fetchall()
    assert [row[0] for row in rows] == list(STYLES)
    for layer, column, document, default in rows:
        assert (column, default) == ("geom", 1)
        assert document == style_document([STYLES[layer]])


def test_metadata_stand_for_the_file_and_each_layer(database: sqlite3.Connection) -> None:
    sql = """SELECT table_name, mime_type, metadata FROM gpkg_metadata_reference JOIN gpkg_metadata
        ON id = md_file_id ORDER BY id"""
    rows = database.execute(sql).fetchall()
    assert [row[0] for row in rows] == [None, *(schema.name for schema in LAYERS)]
    assert [row[1] for row in rows] == ["text/xml", *["text/plain"] * len(LAYERS)]
    for _, _, metadata in rows[1:]:
        assert DESCRIBE.title in metadata
        assert DESCRIBE.lineage in metadata
        assert "licensed engineer" in metadata


def test_the_record_of_the_file_is_read_by_a_general_library(
    database: sqlite3.Connection,
) -> None:
    """OWSLib's reader of ISO 19139, and lxml beside it for what that one leaves out."""
    sql = "SELECT md_standard_uri, metadata FROM gpkg_metadata WHERE id = 1"
    uri, text = database.execute(sql).fetchone()
    assert uri == "http://www.isotc211.org/2005/gmd"
    root = etree.fromstring(text.encode())
    record = MD_Metadata(root)
    data = record.identification[0]
    assert data.title == DESCRIBE.title
    assert data.abstract == DESCRIBE.description
    assert data.uselimitation == list(CAUTIONS)
    assert data.topiccategory == ["farming", "inlandWaters"]
    box = data.bbox
    sides = tuple(float(side) for side in (box.minx, box.miny, box.maxx, box.maxy))
    assert sides == DESCRIBE.extent_deg
    assert record.dataquality.lineage == DESCRIBE.lineage
    assert record.referencesystem.code == DESCRIBE.crs
    told = [node.text for node in root.iterfind(".//{*}LI_Lineage//{*}CharacterString")]
    assert told == [DESCRIBE.lineage, *DESCRIBE.parameters, *DESCRIBE.sources]


@given(st.text())
def test_no_text_breaks_the_record(text: str) -> None:
    record = iso_record(PlanDescription(text, text, text), [text])
    title = etree.fromstring(record.encode()).find(".//{*}title/{*}CharacterString")
    assert title is not None


def flat_name(schema: LayerSchema) -> str:
    return str(schema.geometry).removesuffix("Z").upper()


@every_geometry
def test_requirements_25_to_33_geometry_columns_and_headers(
    database: sqlite3.Connection, schema: LayerSchema
) -> None:
    sql = "SELECT column_name, geometry_type_name, srs_id, z, m FROM gpkg_geometry_columns"
    row = database.execute(f"{sql} WHERE table_name = ?", (schema.name,)).fetchone()
    assert row == ("geom", flat_name(schema), EPSG, int(schema.has_z), 0)
    codes = {"POINT": 1, "LINESTRING": 2, "POLYGON": 3, "MULTIPOLYGON": 6}
    envelopes = {0: 0, 1: 32, 2: 48}
    count = 0
    for (blob,) in database.execute(f"SELECT geom FROM {schema.name}"):  # noqa: S608
        assert blob[:3] == b"GP\0"
        flags = blob[3]
        assert flags & 0b11110001 == 1  # standard, not empty, little-endian
        assert struct.unpack("<i", blob[4:8]) == (EPSG,)
        wkb = blob[8 + envelopes[flags >> 1 & 7] :]
        assert struct.unpack("<BI", wkb[:5]) == (1, codes[flat_name(schema)] + 1000 * schema.has_z)
        count += 1
    assert count > 0


@every_geometry
def test_requirement_77_spatial_index(
    database: sqlite3.Connection, layers: Layers, schema: LayerSchema
) -> None:
    tree = f"rtree_{schema.name}_geom"
    (sql,) = database.execute("SELECT sql FROM sqlite_master WHERE name = ?", (tree,)).fetchone()
    assert re.search(r"USING rtree\(id, minx, maxx, miny, maxy\)", sql)
    prefix = f"{tree}_"
    triggers = database.execute(
        "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (schema.name,)
    ).fetchall()
    assert {row[0].removeprefix(prefix) for row in triggers} == {
        *("insert", "delete", "update1", "update2", "update3", "update4")
    }
    sql = f"SELECT id, minx, miny, maxx, maxy FROM {tree} ORDER BY id"  # noqa: S608
    boxes = np.array(database.execute(sql).fetchall())
    bounds = layers[schema.name].geometry.bounds.to_numpy()
    assert boxes[:, 0].tolist() == list(range(1, len(bounds) + 1))
    outward = (boxes[:, 1:] - bounds) * [-1, -1, 1, 1]
    # SQLite keeps 32 bits and rounds outward: one step to round, one more where that went inward.
    # Its handbook's 0.000012 % is the second step alone.
    assert (outward >= 0).all()
    assert (outward <= 2 * np.spacing(bounds.astype(np.float32))).all()
