"""The machine that digs: what it can do, from the table that ships or from the user's own."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, cast

from soakline import tables
from soakline.inputs.csv_columns import NamedRow, named_rows
from soakline.inputs.csv_rows import CsvFile, figure_of
from soakline.problems import InputProblem, InputRefused, ProblemCollector
from soakline.runfile.sections import RunFile

SoilGroup = Literal["sandy", "loamy", "clayey"]

MACHINES_KEY = "earthworks.machines"
_RANGES = {
    "dig_depth_m": (0.1, 30.0, "m"),
    "reach_m": (0.1, 50.0, "m"),
    "least_bend_m": (0.0, 100.0, "m"),
    "sandy_m3_h": (0.01, 5000.0, "m³/h"),
    "loamy_m3_h": (0.01, 5000.0, "m³/h"),
    "clayey_m3_h": (0.01, 5000.0, "m³/h"),
}
COLUMNS = ("machine", "bucket_widths_m", *_RANGES, "source")
_ALLOWED = "a CSV file with the columns " + ", ".join(COLUMNS)
_WIDTHS = "widths from 0.05 to 10 m with blanks between them, such as 0.3 0.6 1.2"


@cache
def soil_groups() -> dict[str, SoilGroup]:
    """Group of each USDA texture, from `config/soils.csv`."""
    return {row["texture"]: cast("SoilGroup", row["group"]) for row in tables.rows("soils.csv")}


@dataclass(frozen=True, slots=True)
class Machine:
    """One row of a table of machines.

    Parameters
    ----------
    name : as `earthworks.machine` names it
    bucket_widths_m : narrowest first
    dig_depth_m : deepest that it digs below where it stands
    reach_m : farthest that it digs at ground level
    least_bend_m : radius of the tightest bend that it follows; it digs no shorter piece of line
    bank_m3_h : bank volume dug and heaped in an hour, by group of soils
    source : of these figures
    """

    name: str
    bucket_widths_m: tuple[float, ...]
    dig_depth_m: float
    reach_m: float
    least_bend_m: float
    bank_m3_h: Mapping[SoilGroup, float]
    source: str

    def bend_radius_m(self, asked_m: float) -> float:
        """Least radius of its lines, m: what is asked for, or its own bend if that is wider."""
        return max(asked_m, self.least_bend_m)

    def hourly_m3(self, texture: str) -> float:
        """Bank volume in an hour in a soil of some USDA texture, m³/h."""
        return self.bank_m3_h[soil_groups()[texture]]


def read_machines(path: Path) -> dict[str, Machine]:
    """Read a table of machines.

    Parameters
    ----------
    path : CSV file with `COLUMNS`

    Returns
    -------
    Machine by name

    Raises
    ------
    InputRefused
        With every cell that cannot be used.
    """
    file = CsvFile(path, MACHINES_KEY, _ALLOWED)
    problems = ProblemCollector()
    machines: dict[str, Machine] = {}
    for row in named_rows(file, COLUMNS):
        name = row.cells["machine"]
        if not name or name in machines:
            found = f'"{name}" again' if name else "an empty cell"
            problems.add(file.problem(row.where("machine"), found, "a name for each machine, once"))
        figures = {
            column: row.number(column, *limits, problems) for column, limits in _RANGES.items()
        }
        machines[name] = Machine(
            name=name,
            bucket_widths_m=_widths(row, problems),
            dig_depth_m=figures["dig_depth_m"],
            reach_m=figures["reach_m"],
            least_bend_m=figures["least_bend_m"],
            bank_m3_h={
                "sandy": figures["sandy_m3_h"],
                "loamy": figures["loamy_m3_h"],
                "clayey": figures["clayey_m3_h"],
            },
            source=row.cells["source"] or "none given",
        )
    problems.raise_if_any()
    return machines


def _widths(row: NamedRow, problems: ProblemCollector) -> tuple[float, ...]:
    text = row.cells["bucket_widths_m"]
    widths = [figure_of(part) for part in text.split()]
    known = sorted(width for width in widths if width is not None and 0.05 <= width <= 10.0)
    if not known or len(known) < len(widths):
        found = f'"{text}"' if text else "an empty cell"
        problems.add(row.file.problem(row.where("bucket_widths_m"), found, _WIDTHS))
    return tuple(known)


def chosen_machine(run: RunFile) -> Machine:
    """The machine that a run names, sure to dig the section that the run file gives.

    Raises
    ------
    InputRefused
        If the table cannot be used or has no such machine, or if the machine's narrowest bucket is
        wider than the base asked for, or it does not dig as deep.
    """
    own = run.earthworks.machines
    machines = read_machines(run.resolve(own) if own else tables.table("machines.csv"))
    name, file = run.earthworks.machine, str(run.file)
    if name not in machines:
        known = ", ".join(f'"{known}"' for known in machines)
        allowed = f"a machine of {own or 'config/machines.csv'}: {known}"
        raise InputRefused([InputProblem(file, "earthworks.machine", f'"{name}"', allowed)])
    machine, keys = machines[name], run.section
    problems = ProblemCollector()
    mend = "choose another machine, or another section"
    if 0.0 < keys.base_width_m < machine.bucket_widths_m[0]:
        allowed = f"at least {machine.bucket_widths_m[0]:g} m, the narrowest bucket of {name}"
        found = f"{keys.base_width_m:g} m"
        problems.add(InputProblem(file, "section.base_width_m", found, allowed, mend))
    if keys.depth_m > machine.dig_depth_m:
        allowed = f"at most {machine.dig_depth_m:g} m, as deep as {name} digs"
        problems.add(InputProblem(file, "section.depth_m", f"{keys.depth_m:g} m", allowed, mend))
    problems.raise_if_any()
    return machine
