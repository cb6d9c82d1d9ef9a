"""Figures of a raster that is written some rows at a time."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import GroundArray

NO_DATA = -9999.0


@dataclass(slots=True)
class RasterFigures:
    """What GDAL's readers look for of the values that are there, summed up row by row."""

    cells: int = 0
    known: int = 0
    lowest: float = np.inf
    highest: float = -np.inf
    mean: float = 0.0
    squares: float = 0.0
    """Sum of the squares of what values are off their mean."""

    def add(self, values: GroundArray) -> None:
        """Take some rows in.

        Means and squares of parts are joined by Chan, Golub & LeVeque 1983, The American
        Statistician 37(3): no sum of large squares loses what is small.
        """
        self.cells += values.size
        found = values[values != np.float32(NO_DATA)].astype(np.float64)
        if found.size == 0:
            return
        self.lowest = min(self.lowest, float(found.min()))
        self.highest = max(self.highest, float(found.max()))
        mean, before = float(found.mean()), self.known
        off = mean - self.mean
        self.known += found.size
        self.mean += off * found.size / self.known
        self.squares += float(np.square(found - mean).sum())
        self.squares += off * off * before * found.size / self.known

    def told(self) -> dict[str, str]:
        """The figures as GDAL names them; none where no value is."""
        if self.known == 0:
            return {}
        figures = {
            "MINIMUM": self.lowest,
            "MAXIMUM": self.highest,
            "MEAN": self.mean,
            "STDDEV": np.sqrt(self.squares / self.known),
            "VALID_PERCENT": 100.0 * self.known / self.cells,
        }
        return {f"STATISTICS_{name}": f"{value:.12g}" for name, value in figures.items()}
