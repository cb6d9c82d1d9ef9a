"""One swale of a finished plan, as it is dug."""

from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from soakline.grid import FloatArray
from soakline.section.aslant import AT_EDGE_M
from soakline.section.crossings import CrossingKind
from soakline.section.mound import MoundShape
from soakline.section.returns import EndReturns, end_returns
from soakline.section.stations import chainage_of
from soakline.section.stretches import AT_END_M, Span, joined, stretches
from soakline.section.trench import Trench
from soakline.setout.hollows import Hollow


@dataclass(frozen=True, eq=False, slots=True)
class Beside:
    """The ground beside places on a lip; all (n,).

    Parameters
    ----------
    above_m : ground less level at the lip, m
    daylight_m, daylight_above_m : from the lip to where the cut face meets the place's own ground,
        and ground less level there, m
    rise, fall : mean slope of the ground uphill and downhill, rise over run
    """

    above_m: FloatArray
    daylight_m: FloatArray
    daylight_above_m: FloatArray
    rise: FloatArray
    fall: FloatArray


@dataclass(frozen=True, slots=True)
class Sill:
    """A level sill with its apron.

    Parameters
    ----------
    start_m, end_m : along the lip, m
    level_m : its elevation, m
    width_m, apron_m : across the lip, and of the lined ground below it, m
    lining : of both, in words
    """

    start_m: float
    end_m: float
    level_m: float
    width_m: float
    apron_m: float
    lining: str


@dataclass(frozen=True, eq=False, slots=True)
class Track:
    """A ford or causeway along its track.

    Parameters
    ----------
    crossing_id, kind : as in the plan
    start_m, end_m : along the lip, m
    crown_m : above the swale's level, m
    pipes, pipe_diameter_m : how many lie under a causeway, and inside; 0 elsewhere
    lean : metres that the track goes along the lip for each metre uphill, 0 where it is square
    at_m, height_m : (5,) breaks of its profile from the lip, square to it and uphill positive, and
        height over the level, m
    """

    crossing_id: str
    kind: CrossingKind
    start_m: float
    end_m: float
    crown_m: float
    pipes: int
    pipe_diameter_m: float
    lean: float
    at_m: FloatArray
    height_m: FloatArray

    @property
    def sine(self) -> float:
        """Of the angle between lip and track."""
        return float(1.0 / np.hypot(1.0, self.lean))

    @property
    def along_m(self) -> FloatArray:
        """The breaks along the track, (5,) m."""
        return self.at_m / self.sine


@dataclass(frozen=True, eq=False, slots=True)
class Swale:
    """One swale as it is dug.

    Parameters
    ----------
    swale_id : its id
    lip : (k, 2) the lip, uphill on the left, m
    level_m : of the lip
    sill_level_m : full water; under the lip's level where spoil is spread
    trench : Trench
    below_m : dug below the base, for what is filled in there
    slope : mean of the ground across the line, rise over run
    mound : MoundShape; of its own berm
    crest_height_m : settled crest above the level; 0 where spoil is spread
    crest_width_m : of the mound, 0 where spoil is spread
    head_m : over the sills in the check storm
    sills, tracks : along the lip; the mound is left out there
    hollows : ponds, basins and pits, along the lip
    dug_ground, mound_ground : ponded ground and cut slope together, and the mound, as in the plan
    chainage_m, ground_m : (n,) of the pegs
    beside : Beside, at the pegs
    peg_id, peg_kind : (n,)
    cut_m3, fill_m3, face_height_m : as in the plan
    texture, soaking_mm_h : of the soil along the lip, clogging and amendment included
    """

    swale_id: str
    lip: FloatArray
    level_m: float
    sill_level_m: float
    trench: Trench
    below_m: float
    slope: float
    mound: MoundShape
    crest_height_m: float
    crest_width_m: float
    head_m: float
    sills: tuple[Sill, ...]
    tracks: tuple[Track, ...]
    hollows: tuple[Hollow, ...]
    dug_ground: BaseGeometry
    mound_ground: BaseGeometry
    chainage_m: FloatArray
    ground_m: FloatArray
    beside: Beside
    peg_id: tuple[str, ...]
    peg_kind: tuple[str, ...]
    cut_m3: float
    fill_m3: float
    face_height_m: float
    texture: str
    soaking_mm_h: float

    @property
    def open_face_m(self) -> float:
        """Highest cut face that people stand before: with layers below the base, and at ponds and
        basins; pits are filled on the day on which they are dug.
        """
        stays = [own.face_height_m for own in self.hollows if own.kind != "organic_pit"]
        return max([self.face_height_m + self.below_m, *stays])

    @property
    def vertex_m(self) -> FloatArray:
        """Chainage of each vertex of the lip, m."""
        return chainage_of(self.lip)

    @property
    def length_m(self) -> float:
        return float(self.vertex_m[-1])

    @property
    def base_level_m(self) -> float:
        return self.level_m - self.trench.depth_m

    @property
    def mounded_m(self) -> list[Span]:
        """Stretches of the lip that carry the mound, m."""
        if self.crest_height_m <= 0:
            return []
        open_m = [(sill.start_m, sill.end_m) for sill in self.sills]
        open_m += [(track.start_m, track.end_m) for track in self.tracks]
        along = stretches(np.array([self.length_m]), [joined(open_m)])
        own = along.where(along.mounded)
        return list(zip(own.start_m.tolist(), own.end_m.tolist(), strict=True))

    def mound_edges(self) -> FloatArray:
        """Start and end of each stretch of mound, and how far along each goes a metre uphill.

        Returns
        -------
        (k, 4) m, m, and m per m: ends at tracks lie aslant as those do, others square to the lip
        """

        def lean_at(along_m: float) -> float:
            leans = (
                track.lean
                for track in self.tracks
                for edge in (track.start_m, track.end_m)
                if abs(edge - along_m) < AT_EDGE_M
            )
            return next(leans, 0.0)

        rows = [(start, end, lean_at(start), lean_at(end)) for start, end in self.mounded_m]
        return np.array(rows, dtype=np.float64).reshape(-1, 4)

    def beside_at(self, along_m: FloatArray) -> Beside:
        """The ground beside places along the lip, (n,) m; straight from peg to peg."""

        def of(values: FloatArray) -> FloatArray:
            return np.interp(along_m, self.chainage_m, values)

        own = self.beside
        return Beside(
            of(own.above_m),
            of(own.daylight_m),
            of(own.daylight_above_m),
            of(own.rise),
            of(own.fall),
        )

    def ends(self) -> dict[float, EndReturns]:
        """Returns of the mound, by the chainage of the lip's end that they turn round."""
        reaches, length = self.mounded_m, self.length_m
        at = [0.0] * bool(reaches and reaches[0][0] < AT_END_M)
        at += [length] * bool(reaches and length - reaches[-1][1] < AT_END_M)
        one = np.ones(1)
        found = {}
        for along in at:
            ground = self.beside_at(np.array([along]))
            found[along] = end_returns(
                self.mound,
                self.crest_height_m * one,
                self.crest_width_m * one,
                self.head_m * one,
                ground.above_m,
                ground.rise,
                self.mound.borne_by(ground.fall),
            )
        return found
