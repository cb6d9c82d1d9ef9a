"""`soakline verify`: measures a finished plan anew."""

from collections.abc import Sequence
from pathlib import Path

from typer import echo

from soakline import __version__
from soakline.command.statuses import AT_STOP, DONE
from soakline.verify.plan import verify_plan
from soakline.verify.printed import as_json, as_text


def verify_command(plan_file: Path, dem_files: Sequence[Path], to_json: bool) -> int:
    """Measure a plan; print what holds and what does not.

    Parameters
    ----------
    plan_file : the plan
    dem_files : its DEM, where that is not beside it
    to_json : print JSON instead of a table

    Returns
    -------
    exit status: 0 all holds, 3 something does not

    Raises
    ------
    InputRefused
        As `verify_plan`.
    """
    lines = verify_plan(plan_file, dem_files, __version__)
    echo(as_json(lines) if to_json else as_text(lines))
    return AT_STOP if any(line.holds is False for line in lines) else DONE
