"""The checker of the file names each requirement, and fails on each seeded break of one."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from soakline import __version__
from soakline.verify.conformance import check_file
from soakline.verify.reading import read_plan
from soakline.verify.requirements import NOTHING_MAY_BREAK
from tests.plans.grounds import PlanGround

pytestmark = pytest.mark.slow

# How each requirement is broken. Keys begin as those of the queries do.
BREAKS = {
    "requirement 4,": "CREATE TABLE gpkg_of_ours (id INTEGER)",
    "requirement 7 ": "UPDATE gpkg_metadata_reference SET md_file_id = 9999 WHERE rowid = 1",
    "requirement 10,": "UPDATE gpkg_spatial_ref_sys SET srs_id = 5 WHERE srs_id = 0",
    "requirement 12,": "UPDATE gpkg_contents SET srs_id = 4326 WHERE table_name = 'pegs'",
    "requirement 13": "UPDATE sqlite_master SET sql = replace(sql, 'identifier', 'named') "
    "WHERE name = 'gpkg_contents'",
    "requirement 14": "UPDATE gpkg_contents SET table_name = 'gone' WHERE table_name = 'storms'",
    "requirement 18,": "UPDATE gpkg_contents SET data_type = 'aspatial' WHERE data_type = "
    "'attributes'",
    "requirement 22,": "DELETE FROM gpkg_geometry_columns WHERE table_name = "
    "'swales_with_findings'",
    "requirement 25,": "UPDATE gpkg_geometry_columns SET z = 3 WHERE table_name = "
    "'tree_projection'",
    "requirement 26": "UPDATE gpkg_geometry_columns SET column_name = 'shape' WHERE table_name = "
    "'swale_points'",
    "requirement 36,": "DELETE FROM gpkg_tile_matrix_set WHERE table_name = 'slope_pct'",
    "requirement 42,": "DELETE FROM gpkg_tile_matrix WHERE table_name = 'slope_pct'",
    "requirement 45,": "UPDATE gpkg_tile_matrix SET pixel_x_size = -1 WHERE table_name = "
    "'slope_pct'",
    "requirement 58,": "UPDATE gpkg_extensions SET scope = 'any' WHERE table_name = 'pegs'",
    "requirement 76": "DELETE FROM gpkg_extensions WHERE table_name = 'trees'",
    "requirement 96,": "UPDATE gpkg_metadata_reference SET reference_scope = 'file' WHERE "
    "rowid = 1",
    "requirement 101,": "UPDATE gpkg_metadata_reference SET md_parent_id = md_file_id",
    "requirement 103,": "UPDATE gpkg_data_columns SET column_name = 'gone' WHERE table_name = "
    "'pegs' AND column_name = 'cut_m'",
    "requirement 106": "DELETE FROM gpkg_data_column_constraints WHERE constraint_name = "
    "'pegs_kind'",
    "requirement 108": "UPDATE gpkg_data_column_constraints SET min = 1 WHERE rowid = 1",
    "related tables, requirement 4,": "UPDATE gpkgext_relations SET related_table_name = 'gone' "
    "WHERE id = 1",
    "related tables, requirement 2": "DELETE FROM gpkg_extensions WHERE table_name = 'swales_pegs'",
}


def failing(path: Path) -> list[str]:
    return [line.what for line in check_file(read_plan(path, __version__)) if not line.holds]


def test_every_requirement_has_a_break() -> None:
    found = {key: [name for name in NOTHING_MAY_BREAK if name.startswith(key)] for key in BREAKS}
    assert all(len(names) == 1 for names in found.values()), found
    assert sum(len(names) for names in found.values()) == len(NOTHING_MAY_BREAK)


def test_a_plan_breaks_none(plan_ground: PlanGround) -> None:
    assert failing(plan_ground("valley").path) == []


@pytest.mark.parametrize("key", BREAKS)
def test_a_break_is_found(plan_ground: PlanGround, tmp_path: Path, key: str) -> None:
    plan = Path(shutil.copy(plan_ground("valley").path, tmp_path / "plan.gpkg"))
    with closing(sqlite3.connect(plan)) as base, base:
        for (name,) in base.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            base.execute(f'DROP TRIGGER "{name}"')  # the standard's own guards against such breaks
        base.execute("PRAGMA writable_schema = ON")
        base.execute(BREAKS[key])
    assert [what for what in failing(plan) if what.startswith(key)] != []
