"""The owner's table of rates: the cost of one unit of what a plan counts."""

from difflib import get_close_matches
from pathlib import Path

from soakline.inputs.csv_columns import named_rows
from soakline.inputs.csv_rows import CsvFile
from soakline.inputs.quantity_items import RATES_HEAD, UNITS
from soakline.problems import ProblemCollector

RATES_KEY = "earthworks.rates"
_ALLOWED = f"a CSV file with the columns {','.join(RATES_HEAD)}"
_GREATEST_RATE = 1e12
_SPELT = {"m2": "m²", "m3": "m³"}


def read_rates(path: Path) -> dict[str, float]:
    """Read a table of rates.

    Parameters
    ----------
    path : CSV file with the columns item, unit and rate; an item whose rate is empty has none

    Returns
    -------
    cost of one unit by item, in the owner's own currency

    Raises
    ------
    InputRefused
        With every item that is not known or comes twice, every unit that is not the item's, and
        every rate that is negative or no number.
    """
    file = CsvFile(path, RATES_KEY, _ALLOWED)
    problems = ProblemCollector()
    rates: dict[str, float] = {}
    seen: set[str] = set()
    for row in named_rows(file, RATES_HEAD):
        item, unit = row.cells["item"], row.cells["unit"]
        if item not in UNITS:
            nearest = get_close_matches(item, UNITS, n=1)
            mend = f'The nearest is "{nearest[0]}".' if nearest else ""
            allowed = "one of " + ", ".join(f'"{known}"' for known in UNITS)
            problems.add(file.problem(row.where("item"), f'"{item}"', allowed, mend))
            continue
        if item in seen:
            problems.add(file.problem(row.where("item"), f'"{item}" again', "each item once"))
        seen.add(item)
        if _SPELT.get(unit, unit) != UNITS[item]:
            allowed = f"{UNITS[item]}, the unit that this item is counted in"
            problems.add(file.problem(row.where("unit"), f'"{unit}"', allowed))
        if row.cells["rate"]:
            rates[item] = row.number(
                "rate", 0.0, _GREATEST_RATE, f"for one {UNITS[item]}".strip(), problems
            )
    problems.raise_if_any()
    return rates
