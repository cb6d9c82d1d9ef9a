"""`soakline plan`: checks where the plan goes, then hands over to the stages."""

from pathlib import Path

from typer import echo

from soakline.command.out_path import check_out_paths, plan_path
from soakline.command.statuses import AT_STOP, DONE
from soakline.outputs.whole_file import refuse_unwritable
from soakline.problems import ProblemCollector
from soakline.runfile.load import load_run_file
from soakline.runfile.sections import RunFile
from soakline.stages.progress import Progress


def plan_command(
    run_file: Path, out: Path | None, map_file: Path | None, progress: Progress
) -> int:
    """Plan what a run file asks for; print the plan's path.

    Parameters
    ----------
    run_file : the run file
    out : the plan, replaced if it exists; None for the run file's name beside it
    map_file : picture of the plan; None for none
    progress : told of the stages

    Returns
    -------
    exit status: 0 done, 3 done with findings at stop

    Raises
    ------
    InputRefused
        With all problems of the run file, of the paths and of the inputs; nothing is written.
    """
    target = plan_path(run_file, out)
    collector = ProblemCollector()
    run: RunFile | None = None
    with collector.collecting():
        run = load_run_file(run_file)
    collector.problems += check_out_paths(run_file, run, target, map_file)
    collector.raise_if_any()
    refuse_unwritable(target)
    assert run is not None  # noqa: S101 - else the collector has raised
    # The stages' libraries take a second to load: a bad run file is refused before.
    from soakline.stages.plan import make_plan  # noqa: PLC0415

    outcome = make_plan(run, target, progress, map_file)
    echo(outcome.path)
    return AT_STOP if outcome.stops else DONE
