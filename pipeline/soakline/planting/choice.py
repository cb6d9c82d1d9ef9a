"""Which species stand on a swale: by its soil, its rain and the height that its spacing allows."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from soakline.inputs.species import Group, Species

MAIN_GROUPS: tuple[Group, ...] = ("fruit", "nut", "timber")
# Soils that not every species bears, by what the table of species calls them.
_EXTREMES = {"sandy": "sand", "clayey": "clay"}
# A mixture has at most so many of each group; common practice, no source.
_MOST = {
    "pioneer": 1,
    "nitrogen fixer": 2,
    "fruit": 2,
    "nut": 1,
    "timber": 1,
    "windbreak": 2,
    "mulch": 1,
}
# Trees of a windbreak grow up to so many times as high as others: common practice, no source.
_WINDBREAK_HEIGHTS = 2.0
# Under this annual rain, mm, species that bear no drought are left out; common practice, no source.
DRY_MM = 500.0
# Up to this annual rain trees stand in the trench too, and only species that bear drought well.
TRENCH_MM = 250.0


@dataclass(frozen=True, slots=True)
class Mixture:
    """Species of one swale, as indices into the table; any may be none.

    Parameters
    ----------
    main : high-value trees
    pioneer, fixer : of the first year
    """

    main: tuple[int, ...]
    pioneer: tuple[int, ...]
    fixer: tuple[int, ...]


def mixture_for(
    table: Sequence[Species],
    soil_group: str,
    annual_mm: float,
    height_m: float,
    named: Sequence[str] = (),
) -> Mixture:
    """Species for a swale.

    Parameters
    ----------
    table : species to choose from
    soil_group : `sandy`, `loamy` or `clayey`
    annual_mm : mean annual rain
    height_m : mature height that the spacing of swales is set by, H
    named : botanical names that a planting block wants as main trees; they come before the rule

    Returns
    -------
    Mixture

    Notes
    -----
    Of each group those that bear the soil and the rain and grow no higher than H, the highest
    first; pioneers that bear an extreme soil best come first. Where all of a group are higher, the
    main trees go without it, and only if none is left at all the lowest stands in. Common practice,
    no source.
    """
    by_name = {own.species.casefold(): i for i, own in enumerate(table)}
    main = tuple(by_name[name.casefold()] for name in named)
    fits = [i for i, own in enumerate(table) if _bears(own, soil_group, annual_mm)]
    if not main:
        main = tuple(
            i for group in MAIN_GROUPS for i in _highest(table, fits, group, soil_group, height_m)
        )
    if not main:
        main = _lowest(table, fits, MAIN_GROUPS)
    first = {
        group: _highest(table, fits, group, soil_group, height_m) or _lowest(table, fits, (group,))
        for group in ("pioneer", "nitrogen fixer")
    }
    return Mixture(main, first["pioneer"], first["nitrogen fixer"])


def windbreak_mixture(
    table: Sequence[Species], soil_group: str, annual_mm: float, height_m: float, other: Mixture
) -> Mixture:
    """Species for a swale that is a windbreak.

    Parameters
    ----------
    table, soil_group, annual_mm, height_m : as of `mixture_for`
    other : what would stand there if it were none; its nitrogen fixers stay

    Returns
    -------
    Mixture; the highest two of the windbreak's species that bear soil and rain and are no higher
    than twice H, else the lowest one. Common practice, no source. As `other` where the table has
    none.
    """
    fits = [i for i, own in enumerate(table) if _bears(own, soil_group, annual_mm)]
    highest_m = _WINDBREAK_HEIGHTS * height_m
    chosen = _highest(table, fits, "windbreak", soil_group, highest_m)
    chosen = chosen or _lowest(table, fits, ("windbreak",))
    return replace(other, main=chosen, pioneer=()) if chosen else other


def between_mixture(
    table: Sequence[Species], soil_group: str, annual_mm: float, height_m: float
) -> tuple[int, ...]:
    """Species of the rows between swales, by turns: mulch, nitrogen fixers and timber.

    Parameters
    ----------
    table, soil_group, annual_mm, height_m : as of `mixture_for`

    Returns
    -------
    of each group those that bear soil and rain and are no higher than H, so that what stands
    between hides no swale from the next; none where no species is. No trench waters these rows:
    species that bear no drought are left out at any rain. Common practice, no source.
    """
    fits = [
        i
        for i, own in enumerate(table)
        if _bears(own, soil_group, annual_mm) and own.bears["drought"] != "low"
    ]
    groups: tuple[Group, ...] = ("mulch", "nitrogen fixer", "timber")
    chosen = [_highest(table, fits, group, soil_group, height_m) for group in groups]
    most = max(len(own) for own in chosen)
    return tuple(own[turn % len(own)] for turn in range(most) for own in chosen if own)


def _bears(own: Species, soil_group: str, annual_mm: float) -> bool:
    extreme = _EXTREMES.get(soil_group)
    if extreme and own.bears[extreme] == "low":
        return False
    if annual_mm <= TRENCH_MM:
        return own.bears["drought"] == "high"
    return annual_mm >= DRY_MM or own.bears["drought"] != "low"


def _highest(
    table: Sequence[Species], fits: list[int], group: Group, soil_group: str, height_m: float
) -> tuple[int, ...]:
    extreme = _EXTREMES.get(soil_group)
    own = [i for i in fits if table[i].group == group and table[i].height_m <= height_m + 1e-9]
    own.sort(
        key=lambda i: (
            group == "pioneer" and bool(extreme) and table[i].bears[extreme or ""] != "high",
            -table[i].height_m,
            i,
        )
    )
    return tuple(own[: _MOST[group]])


def _lowest(
    table: Sequence[Species], fits: list[int], groups: tuple[Group, ...]
) -> tuple[int, ...]:
    own = [i for i in fits if table[i].group in groups]
    own = own or [i for i, species in enumerate(table) if species.group in groups]
    return (min(own, key=lambda i: (table[i].height_m, i)),) if own else ()
