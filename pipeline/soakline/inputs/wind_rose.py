"""Where the wind comes from, and for how much of the time: a table of sectors."""

from dataclasses import dataclass
from math import isnan
from pathlib import Path

import numpy as np

from soakline.grid import FloatArray
from soakline.inputs.csv_columns import named_rows
from soakline.inputs.csv_rows import CsvFile
from soakline.problems import ProblemCollector

WIND_KEY = "planting.wind"
COLUMNS = ("from_deg", "share_pct")
CALM = "calm"
_ALLOWED = (
    f"a CSV file with the columns {','.join(COLUMNS)}: degrees from north that the wind comes "
    'from, or "calm", and percent of the time'
)
# Shares that were rounded for printing are off by this much together, %.
_ROUNDED_PCT = 0.5


@dataclass(frozen=True, eq=False, slots=True)
class WindRose:
    """Sectors in the file's order, calms left out; both (n,).

    Parameters
    ----------
    from_deg : that the wind comes from, clockwise from north, 0 to under 360
    share_pct : of the time; with the calms they sum to 100
    """

    from_deg: FloatArray
    share_pct: FloatArray

    def prevailing(self) -> tuple[FloatArray, FloatArray]:
        """Sectors that the wind comes from at least as often as from the mean one.

        Returns
        -------
        (k,) degrees and (k,) weights that sum to 1
        """
        often = self.share_pct >= self.share_pct.mean() - 1e-9
        return self.from_deg[often], self.share_pct[often] / self.share_pct[often].sum()


def read_wind_rose(path: Path) -> WindRose:
    """Read a table of wind.

    Parameters
    ----------
    path : CSV file with the columns from_deg and share_pct

    Raises
    ------
    InputRefused
        With every cell that cannot be used and every direction that comes twice; if shares do not
        sum to 100 %, or the table holds calms alone.
    """
    file = CsvFile(path, WIND_KEY, _ALLOWED)
    problems = ProblemCollector()
    direction: list[float] = []
    share: list[float] = []
    lines: list[int] = []
    seen: dict[float | str, int] = {}
    for row in named_rows(file, COLUMNS):
        lines.append(row.line)
        share.append(row.number("share_pct", 0.0, 100.0, "%", problems))
        calm = row.cells["from_deg"].lower() == CALM
        degrees = float("nan") if calm else row.number("from_deg", 0.0, 360.0, "degrees", problems)
        direction.append(degrees % 360.0)
        if calm or not isnan(degrees):  # else a problem is told already
            which = CALM if calm else degrees % 360.0
            first = seen.setdefault(which, row.line)
            if first != row.line:
                found = f'"{row.cells["from_deg"]}" again, as in row {first}'
                problems.add(file.problem(row.where("from_deg"), found, "each direction once"))
    problems.raise_if_any()
    if not lines:
        raise file.refused("", "no rows", f"{_ALLOWED}, and a row at least")
    total = float(np.sum(share))
    if abs(total - 100.0) > _ROUNDED_PCT:
        where = f"rows {lines[0]} to {lines[-1]}, column share_pct"
        allowed = f'shares that sum to 100 %, give or take {_ROUNDED_PCT:g}, "{CALM}" included'
        raise file.refused(where, f"shares that sum to {total:g} %", allowed)
    blows = ~np.isnan(direction) & (np.array(share) > 0.0)
    if not blows.any():
        where = f"rows {lines[0]} to {lines[-1]}, column from_deg"
        raise file.refused(where, "calms alone", "a direction with a share over 0 % at least")
    return WindRose(np.array(direction)[blows], np.array(share)[blows])
