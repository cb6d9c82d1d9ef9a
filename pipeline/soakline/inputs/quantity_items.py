"""What a plan counts, and in which unit: the rows of `quantities`, and all that may have a rate."""

from collections.abc import Mapping

UNITS: Mapping[str, str] = {
    "swales": "number",
    "lip": "m",
    "cut": "m³",
    "fill, settled": "m³",
    "topsoil stripped": "m³",
    "topsoil spread back": "m³",
    "spoil left over": "m³",
    "spoil short": "m³",
    "footprint": "m²",
    "bare earth to seed": "m²",
    "water held": "m³",
    "spillways": "number",
    "sill": "m",
    "cut for sills": "m³",
    "sill and apron, grass": "m²",
    "sill and apron, grass on matting": "m²",
    "sill and apron, stone on geotextile": "m²",
    "overflow route": "m",
    "diversion drain": "m",
    "diversion drain, cut": "m³",
    "track crossings, ford": "number",
    "track crossings, causeway": "number",
    "track crossings, gap": "number",
    "pipe under causeways": "m",
    "cut for tracks": "m³",
    "fill for tracks": "m³",
    "gravel": "m³",
    "sand": "m³",
    "mulch": "m³",
    "gypsum": "t",
    "cut below the base": "m³",
    "base ripped or mixed": "m²",
    "seasonal ponds": "number",
    "infiltration basins": "number",
    "organic pits": "number",
    "cut of ponds, basins and pits": "m³",
    "spoil of ponds, basins and pits, settled": "m³",
    "water held in ponds and basins": "m³",
    "organic fill of pits": "m³",
    "windbreaks": "number",
    "production swales in shelter": "number",
    "trees": "number",
    "tree guards": "number",
    "mulch round trees": "m³",
    "pegs": "number",
    "machine hours": "h",
}
"""Unit of each item, in the table's order; machine hours have a row for each soil, trees one for
each year and species, and one rate for all of them."""

RATES_HEAD = ("item", "unit", "rate")


def rates_template() -> str:
    """A table of rates without a figure, as CSV: an invented rate would look like a real one.

    Examples
    --------
    >>> rates_template().splitlines()[1:3]
    ['item,unit,rate', 'swales,number,']
    """
    comment = "# Cost of one unit, in your own currency; leave empty what costs nothing by itself."
    rows = [
        f'"{item}",{unit},' if "," in item else f"{item},{unit}," for item, unit in UNITS.items()
    ]
    return "\n".join([comment, ",".join(RATES_HEAD), *rows]) + "\n"
