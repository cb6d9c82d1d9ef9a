"""Volumes dug and heaped along lips, and the crest that the spoil makes."""

from dataclasses import dataclass, replace

import numpy as np

from soakline.grid import FloatArray
from soakline.section import swept
from soakline.section.aslant import TrackSpans, mounded_ends
from soakline.section.cuts import Cuts, cuts_of
from soakline.section.mound import width_that_holds_m
from soakline.section.mounds import (
    Mounds,
    mound_m3,
    mound_reaches,
    returns_m3,
    slid_m3,
    standing,
    straight_mound_m3,
)
from soakline.section.stations import LipStations, average_end_area_m3, interpolated
from soakline.section.stretches import Stretches
from soakline.section.toes import down_to_toes
from soakline.section.trench import Trenches

# The ends are as wide as the mound, and take from it: what is left settles in so many rounds.
_ROUNDS = 6
_STEADY_M = 1e-9
_NOTHING_M3 = 1e-6
# A sill is cut downhill as if the ground fell away no more gently than this.
LEAST_FALL = 0.005


@dataclass(frozen=True, eq=False, slots=True)
class OtherEarth:
    """What besides trench and mound is cut and filled at swales; all (swales,) m³.

    Parameters
    ----------
    track_cut_m3, track_fill_m3 : bank volume of ramps, and compacted fill, of track crossings
    below_m3 : bank volume dug below the base, for what is filled in there
    sill_cut_m3 : bank volume of sills, cut through ground that stands over them
    """

    track_cut_m3: FloatArray
    track_fill_m3: FloatArray
    below_m3: FloatArray
    sill_cut_m3: FloatArray

    @property
    def cut_m3(self) -> FloatArray:
        """Bank volume of all that is dug."""
        return self.track_cut_m3 + self.below_m3 + self.sill_cut_m3


@dataclass(frozen=True, eq=False, slots=True)
class Earthworks:
    """Ground works of every swale; all (swales,).

    Settled spoil in equals settled spoil out: spoil + short = made up + mound + returns + track
    fill + spread + surplus.

    Parameters
    ----------
    cut_m3 : bank volume of the trench by average end area along the pegs, ends battered
    between_m3 : what bends and the ground between the pegs add to it, or, if negative, take from it
    below_m3, track_cut_m3, sill_cut_m3 : bank volume of what else is dug, as of `OtherEarth`
    fill_m3 : settled volume of the spoil of `cut_m3`
    spoil_m3 : settled volume of all spoil, that of what else is dug included
    made_up_m3 : low spots of the lip made up to the level
    mound_m3 : in the mound along the lip
    returns_m3 : in its ends, beyond the lip's
    track_fill_m3 : in fords' crowns and causeways
    spread_m3 : spread on flat ground, where no mound stands
    short_m3 : that the least mound lacks; 0 where there is enough
    surplus_m3 : that finds no room on the mound within the reach kept free for it
    crest_width_m : of the mound, widened by what is beyond the least section; 0 where spread
    face_height_m : highest cut face
    wedge_m2 : mean area of the wedge above the water's prism, per metre
    """

    cut_m3: FloatArray
    between_m3: FloatArray
    below_m3: FloatArray
    track_cut_m3: FloatArray
    sill_cut_m3: FloatArray
    fill_m3: FloatArray
    spoil_m3: FloatArray
    made_up_m3: FloatArray
    mound_m3: FloatArray
    returns_m3: FloatArray
    track_fill_m3: FloatArray
    spread_m3: FloatArray
    short_m3: FloatArray
    surplus_m3: FloatArray
    crest_width_m: FloatArray
    face_height_m: FloatArray
    wedge_m2: FloatArray


def highest_face_m(stations: LipStations, dug: Cuts) -> FloatArray:
    """Highest cut face along each lip, from the base; (swales,) m."""
    return np.maximum.reduceat(dug.face_height_m, stations.first)


def end_batter_m3(
    trench: Trenches, first_cut_m2: FloatArray, last_cut_m2: FloatArray
) -> FloatArray:
    """Ground left standing at the two battered ends of each trench, (swales,) m³.

    The ends slope in from the lip's ends at the trench's own batter, so the full section begins m d
    further in; what stays is the prism's share of that slope.
    """
    prism = trench.area_m2
    kept = prism * 100.0 - trench.capacity_m3(100.0)
    return kept * (first_cut_m2 + last_cut_m2) / (2.0 * prism)


def earthworks(
    pegs: LipStations,
    close: LipStations,
    trench: Trenches,
    mounds: Mounds,
    along: Stretches,
    tracks: TrackSpans,
    least_mounded_m: FloatArray,
    spoil_factor: float,
    other: OtherEarth,
) -> Earthworks:
    """Cut, spoil, and the crest that holds it, of every swale.

    Parameters
    ----------
    pegs : LipStations that set the swales out, each with its own ground
    close : LipStations of the same lips, close together
    trench : (swales,) Trenches
    mounds : Mounds, their crests of no width yet
    along : Stretches of every lip
    tracks : TrackSpans of fords and causeways
    least_mounded_m : (swales,) length for which room was kept when the line was laid: with less,
        the crest does not grow any wider
    spoil_factor : settled spoil per volume cut
    other : OtherEarth

    Returns
    -------
    Earthworks

    Notes
    -----
    Room was kept for the trench's own spoil: what comes from elsewhere makes good what is short,
    and widens no crest.
    """
    dug = cuts_of(trench.take(pegs.at.lip), pegs.uphill_m)
    area = dug.area_m2
    ends = end_batter_m3(trench, area[pegs.first], area[pegs.last])
    cut = average_end_area_m3(pegs.at, area) - ends
    between = swept.trench_between_m3(pegs, close, trench)
    # Low spots of the lip are made up to the level over the width of the mound's toe.
    made_up = average_end_area_m3(
        pegs.at, np.maximum(-pegs.ground_above_m, 0.0) * mounds.shape.least_crest_m
    )
    fill = cut * spoil_factor
    own_spoil = (cut + between) * spoil_factor
    spoil = own_spoil + other.cut_m3 * spoil_factor
    along = standing(along, mounds)
    mounded = along.mounded_m()
    stands = mounded > 0
    share = mounded / np.maximum(np.maximum(mounded, least_mounded_m), 1e-9)
    least_crest = mounds.shape.least_crest_m
    # Inside a bend, as round the head of a hollow, a mound finds ever less ground as it widens: it
    # ends where room was kept for it as if the lip were straight.
    even = mound_reaches(pegs, along)
    flat = [straight_mound_m3(even, mounds.with_crest(float(c))) for c in range(3)]
    even_m3 = flat[0], flat[1], flat[2]
    kept = fill * mounded / np.maximum(least_mounded_m, 1e-9)
    widest = np.maximum(width_that_holds_m(even_m3, kept), least_crest)
    crest = np.clip(width_that_holds_m(even_m3, (own_spoil - made_up) * share), least_crest, widest)

    toes = down_to_toes(pegs, mounds.shape, mounds.height_m, crest)
    between_pegs = pegs.at.weights(close.at.lip, close.at.along_m)
    close = replace(close, fall=interpolated(toes.fall, *between_pegs))
    reaches = mound_reaches(close, along)
    below = swept.downhill(reaches.stations)
    leaning = tracks.leaning()
    aslant = mounded_ends(along, leaning)

    def heaped_m3(crest_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        own = mounds.with_crest(crest_m)
        # Beside a track ends aslant take off more than there is, where nothing is heaped.
        held = mound_m3(below, reaches.lip, own) + slid_m3(reaches, own, aslant, leaning)
        return np.maximum(held, 0.0), returns_m3(reaches, own)

    def free_m3(returns: FloatArray) -> FloatArray:
        return spoil - made_up - returns - other.track_fill_m3

    mound, returns = heaped_m3(crest)
    lacks = np.minimum(free_m3(returns), own_spoil - made_up) * share - mound
    # A metre of crest, as on even ground to begin with; then by secants.
    more = np.where(stands, flat[2] - flat[1], np.inf)
    for _ in range(_ROUNDS):
        tried, lacked = crest, lacks
        crest = np.clip(tried + lacked / more, least_crest, widest)
        mound, returns = heaped_m3(crest)
        lacks = np.minimum(free_m3(returns), own_spoil - made_up) * share - mound
        step = crest - tried
        steady = np.abs(step) < _STEADY_M
        secant = (lacked - lacks) / np.where(steady, 1.0, step)
        more = np.where(steady | (secant <= 0.0), more, secant)
    free = free_m3(returns)
    least = crest <= least_crest
    short = _some(np.where(stands & ~least, 0.0, mound - free))
    spread = np.where(mounds.height_m > 0, 0.0, np.maximum(free, 0.0))
    return Earthworks(
        cut_m3=cut,
        between_m3=between,
        below_m3=other.below_m3,
        track_cut_m3=other.track_cut_m3,
        sill_cut_m3=other.sill_cut_m3,
        fill_m3=fill,
        spoil_m3=spoil,
        made_up_m3=made_up,
        mound_m3=mound,
        returns_m3=returns,
        track_fill_m3=other.track_fill_m3,
        spread_m3=spread,
        short_m3=short,
        surplus_m3=_some(free - mound - spread),
        crest_width_m=np.where(stands, crest, 0.0),
        face_height_m=highest_face_m(pegs, dug),
        wedge_m2=pegs.mean(area) - trench.area_m2,
    )


def _some(volume_m3: FloatArray) -> FloatArray:
    """Volumes that are more than what is left of rounding, else 0."""
    return np.where(volume_m3 > _NOTHING_M3, volume_m3, 0.0)


def sill_cut_m2(over_m: FloatArray, fall: FloatArray) -> FloatArray:
    """Cut per metre of sill, (n,) m²: downhill until the ground, which falls away, lies under it.

    Parameters
    ----------
    over_m : (n,) ground at the lip over the sill, m
    fall : (n,) of the ground downhill, rise over run
    """
    return np.asarray(np.maximum(over_m, 0.0) ** 2 / (2.0 * np.maximum(fall, LEAST_FALL)))
