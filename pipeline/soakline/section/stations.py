"""Stations along the lips of many swales in flat arrays, lip after lip, with the ground beside."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from soakline.grid import BoolArray, FloatArray

IntArray = npt.NDArray[np.int64]
Scalar = TypeVar("Scalar", bound=np.generic)


def starts_of(count: IntArray) -> IntArray:
    """Where rows of some lengths begin when they lie one after another, and where the last ends.

    Examples
    --------
    >>> starts_of(np.array([2, 3]))
    array([0, 2, 5])
    """
    return np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(count, dtype=np.int64)])


def chainage_of(line: FloatArray) -> FloatArray:
    """Distance along a line to each of its (k, 2) vertices, from 0; (k,) m."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])


@dataclass(frozen=True, eq=False, slots=True)
class Chainages:
    """Places along many lips.

    Parameters
    ----------
    start : (lips + 1,) where each lip's places begin, and the end of the last
    along_m : (n,) rising along each lip, from 0, m
    """

    start: IntArray
    along_m: FloatArray

    @property
    def lips(self) -> int:
        return self.start.size - 1

    @property
    def lip(self) -> IntArray:
        """Lip of each place; (n,)."""
        return np.repeat(np.arange(self.lips), np.diff(self.start))

    @property
    def length_m(self) -> FloatArray:
        """Of each lip, (lips,) m."""
        return self.along_m[self.start[1:] - 1]

    def weights(self, lip: IntArray, at_m: FloatArray) -> tuple[IntArray, FloatArray]:
        """The place before each chainage asked for, and the share of the way to the next one.

        Parameters
        ----------
        lip, at_m : (k,) m; held within the lip

        Returns
        -------
        (k,) index and (k,) share from 0 to 1
        """
        length = self.length_m
        inside = np.clip(at_m, 0.0, length[lip])
        # One rising scale for all lips serves to find the place only; shares are each lip's own.
        base = np.concatenate([[0.0], np.cumsum(length + 1.0)])
        scale = self.along_m + base[self.lip]
        before = np.searchsorted(scale, inside + base[lip], side="right") - 1
        before = np.clip(before, self.start[lip], self.start[lip + 1] - 2)
        step = self.along_m[before + 1] - self.along_m[before]
        return before, (inside - self.along_m[before]) / np.maximum(step, 1e-12)


def interpolated(values: FloatArray, before: IntArray, share: FloatArray) -> FloatArray:
    """Values between places, by what `Chainages.weights` gives; (n,), or (n, k) for k values."""
    along = share.reshape(-1, *(1,) * (values.ndim - 1))
    return values[before] + along * (values[before + 1] - values[before])


def vertices_of(lines: Sequence[FloatArray]) -> tuple[Chainages, FloatArray]:
    """Chainages of the vertices of lips, and (n, 2) where they are; (k, 2) of each lip, m."""
    start = starts_of(np.array([len(line) for line in lines], dtype=np.int64))
    along = [np.cumsum(np.hypot(*np.diff(line, axis=0, prepend=line[:1]).T)) for line in lines]
    # What is empty tells the type where there is no lip.
    place = np.concatenate([np.empty((0, 2)), *(line[:, :2] for line in lines)])
    return Chainages(start, np.concatenate([np.empty(0), *along])), place


@dataclass(frozen=True, eq=False, slots=True)
class LipStations:
    """Stations along lips with the ground beside them; at least two to a lip.

    Parameters
    ----------
    at : Chainages of the n stations
    easting_m, northing_m : (n,) m
    left_east, left_north : (n,) unit vector uphill
    ground_above_m : (n,) ground less level at the lip, m
    rise : (n,) mean slope of the ground uphill of the lip, rise over run
    fall : (n,) that downhill of it, where the mound stands; neither is negative
    uphill_m : (n, k) profile of the ground less level, from the lip uphill; see `section.cuts`
    downhill_m : (n, j) the same from the lip downhill
    """

    at: Chainages
    easting_m: FloatArray
    northing_m: FloatArray
    left_east: FloatArray
    left_north: FloatArray
    ground_above_m: FloatArray
    rise: FloatArray
    fall: FloatArray
    uphill_m: FloatArray
    downhill_m: FloatArray

    @property
    def slope(self) -> FloatArray:
        """Mean slope across the lip, rise over run; (n,)."""
        return (self.rise + self.fall) / 2.0

    @property
    def first(self) -> IntArray:
        """First station of each lip; (lips,)."""
        return self.at.start[:-1]

    @property
    def last(self) -> IntArray:
        """Last station of each lip; (lips,)."""
        return self.at.start[1:] - 1

    def each(self, of_lip: npt.NDArray[Scalar]) -> npt.NDArray[Scalar]:
        """What holds for a lip, at each of its stations; (lips,) to (n,)."""
        return np.repeat(of_lip, np.diff(self.at.start))

    def mean(self, values: FloatArray) -> FloatArray:
        """Mean along each lip, straight between stations, however close these stand at bends;
        (n,) to (lips,).
        """
        return average_end_area_m3(self.at, values) / np.maximum(self.at.length_m, 1e-9)

    def beside(self, uphill_m: FloatArray | float) -> FloatArray:
        """Points at a distance uphill of the lip (downhill negative); (n, 2)."""
        return np.column_stack(
            [
                self.easting_m + uphill_m * self.left_east,
                self.northing_m + uphill_m * self.left_north,
            ]
        )

    def between(self, lip: IntArray, start_m: FloatArray, end_m: FloatArray) -> "LipStations":
        """The stations of stretches of lips, each with new ones at its ends.

        Parameters
        ----------
        lip, start_m, end_m : (k,) m along the lip

        Returns
        -------
        LipStations of k lips, chainages still those of the whole lips
        """
        at = self.at
        count = np.diff(at.start)[lip]
        own = starts_of(count)
        stretch = np.repeat(np.arange(lip.size), count)
        station = np.arange(own[-1]) - own[stretch] + at.start[lip][stretch]
        along = at.along_m[station]
        inside = (along > start_m[stretch] + 1e-6) & (along < end_m[stretch] - 1e-6)
        stretch, station = stretch[inside], station[inside]
        (first, first_share), (last, last_share) = at.weights(lip, start_m), at.weights(lip, end_m)
        order = np.argsort(
            np.concatenate([np.arange(lip.size), stretch, np.arange(lip.size)]), kind="stable"
        )

        def new(values: FloatArray, before: IntArray, share: FloatArray, within: int) -> FloatArray:
            mean, inner = interpolated(values, before, share), values[before + within]
            # Ground that the station beyond the end has alone ends half way to it; where only that
            # one has none, as in the way below a sill, the stretch has it to its end.
            nearer = values[before + (share > 0.5)]
            return np.where(np.isnan(mean), np.where(np.isnan(inner), nearer, inner), mean)

        def of(values: FloatArray) -> FloatArray:
            ends = new(values, first, first_share, 1), new(values, last, last_share, 0)
            return np.concatenate([ends[0], values[station], ends[1]])[order]

        start = starts_of(np.bincount(stretch, minlength=lip.size) + 2)
        return LipStations(
            Chainages(start, np.concatenate([start_m, at.along_m[station], end_m])[order]),
            *(of(getattr(self, field.name)) for field in fields(self)[1:]),
        )

    def of_lips(self, wanted: BoolArray) -> "LipStations":
        """The stations of some lips; (lips,) bool."""
        kept = np.repeat(wanted, np.diff(self.at.start))
        start = starts_of(np.diff(self.at.start)[wanted])
        return LipStations(
            Chainages(start, self.at.along_m[kept]),
            *(getattr(self, field.name)[kept] for field in fields(self)[1:]),
        )


def average_end_area_m3(at: Chainages, area_m2: FloatArray) -> FloatArray:
    """Volume between sections: the mean of neighbouring areas times the distance between them.

    Parameters
    ----------
    at : Chainages of n sections
    area_m2 : (n,)

    Returns
    -------
    (lips,) m³
    """
    between = np.zeros_like(area_m2)
    between[:-1] = np.diff(at.along_m) * (area_m2[1:] + area_m2[:-1]) / 2.0
    between[at.start[1:] - 1] = 0.0
    return np.add.reduceat(between, at.start[:-1])


def on_lips(
    vertices: Chainages, place: FloatArray, lip: IntArray, along_m: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Where places along lips are, and what is uphill there.

    Parameters
    ----------
    vertices, place, lip, along_m : as of `uphill_of`

    Returns
    -------
    (n,) eastings and northings, m, and easts and norths of unit vectors uphill
    """
    easting, northing = interpolated(place, *vertices.weights(lip, along_m)).T
    return easting, northing, *uphill_of(vertices, place, lip, along_m)


def uphill_of(
    vertices: Chainages, place: FloatArray, lip: IntArray, along_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Unit vectors square to lips, to their left, which is uphill.

    Parameters
    ----------
    vertices : Chainages of the lips' vertices
    place : (vertices, 2) easting and northing, m
    lip, along_m : (n,) m along the lip

    Returns
    -------
    (n,) easts and (n,) norths; at a bend of the mean direction over a metre to both sides
    """
    (before, share), (after, after_share) = (
        vertices.weights(lip, along_m + step) for step in (-1.0, 1.0)
    )
    run = interpolated(place, after, after_share) - interpolated(place, before, share)
    size = np.maximum(np.hypot(*run.T), 1e-9)
    return -run[:, 1] / size, run[:, 0] / size
