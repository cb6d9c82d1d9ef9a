"""The section on trees: which, when, and how far from the water's ways."""

from typing import Annotated

from soakline.runfile.keys import Keys, Number, key


class PlantingKeys(Keys):
    """[planting]: trees on and beside the swales."""

    trees: bool = key(True, "trees are placed; else the layer stays empty")
    between: bool = key(
        False,
        "trees on the ground between swales too, in staggered rows along level lines: mulch, "
        "nitrogen fixers and timber; else none",
    )
    species: str = key(
        "", "own table of species, headed as config/species.csv; empty = the example that ships"
    )
    wind: str = key(
        "",
        "table of wind, from_deg,share_pct: whence it blows, and for how much of the time; chooses "
        "windbreaks; empty = none",
    )
    windbreak_every: Annotated[int, Number("levels", 6, 10, whole=True)] = key(
        8,
        "levels from one windbreak to the next, beside those nearest a ridge; common practice, no "
        "source",
    )
    shelter_heights: Annotated[float, Number("", 1, 30)] = key(
        10,
        "length of the zone that a windbreak shelters, in heights of its trees: Purdue Extension",
    )
    main_year: Annotated[int, Number("years", 1, 20, whole=True)] = key(
        3, "year in which fruit, nut and timber trees follow the pioneers of year 1"
    )
    clearance_m: Annotated[float, Number("m", 0.5, 30)] = key(
        2,
        "of trunks from overflow routes, sills, drains, tracks, services and buildings, beside all "
        "setbacks",
    )
    mulch_ring_m: Annotated[float, Number("m", 0, 5)] = key(1, "width of mulch round each tree")
    mulch_depth_m: Annotated[float, Number("m", 0, 0.5)] = key(0.1, "depth of that mulch")
