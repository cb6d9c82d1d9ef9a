"""All files of a run to typed values; every problem of every file told at once."""

import hashlib
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Literal, Protocol, TypeVar

from pyproj import CRS

from soakline.findings import Finding
from soakline.inputs.defects import find_defects
from soakline.inputs.features import FEATURES_KEY, off_the_dem, read_features
from soakline.inputs.given_swales import beyond_ends, off_the_land, one_on_another
from soakline.inputs.land_words import check_figures
from soakline.inputs.rain_pattern import RainPattern, read_rain_pattern
from soakline.inputs.rain_table import choose_columns, read_rain_table
from soakline.inputs.source_files import land_files, rain_files, shown
from soakline.inputs.types import (
    Features,
    Inputs,
    LandInputs,
    RainInputs,
    RainTable,
    SourceFile,
    WorksInputs,
)
from soakline.inputs.working_crs import read_crs_key
from soakline.inputs.works import read_works, works_files
from soakline.problems import InputRefused, ProblemCollector
from soakline.runfile.sections import RunFile

if TYPE_CHECKING:
    from soakline.inputs.elevation import ElevationPlan

Read = TypeVar("Read")
Digest = Callable[[Path], str]


class Listener(Protocol):
    """Whoever is told how reading goes; `soakline.stages.progress.Progress` is one."""

    def message(self, level: Literal["info", "caution", "stop"], text: str) -> None: ...


def read_inputs(run: RunFile, progress: Listener, rain_table: Path | None = None) -> Inputs:
    """Read everything that a plan is made from; see `read_parts`."""
    return Inputs.of(*read_parts(run, progress, rain_table))


def read_rain(
    run: RunFile, progress: Listener, rain_table: Path | None = None, digest: Digest | None = None
) -> RainInputs:
    """Read the rain alone, for a run whose land is known.

    Parameters
    ----------
    run, progress, rain_table, digest : as for `read_parts`

    Raises
    ------
    InputRefused
        With the problems of the table and of the pattern.
    """
    path = rain_table or run.resolve(run.rain.table)
    collector = ProblemCollector()
    rain = _attempt(collector, lambda: _read_rain(run, path))
    pattern = _attempt(collector, lambda: _read_pattern(run))
    if not (rain and pattern):
        raise InputRefused(collector.problems)
    findings = (*rain[1], *pattern[1])
    _tell(findings, progress)
    hashed = tuple(
        SourceFile(role, shown(file, run.folder), (digest or sha256_of)(file))
        for role, file in rain_files(run, path)
    )
    return RainInputs(rain[0], pattern[0], hashed, findings)


def read_rain_and_works(
    run: RunFile, progress: Listener, rain_table: Path | None = None, digest: Digest | None = None
) -> tuple[RainInputs, WorksInputs]:
    """Read what no stage of the land needs, for a run whose land is known.

    Parameters
    ----------
    run, progress, rain_table, digest : as for `read_parts`

    Raises
    ------
    InputRefused
        With the problems of the rain and of the tables of machines, rates, species and weather.
    """
    collector = ProblemCollector()
    rain = _attempt(collector, lambda: read_rain(run, progress, rain_table, digest))
    works = _attempt(collector, lambda: _read_works(run, digest))
    if not (rain and works):
        raise InputRefused(collector.problems)
    return rain, works


def read_parts(
    run: RunFile, progress: Listener, rain_table: Path | None = None, digest: Digest | None = None
) -> tuple[LandInputs, RainInputs, WorksInputs]:
    """Read everything that a plan is made from.

    Parameters
    ----------
    run : the run file
    progress : is told what is read, and of each finding over a note
    rain_table : read instead of the run file's table
    digest : SHA-256 of a file; None to reckon it

    Returns
    -------
    Land, rain and works, in the working CRS and in SI units.

    Raises
    ------
    InputRefused
        With the problems of all files; nothing is half read.

    Notes
    -----
    What does not need the DEM is read first, since it is cheap; where the DEM is refused, the other
    files are still checked, so that one run shows all there is to mend.
    """
    from soakline.inputs.boundary import check_cover, read_boundary  # noqa: PLC0415 - slow to load, no rerun needs it
    from soakline.inputs.elevation import read_elevation  # noqa: PLC0415 - slow to load, no rerun needs it

    rain_path = rain_table or run.resolve(run.rain.table)
    boundary_path = run.resolve(run.property.boundary)
    features_path = run.resolve(run.property.features) if run.property.features else None
    collector = ProblemCollector()
    with ThreadPoolExecutor(max_workers=1) as pool:
        # Hashing leaves the interpreter free, so it costs no time beside the reading.
        of_land, of_rain = (
            [
                (role, shown(file, run.folder), pool.submit(digest or sha256_of, file))
                for role, file in files
                if file.is_file()
            ]
            for files in (land_files(run), rain_files(run, rain_path))
        )
        plan = _attempt(collector, lambda: _plan(run))
        crs = CRS.from_wkt(plan.grid.crs_wkt) if plan else None
        rain = _attempt(collector, lambda: _read_rain(run, rain_path))
        pattern = _attempt(collector, lambda: _read_pattern(run))
        works = _attempt(collector, lambda: _read_works(run, digest))
        land = _attempt(
            collector,
            lambda: read_boundary(
                boundary_path, run.property.boundary_layer, run.property.name, crs
            ),
        )
        features = _attempt(collector, lambda: _read_land_features(run, features_path, crs))
        elevation = None
        if plan:
            progress.message("info", f"reading {plan.grid.cells:,} cells of elevation")
            unit = run.property.vertical_unit
            elevation = _attempt(collector, lambda: read_elevation(plan, unit))
        cover = None
        if land and elevation:
            area, dem, file = land[0], elevation[0], str(boundary_path)
            cover = _attempt(collector, lambda: check_cover(area, dem, file))
            if features:
                given = features[0].given_swales
                collector.problems += off_the_land(given, area.area, dem, str(features_path))
        if features:
            given = features[0].given_swales
            collector.problems += one_on_another(given, str(features_path))
        if features and works:
            collector.problems += beyond_ends(features[0].given_swales, works.as_built)
        if not (rain and pattern and works and land and features and elevation and cover):
            raise InputRefused(collector.problems)
        collector.raise_if_any()
        hashed = [
            tuple(SourceFile(role, name, future.result()) for role, name, future in queued)
            for queued in (of_land, of_rain)
        ]
    findings = (
        *elevation[1],
        *find_defects(elevation[0]),
        *land[1],
        *cover[1],
        *features[1],
        *off_the_dem(features[0], elevation[0]),
    )
    on_rain = (*rain[1], *pattern[1])
    _tell((*findings, *on_rain), progress)
    return (
        LandInputs(elevation[0], cover[0], features[0], hashed[0], findings),
        RainInputs(rain[0], pattern[0], hashed[1], on_rain),
        works,
    )


def land_digests(run: RunFile, digest: Digest) -> tuple[tuple[str, str], ...] | None:
    """SHA-256 of every file that the land is read from; None if one cannot be opened."""
    try:
        return tuple((role, digest(file)) for role, file in land_files(run))
    except OSError:
        return None


def _tell(findings: Sequence[Finding], progress: Listener) -> None:
    for finding in findings:
        if finding.severity != "note":
            progress.message(finding.severity, finding.message)


def _attempt(collector: ProblemCollector, read: Callable[[], Read]) -> Read | None:
    """What a reader gives; None where it refuses, its problems kept."""
    try:
        return read()
    except InputRefused as refused:
        collector.problems.extend(refused.problems)
        return None


def _read_rain(run: RunFile, path: Path) -> tuple[RainTable, tuple[Finding, ...]]:
    """The rain table, once it is sure that the storms asked for are in it."""
    table = read_rain_table(path)
    return table, choose_columns(table, run.rain.design, run.rain.check, str(path)).findings


def _read_pattern(run: RunFile) -> tuple[RainPattern | None, tuple[Finding, ...]]:
    """The rain pattern, where the run file names a file of one."""
    if not run.rain.pattern_file:
        return None, ()
    return read_rain_pattern(run.resolve(run.rain.pattern_file))


def _read_works(run: RunFile, digest: Digest | None) -> WorksInputs:
    """Machine, rates and species, with the files that they come from."""
    sources = tuple(
        SourceFile(role, shown(file, run.folder), (digest or sha256_of)(file))
        for role, file in works_files(run)
        if file.is_file()
    )
    return read_works(run, sources)


def _read_land_features(
    run: RunFile, path: Path | None, crs: CRS | None
) -> tuple[Features, tuple[Finding, ...]]:
    """The features, once it is sure that a curve number follows from every cover and soil."""
    features, findings = read_features(path, crs)
    check_figures(features.soils, features.land_cover, run.land, str(path), FEATURES_KEY)
    return features, findings


def _plan(run: RunFile) -> "ElevationPlan":
    """What of the DEM the headers tell; problems of `crs` and `dem` at once."""
    from soakline.inputs.elevation import plan_elevation  # noqa: PLC0415 - slow to load, no rerun needs it

    collector = ProblemCollector()
    file = str(run.file)
    asked = _attempt(collector, lambda: read_crs_key(run.property.crs, file))
    plan = _attempt(collector, lambda: plan_elevation(run.dem_files(), asked))
    if plan is None or collector.problems:
        raise InputRefused(collector.problems)
    return plan


def sha256_of(path: Path) -> str:
    """SHA-256 of a file, hexadecimal; empty if it cannot be read."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        # Whoever reads the file tells why it cannot be read.
        return ""
