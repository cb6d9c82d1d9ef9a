"""`soakline fleet`: plans of many properties on a Dask cluster."""

import contextlib
import io
from pathlib import Path

from typer import echo

from soakline.command.estimate import estimate
from soakline.command.plan import PlanOptions, plan_command
from soakline.command.statuses import AT_STOP, DONE
from soakline.fleet.fleet_list import read_list
from soakline.fleet.run import FleetOptions, all_planned, run_fleet
from soakline.fleet.table import as_json, as_text
from soakline.inputs.survey import survey
from soakline.runfile.sections import RunFile
from soakline.stages.progress import Progress


def fleet_command(list_file: Path, options: FleetOptions, to_json: bool, progress: Progress) -> int:
    """Plan all properties of a list; print the summary.

    Parameters
    ----------
    list_file : the list
    options : FleetOptions
    to_json : print one JSON object instead of a table
    progress : told of every property

    Returns
    -------
    exit status: 0 done, 3 done and a property failed or is at stop

    Raises
    ------
    InputRefused
        With all problems of the list; nothing is written.
    """
    fleet = read_list(list_file)
    with progress.stage("all properties") as whole:
        rows = run_fleet(list_file, fleet, options, plan_one, memory_bytes, progress)
        seconds = whole.seconds
    told = as_json if to_json else as_text
    echo(told(rows, fleet.summary, seconds))
    return DONE if all_planned(rows) else AT_STOP


def plan_one(run_file: Path, plan: Path) -> None:
    """Write one plan as `soakline plan` does; runs on a worker.

    Raises
    ------
    InputRefused
        As `plan_command`.
    """
    with contextlib.redirect_stdout(io.StringIO()):  # the plan's path is told in the summary
        plan_command(run_file, PlanOptions(out=plan), Progress())


def memory_bytes(run: RunFile) -> int:
    """Estimate what a plan takes, from its DEM's headers."""
    return estimate(survey(run).grid.cells).memory_bytes
