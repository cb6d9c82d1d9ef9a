"""The plan through a reader in another language, which shares no code with GDAL.

`make readers` fetches it; without it, or without Node.js, this is skipped.
"""

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from soakline.outputs.columns import LAYERS
from soakline.outputs.geopackage_views import VIEWS
from tests.outputs.hillside import EPSG, Layers

FOLDER = Path(__file__).parent / "javascript"
NODE = shutil.which("node")

pytestmark = pytest.mark.skipif(
    NODE is None or not (FOLDER / "node_modules").is_dir(),
    reason="the JavaScript reader is not there: make readers",
)


def test_it_finds_every_layer_with_its_columns_rows_and_crs(
    plan_file: Path, layers: Layers
) -> None:
    assert NODE is not None
    run = [NODE, str(FOLDER / "read_plan.js"), str(plan_file)]
    done = subprocess.run(run, capture_output=True, text=True, check=True, timeout=120)
    found = json.loads(done.stdout)
    assert set(found) == {*(schema.name for schema in LAYERS), *(view.name for view in VIEWS)}
    for schema in LAYERS:
        shape = ["geom"] if schema.geometry else []
        wanted = {
            "columns": ["fid", *shape, *schema.column_names],
            "rows": len(layers[schema.name]),
            **({"srs": EPSG} if schema.geometry else {}),
        }
        assert found[schema.name] == wanted
