"""Small properties for fleets: planes of different slopes, and ways to break one."""

from pathlib import Path

from tests.terrain_analytic.ground import plane, sample
from tests.terrain_analytic.run_folder import write_run

SIDE_M = 80.0


def write_farms(folder: Path, count: int) -> list[Path]:
    """Write as many run folders; each has its own slope, 6 to 11 %.

    Returns
    -------
    their run files, FOLDER/farms/p000/run.toml and so on
    """
    run_files = []
    for k in range(count):
        dem, grid = sample(plane(6.0 + 5.0 * k / max(count, 1)), width_m=SIDE_M)
        run = {
            "property": {"name": f"Property {k}"},
            "spacing": {"mature_tree_height_m": 2.5},
            "siting": {"min_length_m": 10},
            "overflow": {"allow_property_edge": True, "neighbour_consent": "in writing"},
        }
        name = f"p{k:03}"
        run_files.append(write_run(folder / "farms" / name, dem, grid, inset_m=10.0, run=run))
    return run_files


def break_farm(run_file: Path, way: int) -> None:
    """Break one of five things about a property."""
    folder = run_file.parent
    match way % 5:
        case 0:
            run_file.write_text("this is no TOML", encoding="utf-8")
        case 1:
            (folder / "dem.tif").unlink()
        case 2:
            (folder / "boundary.gpkg").write_bytes(b"no GeoPackage")
        case 3:
            (folder / "rain.csv").write_text("duration_min,10\n5,ten\n", encoding="utf-8")
        case _:
            text = run_file.read_text(encoding="utf-8")
            run_file.write_text(f"{text}\n[soil]\ntexture = 'lom'\n", encoding="utf-8")


def write_list(folder: Path, *, retries: int = 2, backoff_s: float = 0.1) -> Path:
    """Write FOLDER/list.toml of all run folders."""
    file = folder / "list.toml"
    text = f'runs = ["farms/*/run.toml"]\nretries = {retries}\nbackoff_s = {backoff_s}\n'
    file.write_text(text, encoding="utf-8")
    return file
