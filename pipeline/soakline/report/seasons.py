"""Tables of what comes after digging: planting, the year's work, water of the years."""

from collections.abc import Mapping

import pandas as pd

from soakline.report.chains import anchor
from soakline.report.words import MONTHS, Cell, Head, Table, cell, head, number, plain, words

_OF_SWALE = (
    "runoff_m3", "received_m3", "soaked_m3", "evaporated_m3", "spilled_m3", "wet_days",
    "longest_wet_h", "stress_days", "silt_pct",
)  # fmt: skip
_BETWEEN = (
    "between_rain_m3", "between_tree_use_m3", "between_cover_use_m3", "between_drained_m3",
    "between_stored_m3",
)  # fmt: skip


def planting_table(trees: pd.DataFrame) -> Table:
    """Trees by species, a column for each year of planting."""
    counts = trees.pivot_table("crown_m", ["species", "group"], "year", "count", fill_value=0)
    crown = trees.groupby("species")["crown_m"].first()
    years = list(counts.columns)
    heads = (
        Head("Species"), Head("Planted for"), head("trees", "crown_m"),
        *(Head(f"Year {year}", "trees", number=True) for year in years),
        Head("All", "trees", number=True),
    )  # fmt: skip
    rows = []
    for own in counts.reset_index().to_dict("records"):
        species, group = str(own["species"]), str(own["group"])
        numbers = [int(own[year]) for year in years]
        rows.append(
            (
                Cell(species, species), Cell(group, group),
                cell("trees", "crown_m", crown[species]),
                *(plain(n, 0) for n in [*numbers, sum(numbers)]),
            )
        )  # fmt: skip
    return Table("trees", "Trees by year of planting", heads, tuple(rows))


def years_table(years: pd.DataFrame) -> Table:
    """Water of all swales, year by year."""
    names = {
        "rain_mm": ("Rain", "mm", "mean"), "runoff_m3": ("Caught", "m³", "sum"),
        "soaked_m3": ("Soaked in", "m³", "sum"), "evaporated_m3": ("Evaporated", "m³", "sum"),
        "spilled_m3": ("Spilled", "m³", "sum"), "wet_days": ("Days with water", "d", "mean"),
    }  # fmt: skip
    return _by_year("years-table", "Water of all swales by year", years, names)


def plants_table(years: pd.DataFrame) -> Table:
    """Water that plants have of all swales' bands, year by year, with swales and without."""
    names = {
        "tree_use_m3": ("Trees use", "m³", "sum"),
        "tree_use_without_m3": ("Trees use without swales", "m³", "sum"),
        "stress_days": ("Days short of water", "d", "mean"),
        "stress_days_without": ("Days short without swales", "d", "mean"),
        "drained_m3": ("Drains below", "m³", "sum"),
        "drained_without_m3": ("Drains below without swales", "m³", "sum"),
    }
    caption = "Water of the plants on the same days, with swales and without"
    return _by_year("plants-table", caption, years, names)


def _by_year(
    table: str, caption: str, years: pd.DataFrame, names: Mapping[str, tuple[str, str, str]]
) -> Table:
    """A row for each year: of each column its title, its unit and how swales come together."""
    together = years.groupby("year").agg({name: how for name, (_, _, how) in names.items()})
    heads = (Head("Year", number=True), *(Head(t, u, number=True) for t, u, _ in names.values()))
    rows = tuple(
        (
            Cell(str(year), str(year), number=True),
            *(plain(float(own[name]), 0) for name in names),
        )
        for year, own in together.iterrows()
    )
    return Table(table, caption, heads, rows)


def between_table(years: pd.DataFrame) -> Table | None:
    """What trees between the swales get of the rain, year by year; None where none stands."""
    ground = years["between_rooted_m2"].astype(float)
    if not ground.sum() > 0.0:
        return None
    stress = years["between_stress_days"] * ground
    own = years.assign(stress=stress, ground=ground).groupby("year")
    sums = own[[*_BETWEEN, "stress", "ground"]].sum().astype(float)
    days = head("water_years", "between_stress_days")
    heads = (
        Head("Year", number=True),
        *(head("water_years", name) for name in _BETWEEN),
        Head(days.title, "d", f"{days.about} Mean by area.", number=True),
    )
    rows = tuple(
        (
            Cell(str(year), str(year), number=True),
            *(plain(float(row[name]), 0) for name in _BETWEEN),
            plain(float(row["stress"] / row["ground"]), 0),
        )
        for year, row in sums.iterrows()
    )
    area = number(float(sums["ground"].max()) / 1e4, 2)
    caption = f"Trees between the swales, on rain alone: {area} ha under full-grown crowns"
    return Table("between-years", caption, heads, rows)


def swale_years_table(years: pd.DataFrame) -> Table:
    """Water of each swale in a mean year, the longest wet time and silt at their greatest."""
    how = {name: "max" if name in ("longest_wet_h", "silt_pct") else "mean" for name in _OF_SWALE}
    found = years.groupby("swale_id", sort=False).agg(how)
    heads = (
        head("swales", "swale_id"),
        *(head("water_years", name) for name in _OF_SWALE),
    )
    rows = tuple(
        (
            Cell(str(swale), str(swale), link=anchor(swale)),
            *(plain(float(own[name]), 1 if name == "silt_pct" else 0) for name in _OF_SWALE),
        )
        for swale, own in found.iterrows()
    )
    caption = "Water of each swale, mean of the years; longest wet time and silt, the most"
    return Table("swale-years", caption, heads, rows)


def calendar_table(calendar: pd.DataFrame) -> Table:
    """What is to be done, month by month."""
    heads = (
        Head("Year", number=True), Head("Month"), Head("Task"), Head("Where"),
        Head("Amount", number=True), Head("Unit"), Head("What to mind"),
    )  # fmt: skip
    rows = []
    for row in calendar.to_dict("records"):
        month = row["month"]
        named = MONTHS[int(month) - 1] if str(month).isdigit() and 1 <= int(month) <= 12 else month
        year, amount = words(row["year"]), float(row["amount"])
        texts = [words(row[name]) for name in ("task", "where", "unit", "advice")]
        rows.append(
            (
                Cell(year, year, number=True), Cell(words(named), words(named)),
                Cell(texts[0], texts[0]), Cell(texts[1], texts[1]),
                plain(amount, 0 if amount.is_integer() else 1),
                Cell(texts[2], texts[2]), Cell(texts[3], texts[3]),
            )
        )  # fmt: skip
    return Table("calendar", "Work by month", heads, tuple(rows))
