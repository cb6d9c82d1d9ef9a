"""Windbreaks among the swales, and the shelter that they give."""

import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.inputs.types import Inputs
from soakline.outputs.designed import SwaleFigures
from soakline.planting.trees import figures_of
from soakline.planting.wind import across, behind, exposure, horizon_slope, mean_of
from soakline.planting.windbreaks import Windbreaks, choose, ranks_of
from soakline.runfile.sections import RunFile
from soakline.section.stations import LipStations, interpolated
from soakline.stages.laying import Laid
from soakline.stages.species import swale_mixtures
from soakline.terrain.condition import Terrain
from soakline.terrain.ground import sample

# Wind is looked at in so many places along each lip.
_PLACES = 8
# A crest is looked for so many times over the distance to where the next swale would stand.
_STEPS = 20
_FURTHEST_M = 500.0


def windbreaks_of(
    run: RunFile, inputs: Inputs, laid: Laid, figures: SwaleFigures, terrain: Terrain
) -> Windbreaks:
    """Choose windbreaks by prevailing wind and terrain.

    Parameters
    ----------
    run, inputs, laid, figures, terrain : of the stages before

    Returns
    -------
    Windbreaks; none where no table of wind is given
    """
    rose, lips = inputs.works.wind, laid.length_m.size
    if rose is None or lips == 0:
        return Windbreaks.none(lips)
    keys = run.planting
    from_deg, weight = rose.prevailing()
    lip, east, north, left_east, left_north = _places(laid.pegs.stations)
    open_to = exposure(
        horizon_slope(terrain.ground_m, terrain.grid, east, north, from_deg), keys.shelter_heights
    )
    met = mean_of(lip, (open_to * across(left_east, left_north, from_deg)) @ weight, lips)
    ridge = mean_of(
        lip, _below_crest(terrain, figures, lip, (east, north, left_east, left_north)), lips
    )
    near_ridge = np.isnan(figures.spacing_above_m) & (ridge >= 0.5)
    lines = laid.placed.lines
    group = np.array([line.group for line in lines])
    interval = np.array([line.interval_m for line in lines], dtype=float)
    chosen = np.zeros(lips, dtype=bool)
    for own in np.unique(group):
        of = np.flatnonzero(group == own)
        rank = ranks_of(laid.level_m[of], interval[of])
        chosen[of] = choose(rank, met[of], laid.length_m[of], near_ridge[of], keys.windbreak_every)
    height = _heights(run, inputs, laid, figures, chosen)
    row = np.array(
        [shapely.linestrings(lines[i].coordinates[:, :2]) for i in np.flatnonzero(chosen)]
    )
    kept_off = behind(
        east,
        north,
        laid.level_m[lip],
        from_deg,
        row.astype(object),
        laid.level_m[chosen],
        height[chosen],
        keys.shelter_heights,
    )
    sheltered = 1.0 - mean_of(lip, np.where(kept_off, 0.0, open_to) @ weight, lips)
    return Windbreaks(chosen, met, sheltered, height)


def _places(stations: LipStations) -> tuple[np.ndarray, ...]:
    """Places spread evenly along each lip: lip, easting, northing and unit vector uphill."""
    at = stations.at
    lip = np.repeat(np.arange(at.lips), _PLACES)
    along = (np.tile(np.arange(_PLACES), at.lips) + 0.5) / _PLACES * at.length_m[lip]
    before, share = at.weights(lip, along)
    return lip, *(
        interpolated(own, before, share)
        for own in (
            stations.easting_m,
            stations.northing_m,
            stations.left_east,
            stations.left_north,
        )
    )


def _below_crest(
    terrain: Terrain, figures: SwaleFigures, lip: np.ndarray, place: tuple[FloatArray, ...]
) -> BoolArray:
    """Whether the ground falls again before a swale above would be reached; (n,)."""
    reach = np.minimum(figures.spacing_tree_m, _FURTHEST_M)[lip, None] / _STEPS
    far = reach * np.arange(_STEPS + 1)
    east, north, left_east, left_north = (own[:, None] for own in place)
    ground = sample(
        terrain.ground_m,
        terrain.grid,
        (east + far * left_east).ravel(),
        (north + far * left_north).ravel(),
    ).reshape(far.shape)
    beyond = np.nan_to_num(ground, nan=np.inf)
    # By a tenth of the way up to the next swale at least, or it is the lie of the land.
    fall = np.maximum.accumulate(np.nan_to_num(ground, nan=-np.inf), axis=1) - beyond
    return np.asarray((fall > 0.1 * figures.tree_height_m[lip, None]).any(axis=1))


def _heights(
    run: RunFile, inputs: Inputs, laid: Laid, figures: SwaleFigures, chosen: BoolArray
) -> FloatArray:
    """Height of each windbreak's lowest species; NaN on other swales."""
    height = figures_of(inputs.works.species, "height_m")
    mixtures = swale_mixtures(run, inputs, laid, figures.tree_height_m, chosen)
    return np.array(
        [
            height[list(mixed.main)].min() if breaks else np.nan
            for mixed, breaks in zip(mixtures, chosen.tolist(), strict=True)
        ],
        dtype=float,
    )
