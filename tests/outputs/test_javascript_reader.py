"""The plan and its styles through readers in another language, which share no code with GDAL.

`make readers` fetches them; without them, or without Node.js, this is skipped.
"""

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from soakline.outputs.columns import LAYERS
from soakline.outputs.geopackage_styles import STYLE_TABLE
from soakline.outputs.geopackage_views import VIEWS
from soakline.styles.plan_styles import STYLES
from soakline.styles.sld import style_document
from soakline.styles.symbols import Area, Label, Line, Point
from tests.outputs.hillside import EPSG, Layers

FOLDER = Path(__file__).parent / "javascript"
NODE = shutil.which("node")

pytestmark = pytest.mark.skipif(
    NODE is None or not (FOLDER / "node_modules").is_dir(),
    reason="the JavaScript readers are not there: make readers",
)


def test_it_finds_every_layer_with_its_columns_rows_and_crs(
    plan_file: Path, layers: Layers
) -> None:
    assert NODE is not None
    run = [NODE, str(FOLDER / "read_plan.js"), str(plan_file)]
    done = subprocess.run(run, capture_output=True, text=True, check=True, timeout=120)
    found = json.loads(done.stdout)
    names = {schema.name for schema in LAYERS} | {view.name for view in VIEWS}
    assert set(found) == names | {STYLE_TABLE}
    for schema in LAYERS:
        shape = ["geom"] if schema.geometry else []
        wanted = {
            "columns": ["fid", *shape, *schema.column_names],
            "rows": len(layers[schema.name]),
            **({"srs": EPSG} if schema.geometry else {}),
        }
        assert found[schema.name] == wanted


def test_it_reads_every_style_without_a_word(tmp_path: Path) -> None:
    assert NODE is not None
    files = []
    for style in STYLES.values():
        files.append(tmp_path / f"{style.layer}.sld")
        files[-1].write_text(style_document([style]), encoding="utf-8")
    run = [NODE, "read_styles.mjs", *map(str, files)]
    done = subprocess.run(run, capture_output=True, text=True, check=True, timeout=120, cwd=FOLDER)
    kinds = {Line: "Line", Area: "Fill", Point: "Mark", Label: "Text"}
    for read, style in zip(json.loads(done.stdout), STYLES.values(), strict=True):
        assert read["told"] == []
        # A hatch is a second fill over the first.
        wanted = [
            [kinds[type(symbol)] for symbol in rule.symbols for _ in range(_layers(symbol))]
            for rule in style.rules
        ]
        assert read["rules"] == wanted


def _layers(symbol: Line | Area | Point | Label) -> int:
    return 2 if isinstance(symbol, Area) and symbol.hatch else 1
