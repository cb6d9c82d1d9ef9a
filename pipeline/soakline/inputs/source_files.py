"""Files that a run is read from, with those that lie beside them."""

from collections.abc import Sequence
from pathlib import Path

from soakline.runfile.sections import RunFile

SIDE_FILES: dict[str, tuple[str, ...]] = {".shp": (".dbf", ".prj", ".shx", ".cpg")}
"""Files without which the one named means something else; only some formats have them."""
RASTER_SIDE_FILES = (".prj", ".hdr", ".tfw", ".wld", ".aux.xml")


def land_files(run: RunFile) -> list[tuple[str, Path]]:
    """Files of the land in the run file's order, with those that lie beside them."""
    named: list[tuple[str, Path, tuple[str, ...]]]
    named = [("dem", path, RASTER_SIDE_FILES) for path in run.dem_files()]
    boundary = run.resolve(run.property.boundary)
    named.append(("boundary", boundary, SIDE_FILES.get(boundary.suffix.lower(), ())))
    if run.property.features:
        named.append(("features", run.resolve(run.property.features), ()))
    return [
        (role, file) for role, path, endings in named for file in (path, *_beside(path, endings))
    ]


def rain_files(run: RunFile, rain_path: Path) -> list[tuple[str, Path]]:
    """Files of the rain: the table, and a pattern of one's own."""
    files = [("rain", rain_path)]
    if run.rain.pattern_file:
        files.append(("rain pattern", run.resolve(run.rain.pattern_file)))
    return files


def _beside(path: Path, endings: Sequence[str]) -> list[Path]:
    # Both dem.prj and dem.tif.aux.xml are usual.
    candidates = [path.with_suffix(ending) for ending in endings]
    candidates += [path.with_name(path.name + ending) for ending in endings]
    return [c for c in dict.fromkeys(candidates) if c != path and c.is_file()]


def shown(file: Path, folder: Path) -> str:
    """The name as the run file would have it, so that a moved run folder gives the same record."""
    return str(file.relative_to(folder)) if file.is_relative_to(folder) else str(file)
