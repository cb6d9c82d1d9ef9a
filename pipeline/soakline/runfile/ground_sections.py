"""Sections on the land itself: property, terrain, spacing, siting, soil and land."""

from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from soakline import tables
from soakline.runfile.keys import (
    Keys,
    Name,
    Number,
    Texture,
    Wording,
    canonical_texture,
    conflict,
    key,
)

Distance = Annotated[float, Number("m", 0, 1000)]


BENCHMARK = "a table of easting, northing and level_m, in m and the working CRS; empty = none"


def _whole_benchmark(mark: dict[str, float]) -> dict[str, float]:
    """Hand a benchmark back if it has a place and a level, or is not given."""
    if not mark or set(mark) == {"easting", "northing", "level_m"}:
        return mark
    raise PydanticCustomError("range", "{allowed}", {"allowed": BENCHMARK})


class PropertyKeys(Keys):
    """[property]: what is planned for."""

    name: str = key("", "name of the property, for the plan's title")
    dem: Name | Annotated[tuple[Name, ...], Field(strict=False, min_length=1)] = Field(
        title="elevation model: a file, a list of files, or a glob of tiles"
    )
    dem_accuracy_m: Annotated[float, Number("m", 0, 10, above=True)] = key(
        0.15, "accuracy of the DEM's heights, one standard deviation"
    )
    boundary: Name = Field(title="the property's boundary: polygons")
    boundary_layer: str = key("", "layer of the boundary file; empty = the first")
    crs: str = key("", "working CRS, projected, metres; empty = the DEM's, else its UTM zone")
    vertical_unit: Literal["m", "ft", "us-ft"] = key("m", "unit of the DEM's heights")
    features: str = key("", "one GeoPackage of what stands on the land; empty = none")
    benchmark: Annotated[dict[str, float], AfterValidator(_whole_benchmark), Wording(BENCHMARK)] = (
        Field(default_factory=dict, title="a fixed mark on site: heights of pegs also over it")
    )


def _rising(classes: tuple[float, ...]) -> tuple[float, ...]:
    if all(a < b for a, b in zip((0.0, *classes), classes, strict=False)):
        return classes
    raise PydanticCustomError("range", "{allowed}", {"allowed": "rising limits, all over 0 %"})


class TerrainKeys(Keys):
    """[terrain]: how the ground is made from the DEM."""

    smoothing_m: Annotated[float, Number("m", 0, 50)] = key(
        5.0, "diameter over which cells are averaged for the ground"
    )
    hollow_depth_m: Annotated[float, Number("m", 0, 20)] = key(
        0.3, "a hollow deeper and larger than these two is kept"
    )
    hollow_area_m2: Annotated[float, Number("m²", 0, 1e6)] = key(
        100, "a hollow deeper and larger than these two is kept"
    )
    drainage_area_ha: Annotated[float, Number("ha", 0, 10_000, above=True)] = key(
        2.0, "contributing area at which a drainage line starts"
    )
    slope_class_pct: Annotated[
        tuple[float, ...], Field(strict=False, min_length=1), AfterValidator(_rising)
    ] = key((0.2, 0.5, 1, 2, 5, 10, 15, 30, 60), "upper limits of the slope classes (FAO 2006), %")


class SpacingKeys(Keys):
    """[spacing]: how far apart swales stand."""

    rule: Literal["tree-height", "width-ratio", "runoff"] = key(
        "tree-height", "what sets the distance between swales"
    )
    mature_tree_height_m: Annotated[float, Number("m", 0, 100, above=True)] = key(
        8.0, "height of the mature trees: the vertical interval"
    )
    width_ratio: Annotated[float, Number("× top width", 1, 50, zero="from annual rain")] = key(
        0, "gap between swales as a multiple of the top width"
    )
    max_spacing_m: Annotated[float, Number("m", 1, 10_000, zero="none")] = key(
        0, "intermediate levels where neighbours stand further apart"
    )


class SetbackKeys(Keys):
    """[siting.setback_m]: least plan distance from a feature to a swale's footprint, m."""

    boundary: Distance = key(3, "from the property's boundary, inwards")
    building: Distance = key(10, "from a building")
    building_below: Distance = key(30, "from a building that stands downhill of the swale")
    septic: Distance = key(30, "from a septic field")
    well: Distance = key(30, "from a well")
    drainage_line: Distance = key(10, "from a drainage line")
    watercourse: Distance = key(10, "from a watercourse")
    dam: Distance = key(10, "from a dam")
    service: Distance = key(3, "from a buried or overhead service")
    track: Distance = key(3, "from a track")
    landslip: Distance = key(30, "from a landslip")
    landslip_below: Distance = key(60, "above a landslip, along the flow path")
    steep_ground_below: Distance = key(
        60, "above ground of 20 % or more over 500 m², along the flow path: caution"
    )


class SitingKeys(Keys):
    """[siting]: where swales may stand."""

    max_slope_pct: Annotated[float, Number("%", 0, 35, above=True)] = key(
        15, "steepest ground for a swale; over 20 needs steep_sign_off, over 35 is refused"
    )
    steep_sign_off: str = key("", "name, licence and date of the engineer, for a limit over 20 %")
    min_length_m: Annotated[float, Number("m", 0, 1000)] = key(
        0, "shortest swale; 0 = 20, or 3 where the property is under 1 ha"
    )
    max_length_m: Annotated[float, Number("m", 10, 10_000)] = key(
        400, "longest swale; longer lines are split"
    )
    gap_limit_m: Annotated[float, Number("m", 0, 100)] = key(
        10, "widest gap of excluded ground that a line bridges"
    )
    min_catchment_m2: Annotated[float, Number("m²", 0, 1e6)] = key(
        200, "least catchment; a swale fed by less is dropped"
    )
    ground_tolerance_m: Annotated[float, Number("m", 0, 0.5, above=True)] = key(
        0.15, "how far the ground may stand above the level along the line"
    )
    min_bend_radius_m: Annotated[float, Number("m", 0, 100)] = key(
        6, "tightest bend that the digging machine can follow"
    )
    cross_tracks: bool = key(True, "swales may cross tracks")
    crossing: Literal["auto", "ford", "causeway", "gap"] = key(
        "auto",
        "how a track passes a swale: over a ford, over a causeway with a pipe, or through a gap "
        "between two ends; auto = a ford where it is shallow enough, else a causeway",
    )
    setback_m: SetbackKeys = Field(default_factory=SetbackKeys, title="setbacks, m")

    @model_validator(mode="after")
    def _lengths_leave_room(self) -> Self:
        if self.min_length_m > self.max_length_m:
            raise conflict(
                ("min_length_m", "max_length_m"),
                f"{self.min_length_m:g} over {self.max_length_m:g} m",
                "min_length_m no longer than max_length_m",
            )
        return self


class SoilKeys(Keys):
    """[soil]: how fast water soaks in."""

    texture: Annotated[Texture, BeforeValidator(canonical_texture)] = key(
        "loam",
        "USDA texture of the subsoil at the swale's base, off polygons of soils that give one; it "
        "sets soaking rate, batter and shape of the section",
    )
    ksat_mm_h: Annotated[float, Number("mm/h", 0, 5000)] = key(
        0, "measured saturated conductivity; 0 = by texture"
    )
    clogging_factor: Annotated[float, Number("", 0, 1, above=True)] = key(
        0.5, "share of the conductivity that is left once the base has silted"
    )
    amendment: Literal["none", "ripped", "gravel", "sand", "mulch", "gypsum"] = key(
        "none",
        "what the base is treated with; mulch on narrow bases, gypsum on heavy clay, gravel and "
        "sand on any soil but sand",
    )


class LandKeys(Keys):
    """[land]: how much of the rain runs off."""

    curve_number: Annotated[float, Number("", 30, 100)] = key(
        74, "runoff curve number; or give cover and hydrologic_group"
    )
    cover: str = key("", 'cover and condition, such as "pasture-fair", instead of a curve number')
    hydrologic_group: Literal["", "A", "B", "C", "D"] = key("", "hydrologic soil group, with cover")
    drain_run: Annotated[float, Number("m per m of fall", 20, 2000)] = key(
        300, "length in which a drain that is traced from a hard surface falls 1 m"
    )

    @model_validator(mode="after")
    def _one_way_to_say_it(self) -> Self:
        if self.cover and "curve_number" in self.model_fields_set:
            raise conflict(
                ("curve_number", "cover"),
                f'{self.curve_number:g} and "{self.cover}"',
                "one of curve_number and cover, not both",
            )
        if bool(self.cover) != bool(self.hydrologic_group):
            raise conflict(
                ("cover", "hydrologic_group"),
                f'cover "{self.cover}", hydrologic_group "{self.hydrologic_group}"',
                "cover and hydrologic_group (A, B, C or D) together, or neither",
            )
        if self.cover:
            self._take_curve_number()
        return self

    def _take_curve_number(self) -> None:
        known = tables.curve_numbers()
        if self.hydrologic_group not in known.get(self.cover, {}):
            covers = [name for name, groups in known.items() if self.hydrologic_group in groups]
            raise conflict(
                ("cover",), f'"{self.cover}"', "one of " + ", ".join(f'"{c}"' for c in covers)
            )
        # The model is frozen for its readers; this is still its construction.
        object.__setattr__(self, "curve_number", known[self.cover][self.hydrologic_group])
