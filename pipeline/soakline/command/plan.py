"""`soakline plan`: checks where the plan goes, then hands over to the stages."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from typer import echo

from soakline.command.out_path import check_out_paths, plan_path
from soakline.command.statuses import AT_STOP, DONE
from soakline.command.tile_options import TileOptions
from soakline.outputs.whole_file import refuse_unwritable
from soakline.problems import InputProblem, InputRefused, ProblemCollector
from soakline.runfile.load import load_run_file
from soakline.runfile.sections import RunFile
from soakline.stages.progress import Progress

if TYPE_CHECKING:
    from soakline.setout.files import SetoutOptions


@dataclass(frozen=True, slots=True)
class PlanOptions:
    """Options of the command.

    Parameters
    ----------
    out : the plan, replaced if it exists; None for the run file's name beside it
    map_file : picture of the plan; None for none
    work : folder of the stage store; None for the default, beside the plan
    fresh : what is stored is not used
    rain : tables instead of the run file's; of several, each gives a plan of its own
    tiles : whether the terrain is made in tiles, and by whom
    """

    out: Path | None = None
    map_file: Path | None = None
    work: Path | None = None
    fresh: bool = False
    rain: tuple[Path, ...] = ()
    tiles: TileOptions = field(default_factory=TileOptions)


def plan_command(run_file: Path, options: PlanOptions, progress: Progress) -> int:
    """Plan what a run file asks for; print the plan's path.

    With several rain tables, print the path of each plan, then how each differs from the first.

    Parameters
    ----------
    run_file : the run file
    options : PlanOptions
    progress : told of the stages

    Returns
    -------
    exit status: 0 done, 3 done with findings at stop

    Raises
    ------
    InputRefused
        With all problems of the run file, of the paths and of the inputs; nothing is written.
    """
    targets = _targets(run_file, options)
    collector = ProblemCollector()
    run: RunFile | None = None
    with collector.collecting():
        run = load_run_file(run_file)
    for target, picture, _ in targets:
        collector.problems += check_out_paths(run_file, run, target, picture, options.rain)
    collector.problems += _same_names(options.rain)
    collector.raise_if_any()
    for target, _, _ in targets:
        refuse_unwritable(target)
    assert run is not None  # noqa: S101 - else the collector has raised
    setout = _setout_options(run)
    _check_beside([target for target, _, _ in targets], run, setout)
    # The stages' libraries take a second to load: a bad run file is refused before.
    from soakline.command.tiles import surfaces_by  # noqa: PLC0415
    from soakline.stages.plan import make_plan  # noqa: PLC0415
    from soakline.store.opening import DEFAULT_LIMIT_GIB, open_store  # noqa: PLC0415

    def warn(text: str) -> None:
        progress.message("caution", text)

    store = open_store(options.work, targets[0][0], DEFAULT_LIMIT_GIB, options.fresh, warn)
    if len(targets) > 1:
        _read_all(run, [rain for _, _, rain in targets])
    if options.tiles.asked:
        store.lean_from_bytes = 0
    stops = 0
    try:
        for target, picture, rain in targets:
            surfaces = surfaces_by(options.tiles, target, progress)
            outcome = make_plan(run, target, progress, picture, rain, store, surfaces)
            store.finish()  # the next plan finds what this one has made
            stops += outcome.stops
            echo(outcome.path)
            if setout is not None:
                _set_out(outcome.path, setout, progress)
            _write_calendar(outcome.path, run.output.calendar_year, progress)
    finally:
        store.finish()
    kept = store.describe()
    if kept.size_bytes > 0:
        progress.message("info", str(kept))
    if len(targets) > 1:
        _tell_differences([target for target, _, _ in targets])
    return AT_STOP if stops else DONE


def _setout_options(run: RunFile) -> "SetoutOptions | None":
    """What the run file asks to be written beside the plan; None for nothing."""
    if not run.output.setout:
        return None
    from soakline.setout.files import SetoutOptions  # noqa: PLC0415 - loads what draws and writes

    wanted = run.output
    return SetoutOptions(wanted.setout, None, wanted.paper, run.dem_files(), wanted.finished_cell_m)


def _check_beside(plans: list[Path], run: RunFile, setout: "SetoutOptions | None") -> None:
    """Refuse places beside the plans that could not be written to."""
    for plan in plans:
        if setout is not None:
            from soakline.setout.files import check_targets  # noqa: PLC0415

            check_targets(plan, setout)
        if run.output.calendar_year:
            from soakline.setout.calendar_file import calendar_path  # noqa: PLC0415

            refuse_unwritable(calendar_path(plan))


def _set_out(plan: Path, options: "SetoutOptions", progress: Progress) -> None:
    """Write the files to set out from beside a finished plan, which stands without them."""
    from soakline.command.setout import setout_command  # noqa: PLC0415

    try:
        setout_command(plan, options, progress)
    except InputRefused as refused:
        for problem in refused.problems:
            progress.message("caution", f"no files to set out from were written: {problem}")


def _write_calendar(plan: Path, first_year: int, progress: Progress) -> None:
    """Write the calendar of works beside a finished plan, which stands without it.

    Nothing is written where no year is given, 0.
    """
    if not first_year:
        return
    from soakline.setout.calendar_file import write_calendar  # noqa: PLC0415

    try:
        path = write_calendar(plan, first_year)
    except InputRefused as refused:
        for problem in refused.problems:
            progress.message("caution", f"no calendar was written: {problem}")
        return
    if path is None:
        why = "[climate] names no weather to tell the seasons, or no swale fits"
        progress.message("caution", f"no calendar was written: {why}")
    else:
        echo(path)


def _targets(run_file: Path, options: PlanOptions) -> list[tuple[Path, Path | None, Path | None]]:
    """Plan, picture and rain table of each plan."""
    out = plan_path(run_file, options.out)
    if len(options.rain) < 2:
        return [(out, options.map_file, options.rain[0] if options.rain else None)]

    def named(path: Path, rain: Path) -> Path:
        return path.with_name(f"{path.stem}-{rain.stem}{path.suffix}")

    return [
        (named(out, rain), named(options.map_file, rain) if options.map_file else None, rain)
        for rain in options.rain
    ]


def _same_names(rain: tuple[Path, ...]) -> list[InputProblem]:
    stems = [path.stem for path in rain]
    return [
        InputProblem(
            str(path),
            "--rain",
            f'the name "{path.stem}" twice',
            "tables of different names, since plans are named after them",
        )
        for k, path in enumerate(rain)
        if path.stem in stems[:k]
    ]


def _read_all(run: RunFile, tables: list[Path | None]) -> None:
    """Refuse a bad table among several before the first plan is written.

    Each is read again for its plan, which then says what there is to say of it.
    """
    from soakline.inputs.read import read_rain  # noqa: PLC0415

    collector = ProblemCollector()
    for table in tables:
        with collector.collecting():
            read_rain(run, Progress(), table)
    collector.raise_if_any()


def _tell_differences(plans: list[Path]) -> None:
    """How each later plan differs from the first."""
    from soakline.compare.plans import compare_plans  # noqa: PLC0415
    from soakline.compare.table import as_text  # noqa: PLC0415

    for other in plans[1:]:
        echo("")
        echo(as_text(compare_plans(plans[0], other)))
