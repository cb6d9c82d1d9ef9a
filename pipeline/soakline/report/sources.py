"""Every assumption behind a plan: keys with their defaults, inputs, figures of the run, tables."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from soakline import tables
from soakline.report.read import ReadPlan
from soakline.report.words import NONE, Cell, Head, Table, number
from soakline.runfile.reading import field_at, number_of

_NOT_LISTED = ("default:", "input:", "library:", "timing_", "host_", "time_of_concentration_h:")
_OWN_PLACE = frozenset({"run_file_text", "crs"})
_SHIPPED = (
    "amendments.csv", "curve_numbers.csv", "green_ampt.csv", "machines.csv",
    "permissible_velocity.csv", "pipe_diameters.csv", "section_depths.csv", "section_shapes.csv",
    "section_steps.csv", "sill_linings.csv", "soils.csv", "species.csv", "swale_points.csv",
    "unit_hydrograph.csv",
)  # fmt: skip


_UNITS = (("_m3_h", "m³/h"), ("_mm_h", "mm/h"), ("_m2", "m²"), ("_m", "m"), ("_s", "s"))
_GROUND = "ground:"
_LOSS = re.compile(r"(\w+)=([\d.]+)")
_LOSS_WORDS = {
    "number": "curve number",
    "conductivity_mm_h": "conductivity in mm/h",
    "suction_deficit_mm": "suction times room for water in mm",
}


@dataclass(frozen=True, slots=True)
class Source:
    """A table of the program and where its figures are from.

    Parameters
    ----------
    table : name of the file
    remarks : its own comments
    sources : as its rows name them, each once
    """

    table: str
    remarks: tuple[str, ...]
    sources: tuple[str, ...]


def keys_table(plan: ReadPlan) -> Table:
    """Every key of the run file with its value, unit and whether it is the default."""
    rows = []
    for key, value in plan.record.items():
        field = field_at(tuple(key.split("."))) if "." in key else None
        if field is None:
            continue
        number = number_of(field)
        how = "default" if f"default:{key}" in plan.record else "given"
        unit = number.unit if number is not None else ""
        shown = value if value not in ("", "()", "{}") else "none"
        about = field.title or ""
        texts = (key, shown, unit, how, about)
        rows.append(tuple(Cell(text, text) for text in texts))
    heads = tuple(Head(title) for title in ("Key", "Value", "Unit", "From", "What it is"))
    return Table("keys", "Keys of the run file", heads, tuple(rows))


def run_table(plan: ReadPlan) -> Table:
    """What else the record tells of the run, in its own words."""
    rows = [
        (Cell(title, title), Cell(text, text))
        for key, value in plan.record.items()
        if key not in _OWN_PLACE
        and not key.startswith(_NOT_LISTED)
        and field_at(tuple(key.split("."))) is None
        for title, text in [_in_words(key, value)]
    ]
    return Table("run", "The run", (Head("What"), Head("Value")), tuple(rows))


def _in_words(key: str, value: str) -> tuple[str, str]:
    """A key of the record with its unit, and its value, as people read them.

    Examples
    --------
    >>> _in_words("noise_m", "0.0300"), _in_words("run_file", "run.toml")
    (('noise (m)', '0.03'), ('run file', 'run.toml'))
    >>> _in_words("ground:woods, loam", "CurveNumber(number=55.0)")
    ('ground: woods, loam', 'curve number 55')
    """
    losses = _LOSS.findall(value) if key.startswith(_GROUND) else []
    if losses:
        told = (f"{_LOSS_WORDS.get(name, name)} {float(figure):g}" for name, figure in losses)
        return key.replace(":", ": ", 1), ", ".join(told)
    for end, unit in _UNITS:
        if key.endswith(end):
            places = len(value.rstrip("0").partition(".")[2])
            text = number(value, places)
            title = key.removesuffix(end).replace("_", " ")
            return f"{title} ({unit})", value if text == NONE else text
    return key.replace("_", " "), value


def inputs_table(plan: ReadPlan) -> Table:
    """Files that were read, with their SHA-256."""
    heads = (Head("Input"), Head("File"), Head("SHA-256"))
    rows = tuple(tuple(Cell(text, text) for text in one) for one in plan.inputs)
    return Table("inputs", "Inputs", heads, rows)


def libraries(record: Mapping[str, str]) -> str:
    """Versions of the libraries, in one line."""
    prefix = "library:"
    named = [(k.removeprefix(prefix), v) for k, v in record.items() if k.startswith(prefix)]
    return ", ".join(f"{name} {version}" for name, version in named)


def shipped_sources() -> tuple[Source, ...]:
    """Tables of this version and the sources of their figures."""
    return tuple(_source(name) for name in _SHIPPED)


def _source(name: str) -> Source:
    with tables.table(name).open(encoding="utf-8") as lines:
        remarks = tuple(line.removeprefix("#").strip() for line in lines if line.startswith("#"))
    return Source(name, remarks, tuple(dict.fromkeys(_cited(name))))


def _cited(name: str) -> Iterator[str]:
    for row in tables.rows(name):
        for column, value in row.items():
            if column.endswith("source") and value:
                status = row.get("status", "")
                yield f"{value} ({status})" if status else value
