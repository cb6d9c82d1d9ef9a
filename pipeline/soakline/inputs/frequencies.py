"""Frequencies of rain: how columns are headed, and which one a storm is taken from."""

import math
import re
from dataclasses import dataclass

from soakline.findings import Finding
from soakline.inputs.types import RainTable
from soakline.problems import InputProblem, InputRefused

HEADING_ALLOWED = 'a return period in years ("10", "2.5") or an AEP ("10%")'
_HEADING = re.compile(r"(\d+\.?\d*|\.\d+)\s*(%?)")


@dataclass(frozen=True, slots=True)
class Frequency:
    """A frequency as headed: `figure` years, or `figure` percent where `is_aep`."""

    figure: float
    is_aep: bool

    @property
    def aep_pct(self) -> float:
        """Chance that a year brings as much or more, percent."""
        if self.is_aep:
            return self.figure
        return -100.0 * math.expm1(-1.0 / self.figure)


@dataclass(frozen=True, slots=True)
class StormColumns:
    """Columns that the design and the check storms are taken from.

    Parameters
    ----------
    design, check : index into `RainTable.frequency` and the second axis of `depth_mm`
    notes : for the run record: how a frequency was matched with a heading
    findings : a caution `check_storm_missing` where the check column is not there
    """

    design: int
    check: int
    notes: tuple[str, ...]
    findings: tuple[Finding, ...]


def parse_frequency(heading: str) -> Frequency | None:
    """Read a heading; None if it is neither a return period nor an AEP.

    Examples
    --------
    >>> parse_frequency("10%"), parse_frequency("ten")
    (Frequency(figure=10.0, is_aep=True), None)
    """
    match = _HEADING.fullmatch(heading.strip())
    if match is None:
        return None
    figure, is_aep = float(match[1]), bool(match[2])
    if figure <= 0.0 or (is_aep and figure >= 100.0):
        return None
    return Frequency(figure, is_aep)


def aep_pct(heading: str) -> float:
    """Annual exceedance probability of a column, percent.

    Parameters
    ----------
    heading : as in the table

    Raises
    ------
    ValueError
        If the heading is no frequency; `read_rain_table` lets none such through.

    Notes
    -----
    As headed for an AEP; for T years 100 (1 - exp(-1/T)), [Langbein1949]_, [ARR2019]_ Book 1.

    Examples
    --------
    >>> round(aep_pct("10"), 3), aep_pct("10%")
    (9.516, 10.0)
    """
    frequency = parse_frequency(heading)
    if frequency is None:
        raise ValueError(f"{heading!r} is not a frequency")
    return frequency.aep_pct


def choose_frequency(
    table: RainTable, asked: str, file: str, key: str = "rain.design"
) -> tuple[int, str]:
    """Find the column of a frequency.

    Parameters
    ----------
    table : from `read_rain_table`
    asked : a return period in years or an AEP
    file, key : what a problem names

    Returns
    -------
    The column's index; and a note for the run record, empty where the heading is as asked.

    Raises
    ------
    InputRefused
        If there is no such column, with the list of those there are.

    Notes
    -----
    Columns count as headed. Only where whole years are asked of AEP headings, or the other way
    round, T years and 100 / T percent are taken for the same, and that is noted.
    """
    wanted = parse_frequency(asked)
    if wanted is None:
        raise InputRefused([InputProblem(file, key, f'"{asked}"', HEADING_ALLOWED)])
    for index, heading in enumerate(table.frequency):
        if parse_frequency(heading) == wanted:
            return index, ""
    for index, heading in enumerate(table.frequency):
        headed = parse_frequency(heading)
        if headed is None or headed.is_aep == wanted.is_aep:
            continue
        years = headed.figure if wanted.is_aep else wanted.figure
        percent = wanted.figure if wanted.is_aep else headed.figure
        if years == round(years) and math.isclose(years * percent, 100.0, rel_tol=1e-3):
            return index, f"{key} = {asked} taken from the column headed {heading}: AEP = 1/T"
    there = ", ".join(table.frequency)
    problem = InputProblem(file, key, f'"{asked}"', f"a column of the table: {there}")
    raise InputRefused([problem])


def choose_columns(table: RainTable, design: str, check: str, file: str) -> StormColumns:
    """Find the columns of design and check storms.

    Parameters
    ----------
    table : from `read_rain_table`
    design, check : as the run file has them
    file : the rain table, for problems

    Raises
    ------
    InputRefused
        If the design column is missing, or the check storm is more frequent than the design storm.
    """
    at_design, note = choose_frequency(table, design, file, "rain.design")
    notes = [note] if note else []
    findings: tuple[Finding, ...] = ()
    if parse_frequency(check) is None:
        raise InputRefused([InputProblem(file, "rain.check", f'"{check}"', HEADING_ALLOWED)])
    try:
        at_check, note = choose_frequency(table, check, file, "rain.check")
        notes += [note] if note else []
    except InputRefused:
        # Columns stand in order of rarity, the rarest last.
        at_check = len(table.frequency) - 1
        findings = (_check_missing(check, table.frequency[at_check]),)
    if at_check < at_design:
        found = f'"{check}", more frequent than rain.design = "{design}"'
        problem = InputProblem(file, "rain.check", found, "a storm at least as rare as the design")
        raise InputRefused([problem])
    return StormColumns(at_design, at_check, tuple(notes), findings)


def _check_missing(check: str, taken: str) -> Finding:
    return Finding(
        "check_storm_missing",
        "caution",
        "storms",
        "",
        f'The rain table has no column for rain.check = "{check}"; the rarest, {taken}, is taken.',
        "Sills and routes are sized for that storm only: get the rarer depths for the place.",
    )
