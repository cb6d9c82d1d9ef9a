"""Ids of features: text, the same from run to run while terrain and siting stay the same."""


def swale_id(index: int) -> str:
    """Swales that no one has named are numbered from the highest level down, then west to east."""
    return f"S{index + 1:03d}"


def line_id(index: int) -> str:
    """Drainage lines are numbered by the area behind them, the largest first."""
    return f"L{index + 1:03d}"


def hollow_id(index: int) -> str:
    """Hollows are numbered in the order of the raster's rows."""
    return f"H{index + 1}"


def dam_id(index: int) -> str:
    """Dams are numbered in the order of the features file."""
    return f"D{index + 1}"


def given_point_id(index: int) -> str:
    """Given safe points are numbered in the order of the features file."""
    return f"P{index + 1}"


def diversion_id(index: int) -> str:
    """Diversions are numbered in the order of the features file, traced ones after given ones."""
    return f"V{index + 1}"


def outlet_id(index: int) -> str:
    """Outlets are numbered in the order of the routes that feed them."""
    return f"O{index + 1}"


def spillway_id(swale: str, sill: int) -> str:
    """Sills of a swale, by its id, are numbered along its lip."""
    return f"{swale}-W{sill + 1}"


def route_id(swale: str, sill: int) -> str:
    """A route of a swale, by its id, has the number of its sill."""
    return f"{swale}-R{sill + 1}"


def swale_point_id(swale: str, place: int) -> str:
    """Ponds, basins and pits of a swale, by its id, are numbered along its lip."""
    return f"{swale}-P{place + 1}"


def crossing_id(swale: str, place: int) -> str:
    """Crossings of a swale, by its id, are numbered along its lip."""
    return f"{swale}-X{place + 1}"
