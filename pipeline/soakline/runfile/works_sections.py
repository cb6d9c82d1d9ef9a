"""Sections on water and works: section, rain, overflow, earthworks, output."""

from typing import Annotated, Any, Literal, Self, get_args

from pydantic import AfterValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from soakline import tables
from soakline.runfile.keys import (
    FREQUENCY,
    Keys,
    Name,
    Number,
    Wording,
    canonical_frequency,
    conflict,
    key,
)

Frequency = Annotated[str, AfterValidator(canonical_frequency), Wording(FREQUENCY)]


class SectionKeys(Keys):
    """[section]: the trench across its line."""

    base_width_m: Annotated[float, Number("m", 0.2, 30, zero="sized for the design storm")] = key(
        0, "width of the level base"
    )
    depth_m: Annotated[float, Number("m", 0.1, 3, zero="sized for the design storm")] = key(
        0, "depth from the full-water level to the base"
    )
    batter: Annotated[float, Number("horizontal : 1", 0.25, 10, zero="by texture")] = key(
        0, "side slope, horizontal per 1 vertical, both sides"
    )
    freeboard_m: Annotated[float, Number("m", 0, 2)] = key(
        0.15, "height of the mound over the water of the check storm"
    )
    max_drain_h: Annotated[float, Number("h", 0, 720, above=True)] = key(
        72, "longest time from full to empty"
    )
    passage: Literal["", "foot", "barrow", "quad", "tractor"] = key(
        "", "what passes along the base: least base width"
    )


PATTERN = '"alternating", "uniform", "both", or the name of a CSV file'


def _is_file(pattern: str) -> bool:
    return pattern.lower().endswith(".csv")


def _known_pattern(pattern: str) -> str:
    """Hand a pattern back if it is one of ours or a file's name."""
    if pattern in ("alternating", "uniform", "both") or _is_file(pattern):
        return pattern
    raise PydanticCustomError("range", "{allowed}", {"allowed": PATTERN})


class RainKeys(Keys):
    """[rain]: the storms that are planned for."""

    table: Name = Field(title="rainfall depths by duration and frequency, CSV")
    design: Frequency = key(
        "10", "design storm as its column is headed: years, or an AEP; or design_years"
    )
    check: Frequency = key(
        "100", "check storm as its column is headed: years, or an AEP; or check_years"
    )
    design_years: Annotated[float, Number("years", 0, 10_000, above=True)] | None = key(
        None, "instead of design, as a number of years"
    )
    check_years: Annotated[float, Number("years", 0, 10_000, above=True)] | None = key(
        None, "instead of check, as a number of years"
    )
    uplift_pct: Annotated[float, Number("%", -50, 200)] = key(
        0, "added to every depth, for a changing climate"
    )
    annual_mm: Annotated[float, Number("mm", 0, 15_000, above=True)] = key(800, "mean annual rain")
    pattern: Annotated[str, AfterValidator(_known_pattern), Wording(PATTERN)] = key(
        "both",
        "how a storm's depth is spread over its duration; a file has columns duration_share and "
        "cumulative_share or incremental_share, and the uniform pattern is run beside it",
    )
    antecedent: Literal["I", "II", "III"] = key(
        "II", "antecedent runoff condition: dry, average, wet"
    )
    loss: Literal["curve-number", "green-ampt"] = key(
        "curve-number", "how losses are reckoned: by land cover, or by the soil's texture"
    )
    time_of_concentration: Literal["lag", "velocity", "kirpich"] = key(
        "lag", "how long water takes to reach a swale: NRCS lag, velocities on the way, Kirpich"
    )
    unit_hydrograph: Literal["curvilinear", "triangular"] = key(
        "curvilinear", "shape in which a burst of rain arrives, SCS"
    )

    @property
    def pattern_file(self) -> str:
        """Name of the file of a pattern of one's own; "" where `pattern` is one that is known."""
        return self.pattern if _is_file(self.pattern) else ""

    @model_validator(mode="after")
    def _one_name_per_storm(self) -> Self:
        for name in ("design", "check"):
            years = getattr(self, f"{name}_years")
            if years is None:
                continue
            if name in self.model_fields_set:
                raise conflict(
                    (name, f"{name}_years"),
                    f'"{getattr(self, name)}" and {years:g}',
                    f"one of {name} and {name}_years, not both",
                )
            # Readers look at one key only, whichever of the two was written.
            object.__setattr__(self, name, f"{years:g}")
        return self


def _known_cover(cover: str) -> str:
    known = tables.names("permissible_velocity.csv", "cover")
    if cover in known:
        return cover
    raise PydanticCustomError(
        "range", "{allowed}", {"allowed": "one of " + ", ".join(f'"{name}"' for name in known)}
    )


class OverflowKeys(Keys):
    """[overflow]: where and how fast spare water leaves."""

    sill_head_m: Annotated[float, Number("m", 0, 0.5, above=True)] = key(
        0.10, "head over the sill in the check storm"
    )
    weir_coefficient: Annotated[float, Number("m^0.5/s", 1, 2.2)] = key(
        1.45, "of the level sill; 1.705 is free of loss"
    )
    manning_n: Annotated[float, Number("s/m^(1/3)", 0.01, 0.5)] = key(
        0.035, "roughness of the route: short grass, for velocity"
    )
    cover: Annotated[
        str,
        AfterValidator(_known_cover),
        Wording('a cover of config/permissible_velocity.csv, such as "sod-grasses" or "bare-loam"'),
    ] = key("grass-mixture", "cover of the route")
    soil: Literal["erodible", "erosion-resistant"] = key("erodible", "soil of the route")
    allow_property_edge: bool = key(False, "a route may leave over the property's edge")
    neighbour_consent: str = key("", "who agreed, and when, to take that water")


PHASE_LIMITS = ("", "budget", "year")
"""Phases that are laid by a limit; any other name is a column of the given swales."""
PHASE = '"" (all at once), "budget", "year", or a column of the layer given_swales'
_ORDERING = frozenset(
    (
        "machine", "machines", "rates", "phase", "budget", "hours_per_year", "swales_per_year",
        "as_built",
    )
)  # fmt: skip


class EarthworksKeys(Keys):
    """[earthworks]: what is dug, and where it goes."""

    berm_m: Annotated[float, Number("m", 0, 10)] = key(
        0.0, "level ground between lip and mound; at least 0.6 where the face is over 1.2 m"
    )
    mound_batter: Annotated[float, Number("horizontal : 1", 0.5, 20)] = key(
        2.0, "side slope of the mound, horizontal per 1 vertical"
    )
    mound_crest_m: Annotated[float, Number("m", 0, 10, above=True)] = key(
        0.5, "least width of the mound's crest"
    )
    swell_pct: Annotated[float, Number("%", 0, 100)] = key(
        25, "growth of dug soil; common practice, no source"
    )
    settlement_pct: Annotated[float, Number("%", 0, 50)] = key(
        10, "settlement of the mound; common practice, no source"
    )
    topsoil_m: Annotated[float, Number("m", 0, 1)] = key(0.1, "topsoil stripped and spread back")
    spread_under_pct: Annotated[float, Number("%", 0, 10)] = key(
        0, "spoil is spread, not mounded, on flatter ground; 2 is usual on flat country"
    )
    machine: Name = key("excavator-5t", "what digs: a row of the table of machines")
    machines: str = key(
        "", "own table of machines, headed as config/machines.csv; empty = the one that ships"
    )
    rates: str = key("", "own table of costs, CSV: item,unit,rate; of any currency")
    phase: Annotated[str, Wording(PHASE)] = key(
        "", "what limits each phase of building, or the column that numbers them from 1"
    )
    budget: Annotated[float, Number("", 0, 1e12, above=True, zero="none")] = key(
        0, 'cost of one phase at most, in the currency of rates; with phase = "budget"'
    )
    hours_per_year: Annotated[float, Number("h", 0, 100_000, above=True, zero="none")] = key(
        0, 'machine hours of one year at most; with phase = "year"'
    )
    swales_per_year: Annotated[int, Number("swales", 1, 100_000, zero="none", whole=True)] = key(
        0, 'swales dug in one year at most; with phase = "year"'
    )
    as_built: str = key(
        "", "levels of lips measured after digging, CSV: swale_id,chainage_m,level_m"
    )

    @property
    def shaping(self) -> dict[str, Any]:
        """Keys that shape the ground works: all but those on who digs, and on what was dug."""
        return self.model_dump(exclude=set(_ORDERING))

    @model_validator(mode="after")
    def _one_limit_per_phase(self) -> Self:
        limits = {
            "budget": ("budget", self.budget),
            "hours_per_year": ("year", self.hours_per_year),
            "swales_per_year": ("year", self.swales_per_year),
        }
        given = [name for name, (_, limit) in limits.items() if limit > 0]
        for name in given:
            phase, limit = limits[name]
            if self.phase != phase:
                raise conflict(
                    ("phase", name),
                    f'"{self.phase}" and {limit:g}',
                    f'{name} with phase = "{phase}" only',
                )
        if self.phase == "year" and len(given) != 1:
            raise conflict(
                ("phase", "hours_per_year", "swales_per_year"),
                '"year" with ' + (" and ".join(given) or "neither"),
                "one of hours_per_year and swales_per_year over 0",
            )
        if self.phase == "budget" and not (given and self.rates):
            lacking = [name for name in ("budget", "rates") if not getattr(self, name)]
            raise conflict(
                ("phase", *lacking),
                '"budget" without ' + " and ".join(lacking),
                'phase = "budget" with a budget over 0 and a table of rates',
            )
        return self


SetoutFormat = Literal["csv", "gpx", "dxf", "landxml", "ground", "pdf", "svg", "map", "field"]
SETOUT_FORMATS: tuple[SetoutFormat, ...] = get_args(SetoutFormat)
"""Files to set out from: pegs, lines, surface, finished ground, drawings, map sheets, a page for
the phone."""
_FORMATS = "a list of " + ", ".join(f'"{name}"' for name in SETOUT_FORMATS)


class OutputKeys(Keys):
    """[output]: what is written beside the plan."""

    setout: Annotated[tuple[SetoutFormat, ...], Field(strict=False), Wording(_FORMATS)] = key(
        (), "files to set out from, and drawings"
    )
    rasters: bool = key(
        True, "elevation, slope and contributing area in the plan, and as GeoTIFFs beside it"
    )
    styles: bool = key(True, "styles of the layers beside the plan; it holds them in any case")
    paper: Literal["A4", "A3"] = key("A4", "sheets of the drawings, landscape")
    finished_cell_m: Annotated[float, Number("m", 0.05, 10, zero="the DEM's own cells")] = key(
        0, "cells of the finished ground; a trench shows from about a fifth of its width down"
    )
    calendar_year: Annotated[int, Number("", 1900, 2200, zero="no file", whole=True)] = key(
        0,
        "year in which swales are first dug: the calendar of works as an iCalendar file from then",
    )
