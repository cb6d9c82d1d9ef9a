"""Where results may be written: asked before any work is done, so that none is lost."""

import os
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from soakline.outputs.geopackage_styles import STYLE_FILE
from soakline.outputs.raster_schemas import RASTERS, path_beside
from soakline.problems import InputProblem, InputRefused
from soakline.runfile.sections import RunFile


def plan_path(run_file: Path, out: Path | None) -> Path:
    """Path of the plan: as asked, else beside the run file under its name."""
    return run_file.with_suffix(".gpkg") if out is None else out


def check_out_paths(
    run_file: Path,
    run: RunFile | None,
    out: Path,
    map_file: Path | None,
    rain: tuple[Path, ...] = (),
) -> list[InputProblem]:
    """Find what is wrong with the places that a plan and its map are to be written to.

    Parameters
    ----------
    run_file : path of the run file, which is never written over
    run : the run file as read, for its inputs, which are not written over either; None if it was
        refused
    out : the plan
    map_file : the picture of the plan, if one is asked for
    rain : tables that are read instead of the run file's
    """
    keep = [("the run file", run_file), *(("--rain", file) for file in rain)]
    if run is not None:
        keep += [(key, file) for key, file in run.input_files()]
    problems = _check(out, "--out", ".gpkg", keep)
    beside = []
    if run is None or run.output.rasters:
        beside += [("rasters", raster.file_name) for raster in RASTERS]
    if run is None or run.output.styles:
        beside.append(("styles", STYLE_FILE))
    for key, name in beside:
        file = path_beside(out, name)
        problems += _check_file(file, f"output.{key}", file.suffix, keep)
    if map_file is not None:
        problems += _check(map_file, "--map", ".png", [*keep, ("--out", out)])
    return problems


def check_log_path(log: Path | None, keep: Iterable[Path]) -> None:
    """Refuse a log file in a bad place.

    Raises
    ------
    InputRefused
        With every problem of the path.
    """
    if log is None:
        return
    problems = _check(log, "--log", ".jsonl", [("an input", file) for file in keep])
    if problems:
        raise InputRefused(problems)


def _check(
    path: Path, option: str, suffix: str, keep: Iterable[tuple[str, Path]]
) -> list[InputProblem]:
    """What is wrong with a file and with the folder that it is to stand in."""
    problems = []
    if path.suffix.lower() != suffix:
        found = f'the ending "{path.suffix}"' if path.suffix else "no ending"
        allowed = f"a file name that ends in {suffix}"
        problems.append(InputProblem(str(path), option, found, allowed))
    problems += _check_file(path, option, suffix, keep)
    with suppress(OSError, ValueError):  # told of the file
        folder = path.absolute().parent
        if not folder.is_dir():
            found, allowed, mend = f"no folder {folder}", "a folder that exists", "Make it first"
            problems.append(InputProblem(str(path), option, found, allowed, mend))
        elif not os.access(folder, os.W_OK | os.X_OK):
            found, allowed = f"folder {folder}, read-only", "a folder you may write in"
            problems.append(InputProblem(str(path), option, found, allowed))
    return problems


def _check_file(
    path: Path, option: str, suffix: str, keep: Iterable[tuple[str, Path]]
) -> list[InputProblem]:
    """What is wrong with the file that stands there, or with its being another file of the run."""

    def problem(found: str, allowed: str) -> InputProblem:
        return InputProblem(str(path), option, found, allowed)

    try:
        if path.is_dir():
            return [problem("a folder", f"a file name that ends in {suffix}")]
        if path.exists() and not path.is_file():
            return [problem("a device or a pipe", "a new or an ordinary file")]
        return [
            problem(f"the same file as {name}", "a file that the run does not read or write")
            for name, kept in keep
            if _same(path, kept)
        ]
    except (OSError, ValueError) as error:
        return [problem(f"an unusable path ({error})", "a file in a folder that exists")]


def _same(first: Path, second: Path) -> bool:
    """Whether two paths are one file, through links and by name where nothing is there yet."""
    if first.exists() and second.exists():
        return first.samefile(second)
    return first.resolve() == second.resolve()
