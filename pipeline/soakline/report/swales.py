"""What the report tells of each swale: figures, drawings, spills and findings."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from markupsafe import Markup

from soakline.grid import FloatArray
from soakline.report.chains import anchor, end_in_words, safe_names
from soakline.report.drawings import hydrograph, long_section, section, water_budget
from soakline.report.findings import Finding, Kind
from soakline.report.read import ReadPlan
from soakline.report.words import (
    Cell,
    Figure,
    Head,
    Table,
    cell,
    column_of,
    figure,
    head,
    missing,
    with_unit,
)

_KEY_FIGURES = (
    "state", "level_m", "length_m", "base_width_m", "depth_m", "batter", "top_width_m",
    "mound_height_m", "face_height_m", "slope_pct", "soil_texture", "soaking_mm_h", "capacity_m3",
    "catchment_m2", "design_inflow_m3", "design_overflow_m3", "design_peak_m3s", "freeboard_m",
    "drain_down_h", "cut_m3", "fill_m3", "machine_h", "build_order", "phase",
)  # fmt: skip
_OVERVIEW = (
    "length_m", "level_m", "base_width_m", "depth_m", "capacity_m3", "catchment_m2",
    "design_inflow_m3", "design_overflow_m3", "freeboard_m", "drain_down_h",
)  # fmt: skip
_WORKS = ("build_order", "phase", "length_m", "cut_m3", "fill_m3", "machine_h", "cost")
_SILL = ("sill_level_m", "sill_length_m", "check_head_m", "peak_m3s", "lining")
_ROUTE = ("length_m", "drop_m", "max_slope_pct", "velocity_ms", "permissible_ms", "lining")
_SILL_HEADS = tuple(replace(head("spillways", name), about="") for name in _SILL)
# In one row with the sill's own length and lining.
_TITLES = {"length_m": "Way", "lining": "Lining of way", "permissible_ms": "Permissible"}
_WAY_HEADS = tuple(
    replace(own, about="", title=_TITLES.get(name, own.title))
    for name in _ROUTE
    for own in [head("overflow_routes", name)]
)
_COURSE_FIGURES = ("after_min", "inflow_m3s", "spill_m3s")
_PEG_FIGURES = ("chainage_m", "ground_m", "level_m", "base_level_m", "mound_top_level_m")


@dataclass(frozen=True, slots=True)
class SwalePage:
    """One swale of the report.

    Parameters
    ----------
    swale_id, anchor : its id, and the name of its place in the page
    figures : key figures
    section, long_section, water, hydrograph : drawings; the last two are empty where no storm
        governs
    storm : what the governing storm does, in words
    spills : table of sills and routes; no rows where it has none
    findings : beside it
    """

    swale_id: str
    anchor: str
    figures: tuple[Figure, ...]
    section: Markup
    long_section: Markup
    water: Markup
    hydrograph: Markup
    storm: str
    spills: Table
    findings: tuple[tuple[Kind, Finding], ...]


def swale_pages(
    plan: ReadPlan, findings: Mapping[str, list[tuple[Kind, Finding]]]
) -> dict[str, SwalePage]:
    """What is told of each swale, by its id."""
    layers = plan.layers
    pegs = _along(layers["pegs"], "chainage_m", _PEG_FIGURES)
    courses = _along(layers["storm_courses"], "after_min", _COURSE_FIGURES)
    sills = _rows_of(_sills_along(layers).sort_values("at_m"))
    routes = {
        str(row["spillway_id"]): row
        for rows in _rows_of(layers["overflow_routes"]).values()
        for row in rows
    }
    storms = {
        swale: rows[0]
        for swale, rows in _rows_of(_governing(layers["swales"], layers["swale_storms"])).items()
    }
    named = safe_names(layers["safe_points"])
    mound_batter = float(plan.record.get("earthworks.mound_batter", "2"))
    pages = {}
    for swale_id, (row,) in _rows_of(layers["swales"]).items():
        own, own_sills = pegs.get(swale_id), sills.get(swale_id, [])
        storm = storms.get(swale_id)
        pages[swale_id] = SwalePage(
            swale_id,
            anchor(swale_id),
            tuple(figure("swales", n, row[n]) for n in _KEY_FIGURES if not missing(row[n])),
            section(row, mound_batter),
            long_section(own, own_sills, swale_id) if own else Markup(""),
            water_budget(storm) if storm else Markup(""),
            hydrograph(courses[swale_id]) if swale_id in courses else Markup(""),
            _storm_in_words(storm) if storm else "",
            _spills(swale_id, own_sills, routes, named),
            tuple(findings.get(swale_id, ())),
        )
    return pages


def _rows_of(table: pd.DataFrame) -> dict[str, list[dict[str, Any]]]:
    """Rows of a layer or table by their swale, in its order."""
    found: dict[str, list[dict[str, Any]]] = {}
    plain = table.drop(columns="geometry", errors="ignore")
    for row in plain.to_dict("records"):
        found.setdefault(str(row["swale_id"]), []).append({str(k): v for k, v in row.items()})
    return found


def _along(
    table: pd.DataFrame, by: str, names: tuple[str, ...]
) -> dict[str, dict[str, FloatArray]]:
    """Figures of each swale's rows, in the order of one of them."""
    ordered = table.sort_values(["swale_id", by], kind="stable")
    columns = {name: ordered[name].to_numpy(np.float64) for name in names}
    ids, starts = np.unique(ordered["swale_id"].astype(str).to_numpy(str), return_index=True)
    stops = [*starts[1:], len(ordered)][: len(ids)]
    return {
        str(swale): {name: own[start:stop] for name, own in columns.items()}
        for swale, start, stop in zip(ids, starts, stops, strict=True)
    }


def figures_in_words() -> tuple[Figure, ...]:
    """What each key figure of a swale means, told once."""
    columns = [column_of("swales", name) for name in _KEY_FIGURES]
    return tuple(Figure(own.title, own.unit, own.description) for own in columns)


def _governing(swales: pd.DataFrame, storms: pd.DataFrame) -> pd.DataFrame:
    """Rows of each swale's governing storm."""
    wanted = swales[["swale_id", "governing_storm_id"]]
    return storms.merge(
        wanted, left_on=["swale_id", "storm_id"], right_on=["swale_id", "governing_storm_id"]
    )


def _sills_along(layers: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Spillways with where they lie along their lip, `at_m`."""
    sills = gpd.GeoDataFrame(layers["spillways"])
    lips = gpd.GeoDataFrame(layers["swales"]).set_index("swale_id").geometry
    own = lips.reindex(sills["swale_id"]).to_numpy()
    at = shapely.line_locate_point(shapely.force_2d(own), shapely.force_2d(sills.geometry))
    return pd.DataFrame(sills.drop(columns="geometry")).assign(at_m=at)


def _storm_in_words(storm: Mapping[str, Any]) -> str:
    def told(name: str, unit: str) -> str:
        return with_unit(storm[name], name, unit)

    return (
        f"Governing storm {storm['storm_id']}: highest water {told('max_level_m', 'm')}, "
        f"greatest spill {told('peak_spill_m3s', 'm³/s')}, empty "
        f"{told('drain_down_h', 'h')} after the rain ends."
    )


def _spills(
    swale_id: str,
    sills: list[dict[str, Any]],
    routes: Mapping[str, Mapping[str, Any]],
    named: Mapping[str, str],
) -> Table:
    """Each sill and where its water goes."""
    rows = []
    for sill in sills:
        route = routes.get(str(sill["spillway_id"]))
        own = [cell("spillways", name, sill[name]) for name in _SILL]
        if route is None:
            way = [Cell("no safe end", "")] + [Cell("–", "") for _ in _ROUTE]
        else:
            to = end_in_words(route["to_kind"], route["to_id"], named)
            link = anchor(route["to_id"]) if route["to_kind"] == "swale" else ""
            way = [Cell(to, to, link=link)]
            # No velocity is permissible where the cover's table ends; that is 0 in the plan.
            told = {**route, "permissible_ms": route["permissible_ms"] or None}
            way += [cell("overflow_routes", name, told[name]) for name in _ROUTE]
        at = cell("pegs", "chainage_m", sill["at_m"])
        rows.append((Cell(str(sill["spillway_id"]), str(sill["spillway_id"])), at, *own, *way))
    heads = (
        Head("Spillway"),
        Head("Chainage", "m", number=True),
        *_SILL_HEADS,
        Head("Ends at"),
        *_WAY_HEADS,
    )
    return Table(
        f"spills-{anchor(swale_id)}", f"Spill of {swale_id} and where it goes", heads, tuple(rows)
    )


def overview(
    swales: pd.DataFrame, group: Mapping[str, int], findings: Mapping[str, list[Any]]
) -> Table:
    """All swales in one table, each linked to its own place."""
    heads = (
        head("swales", "swale_id"),
        Head("Group", "", "Swales that spill into one another.", True),
        *(head("swales", name) for name in _OVERVIEW),
        Head("Stop, caution", "", "Findings beside the swale.", True),
    )
    rows = []
    for row in swales.to_dict("records"):
        swale_id = str(row["swale_id"])
        grave = sum(kind.severity != "note" for kind, _ in findings.get(swale_id, ()))
        rows.append(
            (
                Cell(swale_id, swale_id, link=anchor(swale_id)),
                Cell(str(group[swale_id]), str(group[swale_id]), number=True),
                *(cell("swales", name, row[name]) for name in _OVERVIEW),
                Cell(str(grave), str(grave), number=True),
            )
        )
    return Table("all-swales", "All swales", heads, tuple(rows))


def build_order(swales: pd.DataFrame) -> Table:
    """Swales in the order that they are dug in."""
    names = [name for name in _WORKS if swales[name].notna().any()]
    rows = [
        (
            Cell(str(row["swale_id"]), str(row["swale_id"]), link=anchor(row["swale_id"])),
            *(cell("swales", name, row[name]) for name in names),
        )
        for row in swales.sort_values("build_order", na_position="last").to_dict("records")
    ]
    heads = (head("swales", "swale_id"), *(head("swales", name) for name in names))
    return Table("build-order", "Build order", heads, tuple(rows))
