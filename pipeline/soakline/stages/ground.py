"""The property as siting finds it: where swales may lie, and what its ground sheds."""

from dataclasses import dataclass, replace

import numpy as np

from soakline.findings import Finding
from soakline.grid import BoolArray, GroundArray
from soakline.inputs.types import Inputs
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.siting.band import AIM_M
from soakline.siting.site import Site, survey_site
from soakline.terrain.cells import burn
from soakline.terrain.condition import Terrain
from soakline.water.land import Land
from soakline.water.land_classes import land_of

_NONE = np.zeros((0, 0), np.float32)


@dataclass(frozen=True, eq=False, slots=True)
class SurveyedGround:
    """Where swales may lie, and what ground sheds their water.

    Parameters
    ----------
    site : Site
    land : classes of ground
    property_cells : (rows, columns) bool
    findings : on soils and covers
    """

    site: Site
    land: Land
    property_cells: BoolArray
    findings: tuple[Finding, ...]

    def with_slope(self, slope_pct: GroundArray) -> "SurveyedGround":
        """The same with another slope at hand."""
        siteable = replace(self.site.siteable, slope_pct=slope_pct)
        return replace(self, site=replace(self.site, siteable=siteable))

    def without_slope(self) -> "SurveyedGround":
        """The same without the terrain's slope, which is kept with the terrain."""
        return self.with_slope(_NONE)


def survey_ground(
    run: RunFile, inputs: Inputs, terrain: Terrain, design: SectionDesign
) -> SurveyedGround:
    """Survey a property before any swale is placed."""
    features = inputs.features
    property_cells = burn(np.array([inputs.property.area], dtype=object), terrain.grid)
    reach = design.reach(AIM_M)
    site = survey_site(terrain, inputs.property, features, run.siting, design.deepest_m, reach)
    land, findings = land_of(
        run.land,
        run.soil.texture,
        features.soils,
        features.land_cover,
        features.hard_surfaces,
        property_cells,
        terrain.grid,
    )
    return SurveyedGround(site, land, property_cells, findings)
