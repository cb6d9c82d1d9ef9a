"""The section on weather, and on what water, roots and silt do through the years."""

from typing import Annotated, Literal, Self

from pydantic import model_validator

from soakline.runfile.keys import Keys, Number, conflict, key

Et0Method = Literal["auto", "penman-monteith", "hargreaves"]


class ClimateKeys(Keys):
    """[climate]: the weather, and how water, roots and silt are followed day by day."""

    daily: str = key(
        "",
        "daily weather, CSV: date,rain_mm,et0_mm or date,rain_mm,tmin_c,tmax_c, further columns as "
        "below; empty = none",
    )
    monthly: str = key(
        "",
        "monthly means instead, of which days are made, CSV: month,rain_mm,wet_days and et0_mm or "
        "tmin_c,tmax_c; empty = none",
    )
    seed: Annotated[int, Number("", 0, 2**31 - 1, whole=True)] = key(
        1, "of the days made of monthly means: the same seed makes the same days"
    )
    years: Annotated[
        int, Number("years", 1, 60, zero="all of daily weather, at least ten", whole=True)
    ] = key(0, "that are followed from the digging on; daily weather that is shorter is repeated")
    et0: Et0Method = key(
        "auto",
        "reference evapotranspiration where it is not given: Penman-Monteith (FAO-56) where "
        "humidity, wind and radiation or sunshine are, else Hargreaves",
    )
    wind_height_m: Annotated[float, Number("m", 0.5, 100)] = key(
        2, "height above the ground at which wind was measured"
    )
    radiation_factor: Annotated[float, Number("", 0.1, 0.25)] = key(
        0.16, "kRs of FAO-56 eq. 50, where radiation follows from temperatures: 0.19 on a coast"
    )
    dormant_et0_mm: Annotated[float, Number("mm a day", 0, 10)] = key(
        1.5,
        "in months under it plants rest: less rain before makes ground wet (NEH-4 Table 4.2); "
        "common practice, no source",
    )
    storm_h: Annotated[float, Number("h", 0.5, 24)] = key(
        6, "in which a day's water comes to a swale; common practice, no source"
    )
    start_moisture_pct: Annotated[float, Number("%", 0, 100)] = key(
        50, "of what plants can take from the soil, there at the start; common practice, no source"
    )
    tree_kcb: Annotated[float, Number("", 0.1, 1.3)] = key(
        0.9, "basal crop coefficient of a closed canopy: 0.9 apples and pears, FAO-56 Table 17"
    )
    cover_kc: Annotated[float, Number("", 0.15, 1.3)] = key(
        0.85, "crop coefficient of the ground between crowns: 0.85 grazed pasture, FAO-56 Table 12"
    )
    depletion_share: Annotated[float, Number("", 0.1, 0.8)] = key(
        0.5, "p, of the water in the root zone that is taken without stress; FAO-56 Table 22"
    )
    root_depth_young_m: Annotated[float, Number("m", 0.1, 5)] = key(
        0.5, "depth of roots in year 1; common practice, no source"
    )
    root_depth_m: Annotated[float, Number("m", 0.1, 5)] = key(
        1.2, "from the year of full effect on: 1 to 2 m under fruit trees, FAO-56 Table 22"
    )
    full_effect_years: Annotated[int, Number("years", 2, 30, whole=True)] = key(
        7, "year in which roots and humus have their full effect; common practice, no source"
    )
    soak_gain: Annotated[float, Number("", 1, 5)] = key(
        1.25, "soaking rate by then, times that of year 1; common practice, no source"
    )
    roots_reach_pct: Annotated[float, Number("%", 0, 100)] = key(
        70,
        "of soaked water that passes full-grown root zones on its way down; common practice, no "
        "source",
    )
    silt_kg_m3: Annotated[float, Number("kg", 0, 100)] = key(
        2, "that each m³ of runoff leaves in the trench; common practice, no source"
    )
    silt_t_m3: Annotated[float, Number("t/m³", 0.5, 2)] = key(
        1.3, "bulk density of that silt; common practice, no source"
    )
    litter_mm: Annotated[float, Number("mm a year", 0, 100)] = key(
        5, "depth that leaves under crowns add to the base, once rotted; common practice, no source"
    )
    desilt_years: Annotated[
        int, Number("years", 1, 60, zero="once a fifth is lost", whole=True)
    ] = key(0, "after which swales are dug out and reshaped")

    @property
    def given(self) -> bool:
        """Whether any weather is."""
        return bool(self.daily or self.monthly)

    @model_validator(mode="after")
    def _one_weather(self) -> Self:
        if self.daily and self.monthly:
            raise conflict(("daily", "monthly"), "both", "daily or monthly, not both")
        return self

    @model_validator(mode="after")
    def _roots_deepen(self) -> Self:
        if self.root_depth_m < self.root_depth_young_m:
            raise conflict(
                ("root_depth_young_m", "root_depth_m"),
                f"{self.root_depth_young_m:g} and {self.root_depth_m:g} m",
                "root_depth_m no less than root_depth_young_m",
            )
        return self
