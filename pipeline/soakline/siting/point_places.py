"""Where along swales ponds, basins and pits find room: chosen places, clear reaches, even steps."""

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from soakline.runfile.sections import SwalePointKeys
from soakline.runfile.swale_point_section import PointKind, PointSize
from soakline.section.points import APART_M, LeftOut
from soakline.section.stretches import Span, joined
from soakline.terrain.cells import GeometryArray

# A chosen point belongs to the nearest swale, if that lies no farther away.
FARTHEST_M = 25.0


@dataclass(frozen=True, slots=True)
class Wanted:
    """A pond, basin or pit before it is known whether there is room for it.

    Parameters
    ----------
    lip : of its swale
    kind : PointKind
    at_m : of its middle, along the lip
    size : PointSize
    row : of a chosen point in the features file; −1 for one that was looked for
    """

    lip: int
    kind: PointKind
    at_m: float
    size: PointSize
    row: int = -1

    @property
    def span_m(self) -> Span:
        """What it takes of the lip."""
        half = self.size.length_m / 2.0
        return self.at_m - half, self.at_m + half


def chosen_points(
    layer: gpd.GeoDataFrame, lips: GeometryArray, keys: SwalePointKeys
) -> tuple[list[Wanted], list[LeftOut]]:
    """Points of the features file, each at the nearest swale.

    Parameters
    ----------
    layer : `swale_points`; a size that it leaves empty is the run file's
    lips : (n,) lines
    keys : the run file's `[swale_points]`

    Returns
    -------
    those that lie near enough to a swale, in the file's order, and those that do not
    """
    wanted, left_out = [], []
    tree = shapely.STRtree(lips)
    for row, (kind, shape) in enumerate(zip(layer["kind"], layer.geometry, strict=True)):
        place = shapely.centroid(shape)
        if len(lips) == 0:
            left_out.append(LeftOut(row, kind, "there is no swale"))
            continue
        lip = int(tree.nearest(place))
        away = float(shapely.distance(lips[lip], place))
        if away > FARTHEST_M:
            why = f"the nearest swale is {away:.0f} m away, over {FARTHEST_M:g} m"
            left_out.append(LeftOut(row, kind, why))
            continue
        usual = keys.size(kind)
        own = {
            name: float(layer[name].iloc[row])
            for name in ("length_m", "width_m", "depth_m")
            if getattr(usual, name) > 0.0
        }
        size = PointSize(
            *(
                own[name] if name in own and not np.isnan(own[name]) else getattr(usual, name)
                for name in ("length_m", "width_m", "depth_m")
            )
        )
        at_m = float(shapely.line_locate_point(lips[lip], place))
        wanted.append(Wanted(lip, kind, at_m, size, row))
    return wanted, left_out


def is_free(taken: Sequence[Span], span_m: Span) -> bool:
    """Whether a stretch of a lip meets nothing that is taken of it."""
    start, end = span_m
    return all(end <= first or last <= start for first, last in taken)


def with_room(span_m: Span) -> Span:
    """A stretch and what is kept clear beside it."""
    return span_m[0] - APART_M, span_m[1] + APART_M


def reaches(length_m: float, taken: Sequence[Span]) -> list[Span]:
    """Stretches of a lip between those that are taken, the longest first.

    Examples
    --------
    >>> reaches(100.0, [(-2.0, 3.0), (97.0, 102.0), (20.0, 30.0)])
    [(30.0, 97.0), (3.0, 20.0)]
    """
    edges = [0.0, *(edge for span in joined(taken) for edge in span), length_m]
    between = zip(edges[::2], edges[1::2], strict=True)
    free = [(start, end) for start, end in between if end > start]
    return sorted(free, key=lambda span: (span[0] - span[1], span[0]))


def middles(
    lip: int, kind: PointKind, size: PointSize, length_m: float, taken: Sequence[Span]
) -> list[Wanted]:
    """One in the middle of each reach of a lip that has room for it, the longest first."""
    return [
        Wanted(lip, kind, (start + end) / 2.0, size)
        for start, end in reaches(length_m, taken)
        if end - start >= size.length_m
    ]


def pits_along(
    lip: int, size: PointSize, every_m: float, length_m: float, taken: Sequence[Span]
) -> list[Wanted]:
    """Pits at even steps along a lip, the first half a step from its start, where it is free."""
    at = np.arange(every_m / 2.0, length_m, every_m)
    wanted = [Wanted(lip, "organic_pit", float(one), size) for one in at]
    return [own for own in wanted if is_free(taken, own.span_m)]
