"""Writes the reference pages from what the program itself uses: `python docs/make_pages.py`.

run-file.md comes from the models that check the run file, layers.md from the schemas that the plan
is built to, findings.md from the list of codes, benchmarks.md from
the benchmarks' own figures. A test fails when a page is stale.
"""

import sys
from collections.abc import Iterable
from pathlib import Path

from soakline.findings import CODES
from soakline.inputs.feature_layers import FEATURE_LAYERS
from soakline.inputs.feature_layers import Column as FeatureColumn
from soakline.inputs.machines import COLUMNS as MACHINE_COLUMNS
from soakline.inputs.quantity_items import RATES_HEAD, UNITS
from soakline.outputs.columns import LAYERS
from soakline.outputs.geopackage_views import RELATED, VIEWS
from soakline.outputs.raster_schemas import RASTERS
from soakline.outputs.schema import Column, LayerSchema
from soakline.runfile.reading import allowed, plain_keys, sections, shown
from soakline.runfile.sections import RunFile
from soakline.runfile.swale_point_section import POINT_RANGES
from soakline.styles.legend import legend_svg
from soakline.styles.plan_styles import STYLES
from soakline.styles.raster_styles import in_steps, raster_styles

DOCS = Path(__file__).resolve().parent
sys.path.insert(0, str(DOCS))

from benchmark_page import body as benchmarks  # noqa: E402 - a script beside this one

MADE = "<!-- Made by docs/make_pages.py (`make docs`): change the program, not this page. -->"


GIVEN = """\
Lines of the layer `given_swales` are kept where they lie: never moved, shortened or dropped. They
get catchment, section, sills, routes, pegs and findings as any other swale. A plan's own layer
`swales`, copied and moved, split or thinned out in a GIS, is such a layer; columns that are not
named above are left alone.

- **Id.** `swale_id` stays (letters, digits, blanks, and `. _ -`). A line without one is numbered
  with the planned ones, which take no id that is given. Pieces of a line that was split: the
  first in the file's order keeps the id, the others are `S003-2`, `S003-3`; parts of one feature
  that do not join likewise.
- **Level.** `level_m`, else a height that all vertices share (not 0), else the lowest ground
  along the line. A line that was moved off its level keeps it, and `given_swale_off_level` tells
  where the ground is how far off: empty `level_m` to have it levelled anew, its Z too.
- **State.** `built`: dug already; with `base_width_m`, `depth_m` and `batter` its section stands
  too, whatever rain is planned for. Of what is built only the water held is in `quantities`;
  `swales` tells all its figures. `fixed`, `planned` or empty: still to be dug, its section sized
  as any other.
- **Phase.** `earthworks.phase` may name a column of this layer (not one called `budget` or
  `year`) that numbers the phases of building from 1. Lines without a number, and planned ones,
  come after all others. Where a swale spills into one of a later phase, `phase_without_safe_end`
  is at `stop`.
- **Side.** A line drawn with its uphill side on the right is turned round.
- **Interval.** Levels run from those of given swales (from the series that most length of them is
  on), and no planned line stands less than its interval above or below one on the same slope,
  this side of any drainage line. Ends keep 5 m, ground works 1 m.
- **Where none may lie.** On excluded ground or over the edge a given line stays, with a finding.
  Wholly outside the property, off the DEM, under 3 m, closed or crossing itself it is refused.

`earthworks.as_built` names a CSV file with the columns `swale_id`, `chainage_m` (along the lip
from its start, as pegs have it) and `level_m`, measured on the lip after digging. Where the
lowest of them lies under the sill, water stands no higher than there: `capacity_m3` is what is
held below it, and the swale spills there and there alone, by a way that is followed to its end as
any other. `lip_low_m`, `first_spill_m` and `capacity_lost_m3` tell of it, and the finding
`as_built_low`. High places change nothing, and a lip that is nowhere low holds no more than
planned. What was measured is dug: its section is the one without the low place. Give the swales
as `built`, so that their lines stay as well.
""".splitlines()


def table(heads: Iterable[str], rows: Iterable[Iterable[str]]) -> list[str]:
    """A Markdown table."""
    lines = ["| " + " | ".join(heads) + " |"]
    lines.append("|" + " --- |" * (lines[0].count("|") - 1))
    lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows]
    return lines


def page(title: str, introduction: str, body: Iterable[str]) -> str:
    """A whole page."""
    return "\n".join([MADE, "", f"# {title}", "", introduction, "", *body]) + "\n"


def _read_column(column: FeatureColumn) -> str:
    needed = ", required" if column.required else ""
    return f"`{column.name}`: {column.allowed()}{needed}"


def run_file_page() -> str:
    """Every section and key: default, what it may hold, what it is."""
    lines: list[str] = []
    for path, model in sections(RunFile):
        purpose = (model.__doc__ or "").partition(": ")[2].splitlines()[0]
        rows = []
        for name, field in plain_keys(model).items():
            default = None if field.is_required() else field.get_default(call_default_factory=True)
            if field.is_required():
                given = "required"
            else:
                given = "" if default is None else f"`{shown(default)}`"
            title = field.title or ""
            rows.append((f"`{name}`", given, allowed(field), title))
        lines += [f"## `[{'.'.join(path)}]`", "", f"{purpose[0].upper()}{purpose[1:]}", ""]
        if rows:
            lines += [*table(("key", "default", "allowed", "what it is"), rows), ""]
    lines += ["## Layers of `property.features`", ""]
    lines.append(
        "One GeoPackage; every layer may be missing. Columns not named here are left alone."
    )
    lines.append("")
    lines += table(
        ("layer", "geometry", "columns read"),
        (
            (
                f"`{name}`",
                " or ".join(layer.kinds),
                "; ".join(_read_column(column) for column in layer.columns),
            )
            for name, layer in FEATURE_LAYERS.items()
        ),
    )
    sizes = "; ".join(
        f"`{kind}`: "
        + ", ".join(f"`{name}` {limits.low:g} to {limits.high:g} m" for name, limits in own.items())
        for kind, own in POINT_RANGES.items()
    )
    lines.append("")
    lines.append(
        "`swale_points` are places for seasonal ponds, infiltration basins and organic pits, each "
        "at the nearest swale if that lies within 25 m; `kind` is required. A size that is empty "
        f"is that of `[swale_points]`, others tell nothing: {sizes}. A plan's own `swale_points` "
        "can be changed in a GIS and given back."
    )
    lines += ["", "## Swales that are given", "", *GIVEN, ""]
    lines += ["## The rain table", ""]
    lines.append(
        "A CSV file. The first column is `duration_min`; every other one is headed by a return "
        "period in years (`10`) or an annual exceedance probability (`10%`). Cells are depths in "
        "mm and must rise with duration and with rarity."
    )
    lines += ["", "## Tables of machines and of rates", ""]
    lines.append(
        "`earthworks.machines` names a CSV file with the columns "
        + ", ".join(f"`{column}`" for column in MACHINE_COLUMNS)
        + "; widths have blanks between them. `config/machines.csv` is one; its figures are common "
        "practice without a source, so have whoever will dig give theirs."
    )
    lines.append("")
    lines.append(
        "`earthworks.rates` names a CSV file with the columns "
        + ", ".join(f"`{column}`" for column in RATES_HEAD)
        + ": the cost of one unit, in any currency. No rate ships with the program. Leave empty "
        "what is paid for with something else: either the cut or the machine hours, say. Items and "
        "units:"
    )
    lines += ["", *table(("item", "unit"), ((f"`{item}`", unit) for item, unit in UNITS.items()))]
    lines += ["", "## Phases", ""]
    lines.append(
        "With `earthworks.phase` the swales are built in phases, each within `budget` (cost at the "
        "owner's rates), `hours_per_year` (of the machine) or `swales_per_year`. What a swale "
        "spills into is in its own phase or an earlier one, down to the safe end. Chains that fit "
        "a phase are built whole, none before those uphill of it, else those that hold most water "
        "for their share of the limit first. A chain heavier than a phase is begun at its lower "
        "end, and a caution names the swales that get more water until it is whole. Swales without "
        "a safe end come last and are at `stop`. Within a phase `build_order` runs from the top of "
        "the catchment down."
    )
    introduction = (
        "TOML. Paths are relative to the run file. Only `property.dem`, `property.boundary` and "
        "`rain.table` are required. An unknown key is refused, with the nearest valid one named. "
        "The plan's table `run_record` repeats every value used. `soakline start DIR` writes a "
        "commented run file to fill in."
    )
    return page("The run file", introduction, lines)


def _kind(column: Column) -> str:
    return column.kind + (f", {column.unit}" if column.unit else "")


def _described(column: Column) -> str:
    one_of = ", ".join(f"`{value}`" for value in column.allowed)
    return column.description + (f" One of {one_of}." if one_of else "")


def _layer(schema: LayerSchema) -> list[str]:
    rows = [(f"`{c.name}`", _kind(c), _described(c)) for c in schema.columns]
    return [
        f"## `{schema.name}`",
        "",
        f"{schema.geometry or 'Table without geometry'}. {schema.description}",
        "",
        *table(("column", "kind", "what it is"), rows),
        "",
    ]


def layers_page() -> str:
    """Every layer and table of the plan, column by column."""
    lines = [line for schema in LAYERS for line in _layer(schema)]
    rasters = [
        (f"`{raster.name}`", f"{raster.title}, {raster.unit}", raster.description)
        for raster in RASTERS
    ]
    views = [(f"`{view.name}`", view.description) for view in VIEWS]
    lines += [
        "## Styles",
        "",
        (
            "The plan holds a style for every layer (table `layer_styles`, Styled Layer Descriptor "
            "1.1), and `NAME-styles.sld` beside it has all of them; `output.styles = false` leaves "
            "that file out. Colours hold for every colour vision and on a grey print."
        ),
        "",
        "![The legend of all layers](legend.svg)",
        "",
        "## Views",
        "",
        (
            "Open GIS show them like layers. What belongs to a swale is told by the related tables "
            f"extension (OGC 18-000): {', '.join(f'`{name}`' for name in RELATED)}."
        ),
        "",
        *table(("view", "what it is"), views),
        "",
        "## Rasters",
        "",
        (
            "Reals of 32 bits on the grid of the elevation model: coverages in the plan (OGC "
            "17-066r1), and beside it cloud-optimised GeoTIFFs with overviews and statistics, "
            "named after it: `NAME-elevation.tif`. No data: -9999. `output.rasters = false` "
            "leaves both out."
        ),
        "",
        *table(("raster", "of", "what it is"), rasters),
        "",
    ]
    introduction = (
        "The plan is one GeoPackage. All layers share the working CRS, projected and in metres; "
        "heights are in metres of the DEM's own datum. A unit ends the name of every column that "
        "has one. The same titles, descriptions and units stand in the file itself, in its schema "
        "and metadata tables. Any column may be null where a figure does not apply."
    )
    return page("Layers and tables of the plan", introduction, lines[:-1])


def findings_page() -> str:
    """Every finding's code."""
    rows = [(f"`{code}`", severity, what) for code, (severity, what) in CODES.items()]
    introduction = (
        "The table `findings` says what the reader of a plan has to know, one row a feature. A "
        "`note` explains, a `caution` asks for a look or a judgement on site, a `stop` says that "
        "something must not be built as it is: the command then ends with status 3. Each row has "
        "a message with figures and, where there is something to do, advice, which defers to local "
        "codes and licensed practice. A plan without findings is no proof that the ground is safe."
    )
    return page("Findings", introduction, table(("code", "severity", "what it says"), rows))


def benchmarks_page() -> str:
    """What whole runs take, from the newest rows of bench/trend.json."""
    introduction = (
        "`make bench` makes terrains of 1, 4, 25 and 100 million cells of 1 m (`bench/bench.py "
        "--sides 1000 2000` others) and runs `soakline plan` on each as a process of its own, with "
        "an empty stage store and compiled code in its cache: wall time, CPU, peak memory and ns "
        "per cell of every stage. Beside them, on the same terrain in the same run, kernels of "
        "general libraries and a copy in memory; then the same property with other rain, the "
        "demonstration, and what depends on swales and trees rather than on cells. Each run adds a "
        "row for each size to `bench/trend.json`, of which these are the newest."
    )
    return page("Benchmarks", introduction, benchmarks())


def legend() -> str:
    """The legend of all styles, what is drawn last first."""
    rasters = [in_steps(style) for style in raster_styles(0.0, 100.0)]
    return legend_svg([*reversed(STYLES.values()), *rasters])


PAGES = {
    "run-file.md": run_file_page,
    "layers.md": layers_page,
    "findings.md": findings_page,
    "benchmarks.md": benchmarks_page,
    "legend.svg": legend,
}


def main() -> None:
    """Write all pages."""
    for name, made in PAGES.items():
        (DOCS / name).write_text(made(), encoding="utf-8")
        print(f"docs/{name}")


if __name__ == "__main__":
    main()
