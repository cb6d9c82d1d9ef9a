"""The years after digging, where the run file names weather: swales followed day by day."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely
from pyproj import CRS, Transformer

from soakline.grid import FloatArray, Grid
from soakline.inputs.types import Inputs
from soakline.planting.shade import share_shaded
from soakline.planting.trees import BANDS, Band, Trees
from soakline.runfile.sections import RunFile
from soakline.section.trench import base_area_m2, trenches_of
from soakline.section.works import GroundWorks
from soakline.stages.draining import Drained
from soakline.stages.keeping import KeptStages
from soakline.stages.laying import Laid
from soakline.stages.planting import BAND_M
from soakline.stages.progress import Progress
from soakline.water.land import Land
from soakline.weather.series import weather_of
from soakline.years.balance import SwaleGround, Years, followed
from soakline.years.days import shed_mm
from soakline.years.growing import stands_between, stands_of
from soakline.years.rainfed import rainfed_years
from soakline.years.releases import released_m3
from soakline.years.soil_water import plant_water_of

_CODE = ("years", "weather", "water", "planting")


def followed_years(
    run: RunFile,
    inputs: Inputs,
    laid: Laid,
    drained: Drained,
    works: GroundWorks,
    planted: Callable[[], Trees],
    land: Land,
    grid: Grid,
    stages: KeptStages,
    progress: Progress,
) -> Years | None:
    """Follow the swales of a plan, from the store where nothing that they depend on changed.

    Parameters
    ----------
    run, inputs : what was asked and given
    laid, drained, works, land, grid : of the stages before
    planted : waits for the trees
    stages : KeptStages
    progress : is told of the stage, if there is one

    Returns
    -------
    Years; None without weather or without swales

    Notes
    -----
    Rain of the event counts only by the sections and sills that it asks for: the key holds these,
    not the rain.
    """
    lips = laid.length_m.size
    if inputs.works.weather is None or lips == 0:
        return None
    keys, trees = run.climate, planted()
    middle = inputs.property.area.centroid
    latitude = latitude_deg(middle.x, middle.y, grid.crs_wkt)
    weather = weather_of(inputs.works.weather, keys, latitude, float(laid.level_m.mean()))
    ground = SwaleGround(
        # Over a day nothing depends on how long sills are, which other storms of design change.
        pools=replace(drained.pools, sill_m=np.ones(lips)),
        chain=drained.outlets.chain,
        dry_m2=drained.feeds.dry_m2,
        curve_number=land.curve_number,
        hard=land.hard,
        commonest=land.commonest,
        base_m2=base_area_m2(trenches_of(drained.sections), laid.length_m),
        strip_m2=_strips_m2(laid.length_m, works),
        plant_water=plant_water_of(laid.texture),
        shaded=np.array(
            [
                share_shaded(trees.shaded_lip, trees.shaded_from, float(year), lips)
                for year in range(1, weather.years + 1)
            ]
        ),
        led_m3=released_m3(inputs.features.dams, laid.placed.ids)[0],
    )
    stand, between = stands_of(trees), stands_between(trees)
    longest_h = run.section.max_drain_h

    def all_followed() -> Years:
        years = followed(ground, stand, weather, keys, longest_h)
        if between.place.size == 0:
            return years
        common = slice(ground.commonest, ground.commonest + 1)
        shed = shed_mm(
            weather, ground.curve_number[common], ground.hard[common], keys.dormant_et0_mm
        )
        rain_alone = rainfed_years(between, ground.plant_water, weather, shed[:, 0] / 1000.0, keys)
        return replace(years, between=rain_alone)

    with progress.stage("years"):
        return stages.kept(
            "years",
            all_followed,
            (ground, stand, between, weather, keys, longest_h),
            _CODE,
        )


def latitude_deg(easting_m: float, northing_m: float, crs_wkt: str) -> float:
    """Latitude of a place, south negative."""
    crs = CRS.from_wkt(crs_wkt)
    geographic = crs.geodetic_crs or CRS.from_epsg(4326)
    to_degrees = Transformer.from_crs(crs, geographic, always_xy=True)
    return float(to_degrees.transform(easting_m, northing_m)[1])


def _strips_m2(length_m: FloatArray, works: GroundWorks) -> FloatArray:
    """Ground of each band, (swales, bands): the mound as it is drawn, strips beside the works."""
    beside = BAND_M * length_m
    by_band: dict[Band, FloatArray] = {
        "mound": np.asarray(shapely.area(works.footprint.mound)),
        "below": beside,
        "uphill": beside,
        # Plants in the trench have the ground under their own crowns.
        "trench": np.zeros_like(length_m),
    }
    return np.stack([by_band[band] for band in BANDS], axis=1)
