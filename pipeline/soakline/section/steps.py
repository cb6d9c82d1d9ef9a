"""Sections that a swale may have: steps of base width and depth, smallest to largest."""

from soakline import tables
from soakline.section.trench import Trench

PASSAGES = ("", "foot", "barrow", "quad", "tractor")


def least_base_m(passage: str) -> float:
    """Narrowest base of `config/section_steps.csv` that something passes along, m; 0 for nothing.

    Examples
    --------
    >>> least_base_m("quad"), least_base_m("")
    (1.5, 0.0)
    """
    if not passage:
        return 0.0
    return min(base for base, passes, _ in _rows() if _rank(passes) >= _rank(passage))


def allowed_sections(
    base_width_m: float, depth_m: float, batter: float, passage: str
) -> tuple[Trench, ...]:
    """Sections to choose from, by what they hold.

    Parameters
    ----------
    base_width_m, depth_m : as the run file gives them, m; 0 where it leaves them open
    batter : horizontal per 1 vertical
    passage : what must pass along the base; "" for nothing

    Returns
    -------
    from the one that holds least to the one that holds most; of two that hold the same the
    shallower one first

    Examples
    --------
    >>> [s.base_width_m for s in allowed_sections(0, 0.4, 1.5, "tractor")]
    [2.4, 3.0]
    """
    widths = [
        base
        for base, passes, offered in _rows()
        if base >= least_base_m(passage) and (offered or _rank(passes) <= _rank(passage))
    ]
    depths = [float(row["depth_m"]) for row in tables.rows("section_depths.csv")]
    sections = [
        Trench(base, depth, batter)
        for base in ([base_width_m] if base_width_m else widths)
        for depth in ([depth_m] if depth_m else depths)
    ]
    return tuple(sorted(sections, key=lambda own: (own.area_m2, own.depth_m)))


def _rank(passage: str) -> int:
    return PASSAGES.index(passage)


def _rows() -> list[tuple[float, str, bool]]:
    return [
        (float(row["base_width_m"]), row["passes"], row["offered"] == "yes")
        for row in tables.rows("section_steps.csv")
    ]
