"""Compares two plan files."""

from pathlib import Path

from soakline.compare.comparison import Comparison
from soakline.compare.differences import differences
from soakline.compare.read import PlanTables, read_plan
from soakline.problems import ProblemCollector


def compare_plans(a_path: Path, b_path: Path) -> Comparison:
    """Find what changed from one plan to another of the same property.

    Parameters
    ----------
    a_path, b_path : plans; neither is written to

    Returns
    -------
    Comparison

    Raises
    ------
    InputRefused
        If a file is not a plan (all problems of both files together), or the plans are of different
        properties.
    """
    collector = ProblemCollector()
    plans: list[PlanTables] = []
    for path in (a_path, b_path):
        with collector.collecting():
            plans.append(read_plan(path))
    collector.raise_if_any()
    return differences(*plans)
