"""`soakline report`: a finished plan as one page to read, and as a PDF."""

from pathlib import Path

from typer import echo

from soakline.command.statuses import DONE
from soakline.report.files import ReportOptions, write_report
from soakline.stages.progress import Progress


def report_command(plan: Path, options: ReportOptions, progress: Progress) -> int:
    """Write the report; print the path of each file.

    Parameters
    ----------
    plan : a finished plan
    options : ReportOptions
    progress : told when the work begins and ends

    Returns
    -------
    exit status: 0 done

    Raises
    ------
    InputRefused
        If it is no plan to report on, or a file cannot be written; then none is.
    """
    with progress.stage("writing the report"):
        written = write_report(plan, options)
    for path in written:
        echo(path)
    return DONE
