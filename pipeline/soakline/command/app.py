"""The commands and their options. Light on purpose: `--help` loads no library of the stages."""

import gc
import warnings
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soakline import __version__
from soakline.command.tile_options import MOST_SIDE, TileOptions, told_apart
from soakline.ending import end_on_signals
from soakline.quiet import hold_standard_streams

if TYPE_CHECKING:
    from soakline.stages.progress import Progress

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    # Plain help answers in half the time, and errors of ours are told by `command/statuses.py`.
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

RunArgument = Annotated[Path, typer.Argument(metavar="RUN.toml", help="The run file.")]
LogOption = Annotated[
    Path | None,
    typer.Option("--log", metavar="FILE.jsonl", help="Write every event as a line of JSON."),
]
QuietOption = Annotated[bool, typer.Option("--quiet", help="Show errors only.")]

Format = StrEnum("Format", ("csv", "gpx", "dxf", "landxml", "ground", "pdf", "svg", "map", "field"))
Paper = StrEnum("Paper", {"A4": "A4", "A3": "A3"})

# What a run makes lives to its end and holds next to no circles. Python looks for some every 700
# objects, which took a second of a rerun.
_OBJECTS_BETWEEN_SEARCHES = 500_000


def _version(asked: bool) -> None:
    if asked:
        typer.echo(__version__)
        raise typer.Exit


@app.callback()
def soakline(
    _: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Plan level, water-soaking trenches (swales) from a DEM and a boundary.

    Exit status: 0 done; 1 a defect of ours; 2 input or usage refused, nothing written; 3 done, and
    the plan has findings at stop; 130 or 143 ended by a signal.
    """


@app.command()
def plan(
    run_file: RunArgument,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE.gpkg", help="The plan. Beside the run file by default."),
    ] = None,
    map_: Annotated[
        Path | None,
        typer.Option("--map", metavar="FILE.png", help="Draw the plan over a hillshade."),
    ] = None,
    work: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            help="Where results of stages are kept for the next run. Beside the plan by default.",
        ),
    ] = None,
    fresh: Annotated[bool, typer.Option("--fresh", help="Use nothing that is kept.")] = False,
    rain: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="FILE.csv",
            help="Rain table instead of the run file's; each of several gives a plan of its own.",
        ),
    ] = None,
    tiles: Annotated[
        int | None,
        typer.Option(
            metavar="CELLS",
            min=0,
            max=MOST_SIDE,
            help="Terrain in tiles of so many cells a side, with the same result in less memory; "
            "0: whole. In tiles where there are over 200 million cells by default.",
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help="A Dask scheduler for the tiles, whose workers see the plan's folder under the "
            "same path; threads of this process by default.",
        ),
    ] = None,
    log: LogOption = None,
    quiet: QuietOption = False,
) -> None:
    """Read the run file and write the plan.

    Prints the plan's path; with several rain tables each plan's, and how they differ.
    """
    from soakline.command.plan import PlanOptions, plan_command  # noqa: PLC0415
    from soakline.command.statuses import run_command  # noqa: PLC0415

    try:
        in_tiles = told_apart(TileOptions(tiles, scheduler))
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="--tiles") from None
    options = PlanOptions(out, map_, work, fresh, tuple(rain or ()), in_tiles)
    status = run_command(
        lambda progress: plan_command(run_file, options, progress), log, quiet, keep=(run_file,)
    )
    raise typer.Exit(status)


@app.command()
def check(
    run_file: RunArgument,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print what was understood as JSON.")
    ] = False,
    log: LogOption = None,
    quiet: QuietOption = False,
) -> None:
    """Read and check all that `plan` would; list every problem.

    Nothing is written. Prints what was understood and what a plan would take.
    """
    from soakline.command.bounded import MOST_SECONDS, memory_bound_bytes, run_bounded  # noqa: PLC0415
    from soakline.command.statuses import REFUSED, problem_list, run_command  # noqa: PLC0415
    from soakline.problems import InputRefused  # noqa: PLC0415

    def checked(progress: "Progress") -> int:
        # Loaded here, so that a failure to load is told as any other.
        from soakline.command.check import check_command  # noqa: PLC0415

        return check_command(run_file, as_json, progress)

    try:
        status = run_bounded(
            lambda: run_command(checked, log, quiet, keep=(run_file,)),
            run_file,
            MOST_SECONDS,
            memory_bound_bytes(),
        )
    except InputRefused as refused:
        typer.echo(problem_list(refused.problems), err=True)
        status = REFUSED
    raise typer.Exit(status)


@app.command()
def start(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new or an empty folder.")],
) -> None:
    """Write a new run folder to fill in.

    It holds a commented run file, an empty rain table and a README of what to replace.
    """
    from soakline.command.start import start_command  # noqa: PLC0415
    from soakline.command.statuses import run_command  # noqa: PLC0415

    raise typer.Exit(run_command(lambda _: start_command(folder), None, quiet=True))


@app.command()
def compare(
    a: Annotated[Path, typer.Argument(metavar="A.gpkg", help="A plan.")],
    b: Annotated[Path, typer.Argument(metavar="B.gpkg", help="Another of the same property.")],
    to_json: Annotated[bool, typer.Option("--json", help="Print every figure as JSON.")] = False,
    to_csv: Annotated[
        bool, typer.Option("--csv", help="Print every figure as CSV, one a row.")
    ] = False,
    everything: Annotated[
        bool, typer.Option("--all", help="In the tables, rows without a change too.")
    ] = False,
    log: LogOption = None,
) -> None:
    """Tell what changed between two plans of one property.

    Swale by swale and in total. Nothing is written; plans of different properties are refused.
    """
    if to_json and to_csv:
        raise typer.BadParameter("--json and --csv: give one of them")
    from soakline.command.statuses import run_command  # noqa: PLC0415

    def compared(_: object) -> int:
        # Loaded here, so that a failure to load is told as any other.
        from soakline.command.compare import compare_command  # noqa: PLC0415

        return compare_command(a, b, to_json, to_csv, everything)

    raise typer.Exit(run_command(compared, log, quiet=True, keep=(a, b)))


@app.command()
def setout(
    plan_file: Annotated[Path, typer.Argument(metavar="PLAN.gpkg", help="A finished plan.")],
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder of the files. The plan's by default."),
    ] = None,
    formats: Annotated[
        list[Format] | None,
        typer.Option("--format", help="What to write; may be given again. All by default."),
    ] = None,
    paper: Annotated[Paper, typer.Option("--paper", help="Sheets of the drawings.")] = Paper.A4,
    dem: Annotated[
        list[Path] | None,
        typer.Option(
            "--dem", metavar="FILE.tif", help="The plan's DEM, where it is not beside the plan."
        ),
    ] = None,
    cell_m: Annotated[
        float,
        typer.Option(
            "--cell", metavar="M", min=0.0, max=10.0, help="Cells of the finished ground; 0: DEM's."
        ),
    ] = 0.0,
    log: LogOption = None,
    quiet: QuietOption = False,
) -> None:
    """Write files to set out from, and drawings, of a finished plan.

    Pegs as CSV and GPX, lines and surface as DXF and LandXML, the finished ground as GeoTIFF,
    sections as PDF and SVG. Prints the path of each.
    """
    from soakline.command.statuses import run_command  # noqa: PLC0415

    def set_out(progress: "Progress") -> int:
        # Loaded here, so that a failure to load is told as any other.
        from soakline.command.setout import setout_command  # noqa: PLC0415
        from soakline.setout.files import SetoutOptions  # noqa: PLC0415

        wanted = tuple(form.value for form in formats or Format)
        options = SetoutOptions(wanted, out, paper.value, tuple(dem or ()), cell_m)
        return setout_command(plan_file, options, progress)

    raise typer.Exit(run_command(set_out, log, quiet, keep=(plan_file, *(dem or ()))))


@app.command()
def report(
    plan_file: Annotated[Path, typer.Argument(metavar="PLAN.gpkg", help="A finished plan.")],
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE.html", help="The report. Beside the plan by default."),
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Write a PDF of the same name too.")] = False,
    log: LogOption = None,
    quiet: QuietOption = False,
) -> None:
    """Write a report that anyone can read, of a finished plan.

    One HTML file that loads nothing from anywhere and prints to A4. Prints its path.
    """
    from soakline.command.statuses import run_command  # noqa: PLC0415

    def reported(progress: "Progress") -> int:
        # Loaded here, so that a failure to load is told as any other.
        from soakline.command.report import report_command  # noqa: PLC0415
        from soakline.report.files import ReportOptions  # noqa: PLC0415

        return report_command(plan_file, ReportOptions(out, pdf), progress)

    raise typer.Exit(run_command(reported, log, quiet, keep=(plan_file,)))


@app.command()
def verify(
    plan_file: Annotated[Path, typer.Argument(metavar="PLAN.gpkg", help="A finished plan.")],
    dem: Annotated[
        list[Path] | None,
        typer.Option(
            "--dem", metavar="FILE.tif", help="The plan's DEM, where it is not beside the plan."
        ),
    ] = None,
    to_json: Annotated[bool, typer.Option("--json", help="Print the table as JSON.")] = False,
    log: LogOption = None,
) -> None:
    """Measure a finished plan against its own DEM, by code that shares nothing with the planner.

    Prints a table of what is allowed, what was found and what holds. Nothing is written. Exit
    status 3 where something does not hold.
    """
    from soakline.command.statuses import run_command  # noqa: PLC0415

    def verified(_: object) -> int:
        # Loaded here, so that a failure to load is told as any other.
        from soakline.command.verify import verify_command  # noqa: PLC0415

        return verify_command(plan_file, tuple(dem or ()), to_json)

    raise typer.Exit(run_command(verified, log, quiet=True, keep=(plan_file, *(dem or ()))))


@app.command()
def fleet(
    list_file: Annotated[Path, typer.Argument(metavar="LIST.toml", help="A list of run files.")],
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="A Dask scheduler; one on this machine by default."),
    ] = None,
    workers: Annotated[
        int,
        typer.Option(metavar="N", min=0, max=1024, help="Processes on this machine; 0: the cores."),
    ] = 0,
    memory_gib: Annotated[
        float,
        typer.Option("--memory", metavar="GIB", min=0.0, help="Of all processes; 0: what is free."),
    ] = 0.0,
    fresh: Annotated[bool, typer.Option("--fresh", help="Make plans that stand anew.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the summary as JSON.")] = False,
    log: LogOption = None,
    quiet: QuietOption = False,
) -> None:
    """Plan many properties, unattended.

    Prints what became of each, and where the summary is. Plans whose inputs did not change since
    are kept; one property's failure never stops the rest.
    """
    from soakline.command.statuses import run_command  # noqa: PLC0415

    def all_of_them(progress: "Progress") -> int:
        # Loaded here, so that a failure to load is told as any other.
        from soakline.command.fleet import fleet_command  # noqa: PLC0415
        from soakline.fleet.run import FleetOptions  # noqa: PLC0415

        options = FleetOptions(scheduler, workers, round(memory_gib * 2**30), fresh)
        return fleet_command(list_file, options, as_json, progress)

    raise typer.Exit(run_command(all_of_them, log, quiet, keep=(list_file,)))


def main(command: Callable[[], object] = app) -> None:
    """Run the console program; ends the process with the command's exit status."""
    gc.set_threshold(_OBJECTS_BETWEEN_SEARCHES)
    end_on_signals()
    hold_standard_streams()
    # Cells are outlined in rows and columns, which have no place on the earth. A library mutes this
    # for each call; where two threads do, one may end the other's silence.
    warnings.filterwarnings("ignore", message="Dataset has no geotransform")
    try:
        command()
    finally:
        # Nor does Python look for circles on its way out: the system takes all back at once.
        gc.freeze()
