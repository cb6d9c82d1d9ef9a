"""Requirements that one query each holds a file against; a query lists what breaks them.

Numbers are those of OGC 12-128r18 (GeoPackage 1.3.1); of the extension for coverages those of OGC
17-066r1, of that for related tables those of OGC 18-000.
"""

from collections.abc import Mapping

_STANDARD = (
    "gpkg_spatial_ref_sys", "gpkg_contents", "gpkg_geometry_columns", "gpkg_extensions",
    "gpkg_tile_matrix_set", "gpkg_tile_matrix", "gpkg_data_columns",
    "gpkg_data_column_constraints", "gpkg_metadata", "gpkg_metadata_reference",
    "gpkg_2d_gridded_coverage_ancillary", "gpkg_2d_gridded_tile_ancillary",
)  # fmt: skip
_KNOWN = ", ".join(f"'{name}'" for name in _STANDARD)

NOTHING_MAY_BREAK: Mapping[str, str] = {
    "requirement 4, 59 no stray tables of the standard's prefix": f"""
        SELECT name FROM sqlite_master WHERE type IN ('table', 'view') AND name LIKE 'gpkg@_%'
        ESCAPE '@' AND name NOT IN ({_KNOWN})""",  # noqa: S608 - names of ours
    "requirement 7 foreign keys": "PRAGMA foreign_key_check",
    "requirement 10, 11 reference systems 4326, -1, 0": """
        SELECT want FROM (SELECT 4326 AS want UNION SELECT -1 UNION SELECT 0)
        WHERE want NOT IN (SELECT srs_id FROM gpkg_spatial_ref_sys)""",
    "requirement 12, 16, 146 srs_id known and alike": """
        SELECT table_name FROM gpkg_contents WHERE srs_id NOT IN (SELECT srs_id FROM
        gpkg_spatial_ref_sys) UNION SELECT g.table_name FROM gpkg_geometry_columns g JOIN
        gpkg_contents c USING (table_name) WHERE g.srs_id <> c.srs_id OR g.srs_id NOT IN
        (SELECT srs_id FROM gpkg_spatial_ref_sys)""",
    "requirement 13 columns of the contents": """
        SELECT want FROM (SELECT 'identifier' AS want UNION SELECT 'last_change' UNION SELECT
        'min_x' UNION SELECT 'srs_id') WHERE want NOT IN (SELECT name FROM
        pragma_table_info('gpkg_contents'))""",
    "requirement 14 tables of the contents exist": """
        SELECT table_name FROM gpkg_contents WHERE table_name NOT IN (SELECT name FROM
        sqlite_master WHERE type IN ('table', 'view'))""",
    "requirement 18, 118 types of content": """
        SELECT table_name FROM gpkg_contents WHERE data_type NOT IN ('features', 'attributes',
        'tiles', '2d-gridded-coverage')""",
    "requirement 22, 23 a geometry column for each feature table": """
        SELECT table_name FROM gpkg_contents c WHERE data_type = 'features' AND 1 <> (SELECT
        count(*) FROM gpkg_geometry_columns g WHERE g.table_name = c.table_name)""",
    "requirement 25, 27, 28 geometry types, z and m": """
        SELECT table_name FROM gpkg_geometry_columns WHERE geometry_type_name NOT IN ('GEOMETRY',
        'POINT', 'LINESTRING', 'POLYGON', 'MULTIPOINT', 'MULTILINESTRING', 'MULTIPOLYGON') OR z NOT
        IN (0, 1, 2) OR m NOT IN (0, 1, 2)""",
    "requirement 26 geometry columns exist": """
        SELECT table_name FROM gpkg_geometry_columns g WHERE column_name NOT IN (SELECT name FROM
        pragma_table_info(g.table_name))""",
    "requirement 36, 40 a matrix set for each pyramid of tiles": """
        SELECT table_name FROM gpkg_contents WHERE data_type IN ('tiles', '2d-gridded-coverage') AND
        table_name NOT IN (SELECT table_name FROM gpkg_tile_matrix_set)""",
    "requirement 42, 43 matrices of every zoom level in use": """
        SELECT s.table_name FROM gpkg_tile_matrix_set s WHERE NOT EXISTS (SELECT 1 FROM
        gpkg_tile_matrix m WHERE m.table_name = s.table_name)""",
    "requirement 45, 53 sizes of tiles and matrices": """
        SELECT table_name FROM gpkg_tile_matrix WHERE zoom_level < 0 OR matrix_width < 1 OR
        matrix_height < 1 OR tile_width < 1 OR tile_height < 1 OR pixel_x_size <= 0 OR
        pixel_y_size <= 0""",
    "requirement 58, 63 extensions and their scope": """
        SELECT extension_name FROM gpkg_extensions WHERE scope NOT IN ('read-write', 'write-only')
        OR (table_name IS NOT NULL AND table_name NOT IN (SELECT name FROM sqlite_master))""",
    "requirement 76 the R-tree extension of every feature table": """
        SELECT g.table_name FROM gpkg_geometry_columns g JOIN sqlite_master s ON s.name =
        g.table_name AND s.type = 'table' WHERE g.table_name NOT IN (SELECT table_name FROM
        gpkg_extensions WHERE extension_name = 'gpkg_rtree_index')""",
    "requirement 96, 97, 98 scopes of metadata": """
        SELECT md_file_id FROM gpkg_metadata_reference WHERE reference_scope NOT IN ('geopackage',
        'table', 'column', 'row', 'row/col') OR (reference_scope = 'geopackage') <> (table_name IS
        NULL) OR (reference_scope IN ('geopackage', 'table') AND column_name IS NOT NULL)""",
    "requirement 101, 102 metadata referred to exists": """
        SELECT md_file_id FROM gpkg_metadata_reference WHERE md_file_id NOT IN (SELECT id FROM
        gpkg_metadata) OR md_parent_id = md_file_id OR (md_parent_id IS NOT NULL AND md_parent_id
        NOT IN (SELECT id FROM gpkg_metadata))""",
    "requirement 103, 105 described columns exist": """
        SELECT table_name || '.' || column_name FROM gpkg_data_columns d WHERE table_name NOT IN
        (SELECT table_name FROM gpkg_contents) OR column_name NOT IN (SELECT name FROM
        pragma_table_info(d.table_name))""",
    "requirement 106 constraints referred to exist": """
        SELECT constraint_name FROM gpkg_data_columns WHERE constraint_name IS NOT NULL AND
        (constraint_name <> lower(constraint_name) OR constraint_name NOT IN (SELECT constraint_name
        FROM gpkg_data_column_constraints))""",
    "requirement 108 to 114 constraints": """
        SELECT constraint_name FROM gpkg_data_column_constraints WHERE constraint_type NOT IN
        ('range', 'enum', 'glob') OR (constraint_type = 'enum' AND (value IS NULL OR min IS NOT NULL
        OR max IS NOT NULL)) OR (constraint_type = 'range' AND (value IS NOT NULL OR NOT min <
        max))""",
    "related tables, requirement 4, 5 relations name tables that are there": """
        SELECT mapping_table_name FROM gpkgext_relations WHERE base_table_name NOT IN (SELECT
        table_name FROM gpkg_contents) OR related_table_name NOT IN (SELECT table_name FROM
        gpkg_contents) OR mapping_table_name NOT IN (SELECT name FROM sqlite_master)""",
    "related tables, requirement 2 the extension of every mapping": """
        SELECT mapping_table_name FROM gpkgext_relations WHERE mapping_table_name NOT IN (SELECT
        table_name FROM gpkg_extensions WHERE extension_name IN ('gpkg_related_tables',
        'related_tables'))""",
}
