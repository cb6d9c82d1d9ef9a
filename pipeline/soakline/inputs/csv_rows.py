"""Small CSV files with a heading: opened, split into rows, refused by row, column and value."""

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

from soakline.inputs.local_files import require_local_file
from soakline.problems import InputProblem, InputRefused

GREATEST_BYTES = 1_000_000
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")

Rows = list[tuple[int, list[str]]]
"""Each row's line in the file and its cells, blanks around them taken away."""


@dataclass(frozen=True, slots=True)
class CsvFile:
    """A CSV file in UTF-8, comma-separated, decimal points; lines that start with # are comments.

    Parameters
    ----------
    path : the file
    key : run-file key that names it
    allowed : what the file must be, in words
    greatest_bytes : larger is refused unread
    """

    path: Path
    key: str
    allowed: str
    greatest_bytes: int = GREATEST_BYTES

    def problem(self, where: str, found: str, allowed: str = "", mend: str = "") -> InputProblem:
        """What is wrong at a place in the file; an empty place stands for the whole file."""
        key = f"{self.key}, {where}" if where else self.key
        return InputProblem(str(self.path), key, found, allowed or self.allowed, mend)

    def refused(self, where: str, found: str, allowed: str = "", mend: str = "") -> InputRefused:
        """The same, to be raised."""
        return InputRefused([self.problem(where, found, allowed, mend)])

    def read(self) -> tuple[list[str], Rows]:
        """Headings and rows, blank lines and comments left out.

        Raises
        ------
        InputRefused
            If the file cannot be read, is no text, or its columns are not separated by commas.
        """
        reader = csv.reader(io.StringIO(self._text(), newline=""), strict=True)
        rows: Rows = []
        try:
            for row in reader:
                cells = [cell.strip() for cell in row]
                if any(cells) and not cells[0].startswith("#"):
                    rows.append((reader.line_num, cells))
        except csv.Error as error:
            raise self.refused(f"row {reader.line_num}", str(error)) from None
        if not rows:
            raise self.refused("", "no rows")
        line, header = rows[0]
        for separator, name in ((";", "semicolons"), ("\t", "tabs")):
            if separator in ",".join(header):
                found = f"columns separated by {name}"
                mend = "Save it with commas between columns and points as decimal marks."
                raise self.refused(f"row {line}", found, mend=mend)
        return header, rows[1:]

    def _text(self) -> str:
        require_local_file(self.path, self.key, self.allowed)
        if self.path.stat().st_size > self.greatest_bytes:
            found = f"a file of {self.path.stat().st_size} bytes"
            raise self.refused("", found, f"{self.allowed}, under {self.greatest_bytes} bytes")
        try:
            text = self.path.read_bytes().decode("utf-8-sig")
        except UnicodeDecodeError as error:
            found = f"a byte that is not UTF-8 text, at position {error.start}"
            raise self.refused("", found, mend="Save it as CSV in UTF-8.") from None
        if "\0" in text:
            raise self.refused("", "a file that is not text")
        return text


def figure_of(text: str) -> float | None:
    """The number in a cell, infinite where it is too large; None where it holds none."""
    return float(text) if _NUMBER.fullmatch(text) else None


def is_decimal_comma(text: str) -> bool:
    """Whether a cell is a number written with a decimal comma."""
    return re.fullmatch(r"\d+,\d+", text) is not None
