"""Machine hours of each swale: bank volume over what the machine digs in an hour, soil by soil."""

import geopandas as gpd

from soakline.grid import FloatArray
from soakline.inputs.machines import Machine
from soakline.section.soils import soils as all_soils
from soakline.siting.along_lip import length_by_texture_m


def texture_shares(
    lines: list[FloatArray], soils: gpd.GeoDataFrame, default: str
) -> dict[str, FloatArray]:
    """Share of each lip's length that runs through soil of each USDA texture.

    Parameters
    ----------
    lines : (k, 2) easting and northing of each lip, m
    soils : the layer `soils`; where polygons overlap the later one holds
    default : the run file's texture, where no polygon gives one

    Returns
    -------
    (lines,) by texture, coarse to fine; only textures that are met; each lip's shares sum to 1
    """
    length = length_by_texture_m(lines, soils, default)
    share = length / length.sum(axis=1, keepdims=True)
    return {own: share[:, k] for k, own in enumerate(all_soils()) if share[:, k].any()}


def machine_hours(
    dug_m3: FloatArray, shares: dict[str, FloatArray], machine: Machine
) -> dict[str, FloatArray]:
    """Hours of digging and heaping, (swales,) by texture.

    Parameters
    ----------
    dug_m3 : (swales,) bank volume
    shares : (swales,) of it by texture
    machine : Machine
    """
    return {
        texture: dug_m3 * share / machine.hourly_m3(texture) for texture, share in shares.items()
    }
