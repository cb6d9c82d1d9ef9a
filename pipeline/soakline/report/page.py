"""The report as one HTML page."""

from functools import partial
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from soakline import __version__
from soakline.findings import CODES
from soakline.outputs.columns import SCHEMAS
from soakline.outputs.picture import with_margin
from soakline.report.chains import anchor, chains_of
from soakline.report.coarse import for_maps
from soakline.report.drawings import rain_depths, water_years
from soakline.report.findings import SEVERITIES, by_swale, kinds_of
from soakline.report.ground import ground_of
from soakline.report.paper_map import paper_map
from soakline.report.read import ReadPlan
from soakline.report.screen_map import screen_map
from soakline.report.seasons import (
    between_table,
    calendar_table,
    planting_table,
    plants_table,
    swale_years_table,
    years_table,
)
from soakline.report.sources import (
    inputs_table,
    keys_table,
    libraries,
    run_table,
    shipped_sources,
)
from soakline.report.swales import build_order, figures_in_words, overview, swale_pages
from soakline.report.totals import (
    count_by_severity,
    excluded_table,
    key_figures,
    quantities_table,
    rain_table,
    rarities,
    slope_table,
    storms_table,
)
from soakline.report.words import moment, number, sentence


def page_of(plan: ReadPlan) -> str:
    """The whole page.

    Parameters
    ----------
    plan : ReadPlan
    """
    environment = Environment(
        loader=PackageLoader("soakline.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(anchor=anchor, about_layer=_about, include_raw=_raw(environment))
    environment.filters.update(sentence=sentence, moment=moment, counted=partial(number, places=0))
    return environment.get_template("report.html").render(_told(plan))


def _told(plan: ReadPlan) -> dict[str, Any]:
    layers = plan.layers
    chains = chains_of(layers)
    group = {swale: chain.number for chain in chains for swale in chain.swales}
    kinds = kinds_of(layers)
    beside = by_swale(kinds)
    bounds = with_margin(layers["property"])
    ground = ground_of(plan, bounds)
    drawn = for_maps(layers, bounds)
    trees, years, storms = layers["trees"], layers["water_years"], layers["storms"]
    return {
        "name": plan.name,
        "plan_file": plan.path.name,
        "version": __version__,
        "record": plan.record,
        "figures": key_figures(plan, len(chains)),
        "counts": count_by_severity(layers["findings"]),
        "slopes": slope_table(plan),
        "excluded": excluded_table(plan),
        "ground": ground,
        "map": screen_map(drawn, ground, bounds),
        "picture": paper_map(drawn, ground, plan.name),
        "overview": overview(layers["swales"], group, beside),
        "chains": chains,
        "meanings": figures_in_words(),
        "pages": swale_pages(plan, beside),
        "rain": rain_table(plan) if len(storms) else None,
        "rarities": rarities(storms),
        "storms": storms_table(plan) if len(storms) else None,
        "rain_drawing": rain_depths(storms) if len(storms) else "",
        "quantities": quantities_table(plan),
        "costs": bool(layers["quantities"]["cost"].notna().any()),
        "order": build_order(layers["swales"]),
        "trees": planting_table(trees) if len(trees) else None,
        "years": years_table(years) if len(years) else None,
        "plants": plants_table(years) if len(years) else None,
        "swale_years": swale_years_table(years) if len(years) else None,
        "between": between_table(years) if len(years) else None,
        "calendar": calendar_table(layers["calendar"]) if len(layers["calendar"]) else None,
        "years_drawing": water_years(years) if len(years) else "",
        "kinds": kinds,
        "severities": SEVERITIES,
        "meaning": {code: words for code, (_, words) in CODES.items()},
        "keys": keys_table(plan),
        "run": run_table(plan),
        "inputs": inputs_table(plan),
        "libraries": libraries(plan.record),
        "sources": shipped_sources(),
    }


def _about(layer: str) -> str:
    return SCHEMAS[layer].description


def _raw(environment: Environment) -> Any:
    """Read a file of ours into the page as it stands: style sheet and script."""

    def raw(name: str) -> Markup:
        assert environment.loader is not None  # noqa: S101 - set above; tells the type
        return Markup(environment.loader.get_source(environment, name)[0])  # noqa: S704 - ours

    return raw
