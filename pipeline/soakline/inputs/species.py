"""Trees that may be planted: the table that ships, or the user's own."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast, get_args

from soakline import tables
from soakline.inputs.csv_columns import NamedRow, named_rows
from soakline.inputs.csv_rows import CsvFile
from soakline.problems import ProblemCollector
from soakline.runfile.sections import RunFile

Group = Literal["pioneer", "nitrogen fixer", "fruit", "nut", "timber", "windbreak", "mulch"]
GROUPS: tuple[Group, ...] = get_args(Group)
TOLERANCES = ("low", "medium", "high")

SPECIES_KEY = "planting.species"
_FIGURES = {
    "height_m": (0.3, 120.0, "m"),
    "crown_m": (0.3, 60.0, "m"),
    "grown_years": (1.0, 200.0, "years"),
}
_BEARING = (0.0, 100.0, "years, or an empty cell")
_BEARS = ("sand", "clay", "wet_feet", "salt", "drought")
COLUMNS = ("species", "name", "group", *_FIGURES, "bearing_years", *_BEARS, "source")
_ALLOWED = "a CSV file with the columns " + ", ".join(COLUMNS)


@dataclass(frozen=True, slots=True)
class Species:
    """One row of a table of species.

    Parameters
    ----------
    species : botanical name
    name : common name
    group : what it is planted for
    height_m, crown_m : of a full-grown tree
    grown_years : after which the crown has nine tenths of its full width
    bearing_years : until a first crop; NaN where none is looked for
    bears : `low`, `medium` or `high` for sand, clay, wet_feet, salt and drought
    source : of these figures
    """

    species: str
    name: str
    group: Group
    height_m: float
    crown_m: float
    grown_years: float
    bearing_years: float
    bears: dict[str, str]
    source: str


def read_species(path: Path) -> tuple[Species, ...]:
    """Read a table of species.

    Parameters
    ----------
    path : CSV file with `COLUMNS`

    Returns
    -------
    Species in the table's order

    Raises
    ------
    InputRefused
        With every cell that cannot be used; also where no species is in the table.
    """
    file = CsvFile(path, SPECIES_KEY, _ALLOWED)
    problems = ProblemCollector()
    found: dict[str, Species] = {}
    for row in named_rows(file, COLUMNS):
        name = row.cells["species"]
        if not name or name.casefold() in found:
            cell = f'"{name}" again' if name else "an empty cell"
            problems.add(file.problem(row.where("species"), cell, "a botanical name, once"))
        figures = {
            column: row.number(column, *limits, problems) for column, limits in _FIGURES.items()
        }
        bearing = float("nan")
        if row.cells["bearing_years"]:
            bearing = row.number("bearing_years", *_BEARING, problems)
        found[name.casefold()] = Species(
            species=name,
            name=row.cells["name"],
            group=cast("Group", _one_of(row, "group", GROUPS, problems)),
            height_m=figures["height_m"],
            crown_m=figures["crown_m"],
            grown_years=figures["grown_years"],
            bearing_years=bearing,
            bears={column: _one_of(row, column, TOLERANCES, problems) for column in _BEARS},
            source=row.cells["source"] or "none given",
        )
    problems.raise_if_any()
    if not found:
        raise file.refused("", "no species")
    return tuple(found.values())


def _one_of(
    row: NamedRow, column: str, allowed: tuple[str, ...], problems: ProblemCollector
) -> str:
    """A cell's word in the table's spelling; any other becomes a problem."""
    text = row.cells[column].lower().replace("_", " ").replace("-", " ")
    if text not in allowed:
        found = f'"{row.cells[column]}"' if text else "an empty cell"
        words = "one of " + ", ".join(f'"{word}"' for word in allowed)
        problems.add(row.file.problem(row.where(column), found, words))
    return text


def chosen_species(run: RunFile) -> tuple[Species, ...]:
    """Species that a run may plant.

    Raises
    ------
    InputRefused
        If the table cannot be used.
    """
    own = run.planting.species
    return read_species(run.resolve(own) if own else tables.table("species.csv"))
