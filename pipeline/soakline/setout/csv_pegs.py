"""Pegs as CSV in surveyors' order: point, northing, easting, level, description."""

from pathlib import Path

import pandas as pd

from soakline.csv_cells import plain_cells
from soakline.setout.drain_pegs import pegs_beside
from soakline.setout.plan import SetOutPlan

_SAME_M = 0.0005


def description(plan: SetOutPlan, k: int) -> str:
    """What a peg is and what is dug there, short enough for a controller's screen."""
    pegs = plan.pegs
    words = (
        f"{pegs.swale_id[k]} {pegs.kind[k]} ch {pegs.chainage_m[k]:.2f} "
        f"base {pegs.base_level_m[k]:.3f} cut {pegs.cut_m[k]:.2f}"
    )
    if pegs.dig_level_m[k] < pegs.base_level_m[k] - _SAME_M:
        words += f" dig {pegs.dig_level_m[k]:.3f} for {plan.amendment}"
    return f"{words} daylight {pegs.daylight_m[k]:.2f} at {pegs.daylight_level_m[k]:.3f}"


def peg_table(plan: SetOutPlan) -> pd.DataFrame:
    """One row a peg: point, northing, easting, level, description; m, to the millimetre.

    Pegs of swales come first, then those of ponds, basins and pits, with the level of the floor,
    and those of diversion drains, with that of the bed.
    Where the plan has a benchmark, `above_benchmark` follows, and the benchmark is the first point.
    """
    pegs = plan.pegs
    table = pd.DataFrame(
        {
            "point": pegs.peg_id,
            "northing": pegs.northing,
            "easting": pegs.easting,
            "level": pegs.level_m,
            "description": [description(plan, k) for k in range(len(pegs.peg_id))],
        }
    )
    points = [
        (own.name, own.northing, own.easting, own.level_m, own.description)
        for own in pegs_beside(plan)
    ]
    if points:
        table = pd.concat([table, pd.DataFrame(points, columns=table.columns)], ignore_index=True)
    mark = plan.benchmark
    if mark is None:
        return table
    first = pd.DataFrame(
        {
            "point": ["BM"],
            "northing": [mark.northing],
            "easting": [mark.easting],
            "level": [mark.level_m],
            "description": ["benchmark"],
        }
    )
    table = pd.concat([first, table], ignore_index=True)
    return table.assign(above_benchmark=table["level"] - mark.level_m)


def write_csv(plan: SetOutPlan, path: Path) -> None:
    """Write the peg table."""
    table = plain_cells(peg_table(plan))
    table.to_csv(path, index=False, float_format="%.3f", lineterminator="\n")
