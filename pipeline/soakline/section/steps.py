"""Sections that a swale may have: steps of base width and depth, smallest to largest."""

from dataclasses import dataclass
from math import inf

from soakline import tables
from soakline.section.trench import Trench

PASSAGES = ("", "foot", "barrow", "quad", "tractor")


@dataclass(frozen=True, slots=True)
class Shape:
    """Limits within which a section is looked for, m.

    Parameters
    ----------
    least_base_m, most_base_m : width of the base
    least_depth_m, most_depth_m : of the base below full water
    """

    least_base_m: float
    most_base_m: float
    least_depth_m: float
    most_depth_m: float


def shape_for(group: str) -> Shape:
    """Shape of the sections in a group of soils, by `config/section_shapes.csv`.

    Sand wide and shallow, clay narrow and deep: common practice, no source.

    Raises
    ------
    ValueError
        If the table has no such group.

    Examples
    --------
    >>> shape_for("clayey").most_depth_m > shape_for("sandy").most_depth_m
    True
    """
    for row in tables.rows("section_shapes.csv"):
        if row["group"] == group:
            return Shape(
                float(row["least_base_m"]),
                float(row["most_base_m"]),
                float(row["least_depth_m"]),
                float(row["most_depth_m"]),
            )
    raise ValueError(f"no shape of sections for {group!r} soils")


def least_base_m(passage: str) -> float:
    """Narrowest base of `config/section_steps.csv` that something passes along, m; 0 for nothing.

    Examples
    --------
    >>> least_base_m("quad"), least_base_m("")
    (1.5, 0.0)
    """
    if not passage:
        return 0.0
    return min(base for base, passes in _rows() if _rank(passes) >= _rank(passage))


def allowed_sections(
    base_width_m: float,
    depth_m: float,
    batter: float,
    passage: str,
    shape: Shape,
    widest_m: float = inf,
) -> tuple[Trench, ...]:
    """Sections to choose from, by what they hold.

    Parameters
    ----------
    base_width_m, depth_m : as the run file gives them, m; 0 where it leaves them open
    batter : horizontal per 1 vertical
    passage : what must pass along the base; "" for nothing
    shape : limits of what is left open; where nothing within them is wide enough for the passage,
        the widths that are made for it are taken
    widest_m : widest base that the soil's treatment suits, at least that of the passage

    Returns
    -------
    from the one that holds least to the one that holds most; of two that hold the same the
    shallower one first

    Examples
    --------
    >>> loamy = shape_for("loamy")
    >>> [s.base_width_m for s in allowed_sections(0, 0.4, 1.5, "tractor", loamy)]
    [2.4, 3.0]
    """
    passable = [
        (base, passes) for base, passes in _rows() if least_base_m(passage) <= base <= widest_m
    ]
    widths = [base for base, _ in passable if shape.least_base_m <= base <= shape.most_base_m] or [
        base for base, passes in passable if _rank(passes) <= _rank(passage)
    ]
    depths = [float(row["depth_m"]) for row in tables.rows("section_depths.csv")]
    sections = [
        Trench(base, depth, batter)
        for base in ([base_width_m] if base_width_m else widths)
        for depth in (
            [depth_m]
            if depth_m
            else [own for own in depths if shape.least_depth_m <= own <= shape.most_depth_m]
        )
    ]
    return tuple(sorted(sections, key=lambda own: (own.area_m2, own.depth_m)))


def _rank(passage: str) -> int:
    return PASSAGES.index(passage)


def _rows() -> list[tuple[float, str]]:
    return [(float(row["base_width_m"]), row["passes"]) for row in tables.rows("section_steps.csv")]
