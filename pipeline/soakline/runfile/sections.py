"""The run file as a whole: one frozen model per section, every key with unit, range and default."""

from pydantic import Field

from soakline.runfile.climate_section import ClimateKeys
from soakline.runfile.ground_sections import (
    LandKeys,
    PropertyKeys,
    SetbackKeys,
    SitingKeys,
    SoilKeys,
    SpacingKeys,
    TerrainKeys,
)
from soakline.runfile.keys import Keys
from soakline.runfile.located import Located
from soakline.runfile.planting_section import PlantingKeys
from soakline.runfile.swale_point_section import SwalePointKeys
from soakline.runfile.works_sections import (
    EarthworksKeys,
    OutputKeys,
    OverflowKeys,
    RainKeys,
    SectionKeys,
)

__all__ = [
    "ClimateKeys",
    "EarthworksKeys",
    "Keys",
    "LandKeys",
    "OutputKeys",
    "OverflowKeys",
    "PlantingKeys",
    "PropertyKeys",
    "RainKeys",
    "RunFile",
    "SectionKeys",
    "SetbackKeys",
    "SitingKeys",
    "SoilKeys",
    "SpacingKeys",
    "SwalePointKeys",
    "TerrainKeys",
]


class RunFile(Located):
    """All that one plan is asked for: the sections, and where they were read from."""

    property: PropertyKeys
    terrain: TerrainKeys = Field(default_factory=TerrainKeys)
    spacing: SpacingKeys = Field(default_factory=SpacingKeys)
    siting: SitingKeys = Field(default_factory=SitingKeys)
    soil: SoilKeys = Field(default_factory=SoilKeys)
    land: LandKeys = Field(default_factory=LandKeys)
    section: SectionKeys = Field(default_factory=SectionKeys)
    swale_points: SwalePointKeys = Field(default_factory=SwalePointKeys)
    rain: RainKeys
    overflow: OverflowKeys = Field(default_factory=OverflowKeys)
    earthworks: EarthworksKeys = Field(default_factory=EarthworksKeys)
    planting: PlantingKeys = Field(default_factory=PlantingKeys)
    climate: ClimateKeys = Field(default_factory=ClimateKeys)
    output: OutputKeys = Field(default_factory=OutputKeys)
