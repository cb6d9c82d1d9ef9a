"""Levels of lips measured after digging: swale, chainage along its lip, level."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, isnan
from pathlib import Path

from soakline.inputs.csv_columns import named_rows
from soakline.inputs.csv_rows import CsvFile
from soakline.problems import InputProblem, ProblemCollector

AS_BUILT_KEY = "earthworks.as_built"
COLUMNS = ("swale_id", "chainage_m", "level_m")
_ALLOWED = f"a CSV file with the columns {','.join(COLUMNS)}"
# A tape and a drawing differ by this much, m.
TAPE_M = 0.05
_LONGEST_M = 100_000.0
_LOWEST_M, _HIGHEST_M = -500.0, 9000.0
# Two chainages closer than this are one place.
_SAME_PLACE_M = 0.001


@dataclass(frozen=True, slots=True)
class MeasuredLevel:
    """One row.

    Parameters
    ----------
    line : of the file
    swale_id : of the swale
    chainage_m : along the lip from its start, m
    level_m : elevation of the lip there, m
    """

    line: int
    swale_id: str
    chainage_m: float
    level_m: float


@dataclass(frozen=True, slots=True)
class AsBuilt:
    """A whole survey.

    Parameters
    ----------
    file : that it was read from
    levels : in the file's order
    """

    file: CsvFile
    levels: tuple[MeasuredLevel, ...]

    def problem(self, level: MeasuredLevel, column: str, found: str, allowed: str) -> InputProblem:
        """What is wrong with a figure."""
        return self.file.problem(f"row {level.line}, column {column}", found, allowed)

    def beyond_ends(self, length_m: Mapping[str, float]) -> list[InputProblem]:
        """The first place of each swale that lies beyond the end of its lip.

        Parameters
        ----------
        length_m : of lips by id; swales that are not among them are passed over
        """
        problems: dict[str, InputProblem] = {}
        for own in self.levels:
            length = length_m.get(own.swale_id, inf)
            if own.chainage_m > length + TAPE_M and own.swale_id not in problems:
                allowed = f"0 to {length:.2f} m, the length of {own.swale_id}"
                found = f"{own.chainage_m:g} m"
                problems[own.swale_id] = self.problem(own, "chainage_m", found, allowed)
        return list(problems.values())

    @property
    def swale_ids(self) -> list[str]:
        """Swales that were measured, in the file's order."""
        return list(dict.fromkeys(own.swale_id for own in self.levels))


def read_as_built(path: Path) -> AsBuilt:
    """Read a survey of lips.

    Parameters
    ----------
    path : CSV file with the columns swale_id, chainage_m and level_m

    Raises
    ------
    InputRefused
        With every cell that is empty, no number or out of range, and every place measured twice.
        Whether ids and chainages are those of the plan's swales is known only when these are laid.
    """
    file = CsvFile(path, AS_BUILT_KEY, _ALLOWED)
    problems = ProblemCollector()
    levels: list[MeasuredLevel] = []
    seen: dict[tuple[str, int], int] = {}
    for row in named_rows(file, COLUMNS):
        swale = row.cells["swale_id"]
        if not swale:
            problems.add(file.problem(row.where("swale_id"), "an empty cell", "id of a swale"))
        chainage = row.number("chainage_m", 0.0, _LONGEST_M, "m", problems)
        level = row.number("level_m", _LOWEST_M, _HIGHEST_M, "m", problems)
        if not isnan(chainage):  # else a problem is told already
            first = seen.setdefault((swale, round(chainage / _SAME_PLACE_M)), row.line)
            if first != row.line:
                found = f"{chainage:g} m of {swale} again, as in row {first}"
                where = row.where("chainage_m")
                problems.add(file.problem(where, found, "each chainage of a swale once"))
        levels.append(MeasuredLevel(row.line, swale, chainage, level))
    problems.raise_if_any()
    if not levels:
        raise file.refused("", "no rows", f"{_ALLOWED}, and a row at least")
    return AsBuilt(file, tuple(levels))
