"""Which features of two plans are the same thing on the ground, whatever their ids."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from soakline.problems import InputProblem, InputRefused

Ids = Sequence[str]

NEAR_M = 5.0
"""Two lines are one if two thirds of each lie this near the other, two points if both do."""
_MOST = 2.0 / 3.0
_STEP_M = 5.0
LEAST_OVERLAP_PCT = 95.0


@dataclass(frozen=True)
class Pairs:
    """Features of one layer in plans A and B.

    Parameters
    ----------
    both : id in A and id in B of each feature that both plans hold, in A's order
    vanished : ids of what only A holds, in A's order
    appeared : ids of what only B holds, in B's order
    """

    both: tuple[tuple[str, str], ...]
    vanished: tuple[str, ...]
    appeared: tuple[str, ...]

    @property
    def renumbered(self) -> tuple[tuple[str, str], ...]:
        """Features that bear another id in B: id in A, id in B."""
        return tuple(pair for pair in self.both if pair[0] != pair[1])

    @cached_property
    def names(self) -> Mapping[str, str]:
        """B's id to the name that the feature goes by in a comparison.

        A's id where A holds it too, else its own; " of B" is added where A means another thing by
        that id.
        """
        ours = {a for a, _ in self.both} | set(self.vanished)
        named = {b: a for a, b in self.both}
        return named | {b: f"{b} of B" if b in ours else b for b in self.appeared}


def require_same_property(a: gpd.GeoDataFrame, b: gpd.GeoDataFrame, file: str) -> float:
    """Share of land that two outlines have in common.

    Parameters
    ----------
    a, b : outlines of the land, both in A's CRS
    file : that B came from, for the message

    Returns
    -------
    area of intersection over area of union, %

    Raises
    ------
    InputRefused
        If it is under `LEAST_OVERLAP_PCT`.
    """
    land_a, land_b = (
        shapely.union_all(shapely.make_valid(layer.geometry.to_numpy())) for layer in (a, b)
    )
    # Land that has no place in A's CRS has infinite coordinates.
    overlap = 0.0
    if np.isfinite(land_b.bounds).all():
        overlap = 100.0 * land_a.intersection(land_b).area / land_a.union(land_b).area
    if overlap < LEAST_OVERLAP_PCT:
        found = f"another property: {overlap:.1f} % of both plans' land is common to them"
        allowed = f"two plans of one property, {LEAST_OVERLAP_PCT:g} % or more"
        raise InputRefused([InputProblem(file, "table property", found, allowed)])
    return overlap


def separation_m(one: shapely.Geometry, other: shapely.Geometry) -> float:
    """How far apart two features lie for the most part.

    Parameters
    ----------
    one, other : two points, lines or polygons, in metres; a polygon is its outline

    Returns
    -------
    m; between points their distance, else the distance that two thirds of each line keep within of
    the other, so that ends that were shortened do not count

    Examples
    --------
    >>> whole = shapely.from_wkt("LINESTRING (0 0, 300 0)")
    >>> separation_m(whole, shapely.from_wkt("LINESTRING (0 2, 250 2)"))
    2.0
    >>> separation_m(whole, shapely.from_wkt("LINESTRING (0 0, 100 0)"))
    100.0
    """
    if shapely.get_dimensions(one) == 0:
        return float(shapely.distance(one, other))
    return max(_mostly_within_m(one, other), _mostly_within_m(other, one))


def _mostly_within_m(one: shapely.Geometry, other: shapely.Geometry) -> float:
    line, near = (
        shape if shapely.get_dimensions(shape) == 1 else shapely.boundary(shape)
        for shape in (one, other)
    )
    length_m = float(shapely.length(line))
    steps = max(2, int(np.ceil(length_m / _STEP_M)))
    chainage_m = np.linspace(0.0, length_m, steps + 1)
    shapely.prepare(near)
    apart_m = shapely.distance(shapely.line_interpolate_point(np.array(line), chainage_m), near)
    return float(np.quantile(apart_m, _MOST, method="higher"))


def pair_up(ids_a: Ids, ids_b: Ids, shapes_a: np.ndarray, shapes_b: np.ndarray) -> Pairs:
    """Find what stands in both plans: the nearest first, then what bears the same id.

    Parameters
    ----------
    ids_a, ids_b : (n,) and (m,)
    shapes_a, shapes_b : (n,) and (m,) geometries in one CRS, m; one that is missing matches nothing

    Notes
    -----
    Features over `NEAR_M` apart are never one, whatever their ids: numbers move on when a swale
    is added above.
    """
    flat_a, flat_b = shapely.force_2d(shapes_a), shapely.force_2d(shapes_b)
    rows, columns = shapely.STRtree(flat_b).query(flat_a, predicate="dwithin", distance=NEAR_M)
    candidates = [
        (separation_m(flat_a[i], flat_b[j]), i, j)
        for i, j in zip(rows.tolist(), columns.tolist(), strict=True)
    ]
    return _nearest_first(ids_a, ids_b, [each for each in candidates if each[0] <= NEAR_M])


def pair_up_within(
    ids_a: Ids,
    ids_b: Ids,
    owners_a: Ids,
    owners_b: Ids,
    shapes_a: np.ndarray,
    shapes_b: np.ndarray,
) -> Pairs:
    """Pair points that belong to the same thing, the nearest first, however far they moved.

    Parameters
    ----------
    ids_a, ids_b : (n,) and (m,)
    owners_a, owners_b : (n,) and (m,) names of what each belongs to, alike in both plans
    shapes_a, shapes_b : (n,) and (m,) points in one CRS, m
    """
    of: dict[str, list[int]] = {}
    for j, owner in enumerate(owners_b):
        of.setdefault(owner, []).append(j)
    candidates = [
        (float(shapely.distance(shapes_a[i], shapes_b[j])), i, j)
        for i, owner in enumerate(owners_a)
        for j in of.get(owner, [])
    ]
    return _nearest_first(ids_a, ids_b, candidates)


def _nearest_first(ids_a: Ids, ids_b: Ids, candidates: list[tuple[float, int, int]]) -> Pairs:
    """Pairs from candidates: how far apart in m, row in A, row in B."""
    partner: dict[int, int] = {}
    taken: set[int] = set()
    # To the millimetre: of what lies as near, the one with the same id.
    for _, _, i, j in sorted(
        (round(apart, 3), ids_a[i] != ids_b[j], i, j) for apart, i, j in candidates
    ):
        if i not in partner and j not in taken:
            partner[i] = j
            taken.add(j)
    return Pairs(
        both=tuple((ids_a[i], ids_b[partner[i]]) for i in sorted(partner)),
        vanished=tuple(name for i, name in enumerate(ids_a) if i not in partner),
        appeared=tuple(name for j, name in enumerate(ids_b) if j not in taken),
    )


def scoped(scope: str, pairs: Pairs) -> pd.DataFrame:
    """Scope and id of each feature as compared, with its id in each plan, null where it is not."""
    rows: list[tuple[str, str, str | None, str | None]]
    rows = [(scope, a, a, b) for a, b in pairs.both]
    rows += [(f"{scope}_vanished", a, a, None) for a in pairs.vanished]
    rows += [(f"{scope}_appeared", b, None, b) for b in pairs.appeared]
    return pd.DataFrame(rows, columns=["scope", "id", "id_a", "id_b"], dtype=object)
