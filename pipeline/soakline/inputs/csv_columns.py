"""Rows of a small CSV file by the names of its columns."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from soakline.inputs.csv_rows import CsvFile, figure_of, is_decimal_comma
from soakline.problems import ProblemCollector


@dataclass(frozen=True, slots=True)
class NamedRow:
    """One row.

    Parameters
    ----------
    file : that it stands in
    line : in the file
    cells : text by column
    """

    file: CsvFile
    line: int
    cells: dict[str, str]

    def where(self, column: str) -> str:
        """Row and column in words."""
        return f"row {self.line}, column {column}"

    def number(
        self, column: str, least: float, greatest: float, unit: str, problems: ProblemCollector
    ) -> float:
        """The figure in a cell; what is none, or out of the range, becomes a problem.

        Parameters
        ----------
        column : its heading
        least, greatest : the range, ends included
        unit : of the figure, in words
        problems : takes what is wrong

        Returns
        -------
        the figure; NaN where there is a problem
        """
        text = self.cells[column]
        figure = figure_of(text)
        if figure is not None and least <= figure <= greatest:
            return figure
        mend = "Write decimals with a point." if is_decimal_comma(text) else ""
        found = f'"{text}"' if text else "an empty cell"
        allowed = f"a number from {least:g} to {greatest:g} {unit}".rstrip()
        problems.add(self.file.problem(self.where(column), found, allowed, mend))
        return float("nan")


def named_rows(
    file: CsvFile, columns: Sequence[str], optional: Sequence[str] = ()
) -> Iterator[NamedRow]:
    """Rows of a file whose heading has certain columns; others are left alone.

    Parameters
    ----------
    file : CsvFile
    columns : that must be there, once
    optional : that may be there, once

    Raises
    ------
    InputRefused
        If a column is missing or comes twice, or a row has more cells than headings.
    """
    header, rows = file.read()
    heads = [head.lower() for head in header]
    problems = ProblemCollector()
    for column in (*columns, *(name for name in optional if name in heads)):
        if heads.count(column) != 1:
            found = "two columns of that name" if column in heads else "no such column"
            problems.add(file.problem(f"heading {column}", found))
    for line, cells in rows:
        if len(cells) > len(heads):
            found = f"{len(cells)} cells under {len(heads)} headings"
            mend = "If a cell holds a comma, put it in quotation marks."
            problems.add(file.problem(f"row {line}", found, "a cell for each heading", mend))
    problems.raise_if_any()
    for line, cells in rows:
        padded = cells + [""] * (len(heads) - len(cells))
        yield NamedRow(file, line, dict(zip(heads, padded, strict=True)))
