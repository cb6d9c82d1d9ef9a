"""`soakline compare`: what changed between two plans of one property."""

from pathlib import Path

from typer import echo

from soakline.command.statuses import DONE
from soakline.compare.export import as_csv, as_json
from soakline.compare.plans import compare_plans
from soakline.compare.table import as_text


def compare_command(
    a_path: Path, b_path: Path, to_json: bool, to_csv: bool, everything: bool
) -> int:
    """Compare two plans; print what changed.

    Parameters
    ----------
    a_path, b_path : plans of one property
    to_json, to_csv : print one JSON object, or one CSV table, instead of tables for reading
    everything : in the tables for reading, rows without a change too

    Returns
    -------
    exit status: 0 done

    Raises
    ------
    InputRefused
        If a file is not a plan, or the plans are of different properties.
    """
    comparison = compare_plans(a_path, b_path)
    if to_json:
        echo(as_json(comparison))
    elif to_csv:
        echo(as_csv(comparison), nl=False)
    else:
        echo(as_text(comparison, everything))
    return DONE
