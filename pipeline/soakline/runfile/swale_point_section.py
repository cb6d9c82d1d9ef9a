"""The section on ponds, basins and organic pits at points along the swales."""

from dataclasses import dataclass
from typing import Annotated, Literal, get_args

from soakline.runfile.keys import Keys, Number, key

PointKind = Literal["pond", "basin", "organic_pit"]
POINT_KINDS: tuple[PointKind, ...] = get_args(PointKind)

POND_LENGTH, POND_DEPTH = Number("m", 2, 50), Number("m", 0.1, 1)
BASIN_LENGTH, BASIN_WIDTH = Number("m", 3, 100), Number("m", 0.3, 5)
PIT_LENGTH, PIT_WIDTH, PIT_DEPTH = Number("m", 0.5, 6), Number("m", 0.3, 3), Number("m", 0.2, 1)

POINT_RANGES: dict[PointKind, dict[str, Number]] = {
    "pond": {"length_m": POND_LENGTH, "depth_m": POND_DEPTH},
    "basin": {"length_m": BASIN_LENGTH, "width_m": BASIN_WIDTH},
    "organic_pit": {"length_m": PIT_LENGTH, "depth_m": PIT_DEPTH, "width_m": PIT_WIDTH},
}
"""Sizes that tell something for each kind: in the run file, and at chosen points."""


@dataclass(frozen=True, slots=True)
class PointSize:
    """Size of a pond, a basin or a pit, m.

    Parameters
    ----------
    length_m : along the swale
    width_m : added to the base uphill (basin), or across the base (pit); 0 at a pond
    depth_m : below the swale's base; 0 at a basin
    """

    length_m: float
    width_m: float
    depth_m: float


class SwalePointKeys(Keys):
    """[swale_points]: ponds, basins and organic pits along the swales, beside those chosen."""

    ponds: Literal["none", "suggested"] = key(
        "none", "seasonal ponds: deep sections, one on each longer swale where it lies in clay"
    )
    pond_length_m: Annotated[float, POND_LENGTH] = key(
        6, "along the swale, ramps of 1 in 3 at both ends included"
    )
    pond_depth_m: Annotated[float, POND_DEPTH] = key(
        0.3, "below the swale's base; shallower where the base is too narrow for it"
    )
    basins: Literal["none", "suggested"] = key(
        "none",
        "infiltration basins: a wider base, one on each longer swale where the ground soaks fast "
        "(20 mm/h and more: sand, and volcanic soil by ksat_mm_h)",
    )
    basin_length_m: Annotated[float, BASIN_LENGTH] = key(10, "along the swale, at full water")
    basin_width_m: Annotated[float, BASIN_WIDTH] = key(1, "added to the base on its uphill side")
    organic_pit_every_m: Annotated[float, Number("m", 5, 1000, zero="none")] = key(
        0, "distance of pits in the base, filled with logs, prunings and mulch"
    )
    organic_pit_length_m: Annotated[float, PIT_LENGTH] = key(1.5, "along the swale")
    organic_pit_width_m: Annotated[float, PIT_WIDTH] = key(
        0.6, "across the swale; no wider than the base"
    )
    organic_pit_depth_m: Annotated[float, PIT_DEPTH] = key(0.5, "below the swale's base")
    least_swale_m: Annotated[float, Number("m", 10, 1000)] = key(
        40, "shortest swale that a pond or a basin is suggested on"
    )

    def size(self, kind: PointKind) -> PointSize:
        """Usual size of one kind."""
        if kind == "pond":
            return PointSize(self.pond_length_m, 0.0, self.pond_depth_m)
        if kind == "basin":
            return PointSize(self.basin_length_m, self.basin_width_m, 0.0)
        return PointSize(
            self.organic_pit_length_m, self.organic_pit_width_m, self.organic_pit_depth_m
        )

    @property
    def suggested(self) -> tuple[PointKind, ...]:
        """Kinds for which points are looked for."""
        asked = {"pond": self.ponds, "basin": self.basins}
        return tuple(kind for kind in POINT_KINDS if asked.get(kind) == "suggested")
