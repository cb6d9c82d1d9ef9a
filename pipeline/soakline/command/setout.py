"""`soakline setout`: files to set out from, and drawings, of a finished plan."""

from pathlib import Path

from typer import echo

from soakline.command.statuses import DONE
from soakline.setout.files import SetoutOptions, write_setout
from soakline.stages.progress import Progress


def setout_command(plan: Path, options: SetoutOptions, progress: Progress) -> int:
    """Write the files; print the path of each.

    Parameters
    ----------
    plan : a finished plan
    options : SetoutOptions
    progress : told what was not written

    Returns
    -------
    exit status: 0 done

    Raises
    ------
    InputRefused
        If it is no plan to set out from, or a file cannot be written; then none is.
    """
    with progress.stage("setting out"):
        outcome = write_setout(plan, options)
    for missing in outcome.not_written:
        progress.message("caution", missing)
    for path in outcome.written:
        echo(path)
    return DONE
