"""The one list of the plan's rasters."""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class RasterSchema:
    """One raster of the plan.

    Parameters
    ----------
    name : of its table
    unit : of its values
    title, description : for people
    """

    name: str
    unit: str
    title: str
    description: str

    @property
    def file_name(self) -> str:
        """End of the name of its file beside the plan."""
        return f"{self.name}.tif"


RASTERS = (
    RasterSchema(
        "elevation",
        "m",
        "Elevation",
        "The elevation model as it was read, warped to the working CRS if it had to be, otherwise "
        "untouched. Hollows are not filled. No survey: levels are set by an instrument on site.",
    ),
    RasterSchema(
        "slope_pct",
        "%",
        "Slope",
        "Slope by Horn of the ground, which is the elevation model averaged over the smoothing "
        "disc: rise over run in percent, to one part in 128.",
    ),
    RasterSchema(
        "contributing_m2",
        "m²",
        "Contributing area",
        "Area whose water runs through each cell, the cell itself included: each cell drains to "
        "one neighbour, hollows filled. Land beyond the elevation model is not counted.",
    ),
)


def path_beside(plan: Path, file_name: str) -> Path:
    """Path of a raster's file beside a plan."""
    return plan.with_name(f"{plan.stem}-{file_name}")
