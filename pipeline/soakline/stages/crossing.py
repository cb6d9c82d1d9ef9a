"""Crossings of tracks: which kind each is, what it takes of its swale, and its figures."""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt
import shapely

from soakline.grid import FloatArray, Grid
from soakline.outputs.designed import BuiltCrossings
from soakline.overflow.sills import Outlets, Sill
from soakline.section.aslant import TrackSpans, lean_of, no_tracks
from soakline.section.crossings import (
    COVER_M,
    LEAST_SINE,
    causeway_m,
    fill_at_water_m,
    ford_m,
    kind_that_fits,
    met_aslant,
    pipe_m,
    plug_m,
    track_profiles,
)
from soakline.section.design import SectionDesign
from soakline.section.pipe import pipes_for
from soakline.section.stations import IntArray, interpolated
from soakline.section.stretches import Span, joined
from soakline.section.track_earth import TrackEarth, share_over_trench, track_earth
from soakline.section.trench import Trench, Trenches, trenches_of
from soakline.siting.crossings import TrackMeetings
from soakline.stages.laying import Laid
from soakline.water.event import Arrivals, Feeds

# A track that runs along the lip takes no more of it than this many times its width.
_MOST_WIDTHS = 3.0
# Nor do all causeways together take more than this of a swale.
_MOST_TAKEN = 0.5


@dataclass(frozen=True, eq=False, slots=True)
class TrackWorks:
    """Tracks over swales before sections are known.

    Parameters
    ----------
    met : TrackMeetings
    wanted : kind of crossing that the run file asks for
    fall : (n,) slope of the ground along the track, rise over run
    lean : (n,) as of `section.aslant.lean_of`
    crown_m : least crown of any crossing over the level, m: greatest head and freeboard
    fill_batter : sides of a causeway, horizontal per 1 vertical
    length_m, sill_drop_m : (swales,) of the lips, and of their sills below the level, m
    """

    met: TrackMeetings
    wanted: str
    fall: FloatArray
    lean: FloatArray
    crown_m: FloatArray
    fill_batter: float
    length_m: FloatArray
    sill_drop_m: FloatArray

    @property
    def sine(self) -> FloatArray:
        """Of the angle between lip and track, as far as it is reckoned with; (n,)."""
        return np.maximum(self.met.sine, LEAST_SINE)

    def along_track(self, trench: Trenches) -> Trenches:
        """Trenches as they lie along the tracks; (swales,) to (n,)."""
        return met_aslant(trench.take(self.met.lip), self.met.sine)

    @property
    def starts_m(self) -> FloatArray:
        """Where the track begins along the lip, (n,) m."""
        reach = _MOST_WIDTHS / 2.0 * self.met.width_m
        return np.maximum(self.met.start_m, self.met.at_m - reach)

    @property
    def ends_m(self) -> FloatArray:
        """Where the track ends along the lip, (n,) m."""
        reach = _MOST_WIDTHS / 2.0 * self.met.width_m
        return np.minimum(self.met.end_m, self.met.at_m + reach)

    @property
    def top_m(self) -> FloatArray:
        """Of the track along the lip, (n,) m; its own width at a gap."""
        return np.where(self.met.other_lip < 0, self.ends_m - self.starts_m, self.met.width_m)

    def spans(self) -> list[list[Span]]:
        """Stretches of each lip that carry no mound, apart from each other, m along it."""
        own: list[list[Span]] = [[] for _ in range(self.length_m.size)]
        starts, ends = self.starts_m, self.ends_m
        for k in np.flatnonzero(self.met.other_lip < 0):
            own[self.met.lip[k]].append((float(starts[k]), float(ends[k])))
        return [joined(spans) for spans in own]

    def over(self) -> TrackSpans:
        """What fords and causeways take of their lips."""
        own = TrackSpans(self.met.lip, self.starts_m, self.ends_m, self.lean)
        return own.where(self.met.other_lip < 0)

    def kinds(self, trench: Trenches) -> npt.NDArray[np.str_]:
        """Kind of each crossing where the swales have some trench; (swales,) Trenches."""
        over = self.along_track(trench)
        fits = kind_that_fits(over, self.crown_m[self.met.lip], self.fall)
        # Lips were parted for gaps before; what still crosses one had no room for it.
        asked = fits if self.wanted in ("auto", "gap") else np.full(fits.shape, self.wanted)
        return np.where(self.met.other_lip >= 0, "gap", asked)

    def share_over(self, trench: Trenches) -> FloatArray:
        """How much of each track's way lies over the trench; (swales,) Trenches to (n,)."""
        lip = self.met.lip
        ends = self.starts_m, self.ends_m, self.lean, self.length_m[lip]
        return share_over_trench(trench.take(lip), *ends)

    def filled(self, sections: tuple[Trench, ...]) -> TrackSpans:
        """What the fill of causeways takes of each water surface."""
        if self.met.lip.size == 0:
            return no_tracks()
        over_m = self._causeway_crown_m(self.met.lip) + self.sill_drop_m[self.met.lip]
        wide = fill_at_water_m(self.top_m, over_m, self.fill_batter / self.sine)
        beyond = (wide - self.top_m) / 2.0
        own = TrackSpans(self.met.lip, self.starts_m - beyond, self.ends_m + beyond, self.lean)
        return own.where(self.kinds(trenches_of(sections)) == "causeway")

    def taken_m(self, sections: tuple[Trench, ...]) -> FloatArray:
        """Length of each swale that holds no water for the fill of causeways; (swales,) m."""
        taken = np.zeros(self.length_m.size)
        if self.met.lip.size == 0:
            return taken
        trench = trenches_of(sections)
        filled = self.kinds(trench) == "causeway"
        lip = self.met.lip[filled]
        crown = self._causeway_crown_m(lip)
        batter = self.fill_batter / self.sine[filled]
        plug = plug_m(trench.take(lip), self.top_m[filled], crown, batter)
        np.add.at(taken, lip, plug * self.share_over(trench)[filled])
        return np.minimum(taken, _MOST_TAKEN * self.length_m)

    def _causeway_crown_m(self, lip: IntArray) -> FloatArray:
        return np.maximum(self.crown_m[lip], COVER_M)


def track_works(laid: Laid, design: SectionDesign, wanted: str) -> TrackWorks:
    """Tracks over the swales of a plan.

    Parameters
    ----------
    laid : Laid
    design : SectionDesign
    wanted : `[siting] crossing`
    """
    met, stations = laid.placed.tracks, laid.pegs.stations
    slope = lean = np.zeros(0)
    if met.lip.size:
        weights = stations.at.weights(met.lip, met.at_m)
        of = (stations.slope, stations.left_east, stations.left_north)
        slope, east, north = (interpolated(one, *weights) for one in of)
        lean = lean_of(met.bearing_deg, np.maximum(met.sine, LEAST_SINE), east, north)
    crown = design.sill_head_m + design.freeboard_m - laid.sill_drop_m
    return TrackWorks(
        met,
        wanted,
        slope * met.sine,
        lean,
        crown,
        design.mound.batter,
        laid.length_m,
        laid.sill_drop_m,
    )


def built_crossings(
    tracks: TrackWorks,
    laid: Laid,
    sections: tuple[Trench, ...],
    outlets: Outlets,
    peak_m3s: FloatArray,
    feeds: Feeds,
    arrivals: Arrivals,
    grid: Grid,
    sill_level_m: FloatArray,
    base_level_m: FloatArray,
    crown_over_sill_m: FloatArray,
) -> BuiltCrossings:
    """Figures of every crossing, once its swale is known.

    Parameters
    ----------
    tracks : TrackWorks
    laid : Laid
    sections : of each swale
    outlets : Outlets
    peak_m3s : (swales,) greatest spill rate in the check storms
    feeds, arrivals : what the swales receive from their own catchments
    grid : Grid
    sill_level_m, base_level_m : (swales,) elevations of sill and base, m
    crown_over_sill_m : (swales,) head in the check storm and freeboard, m

    Returns
    -------
    BuiltCrossings
    """
    met, count = tracks.met, tracks.met.lip.size
    number = np.zeros(count, dtype=np.int64)
    diameter, length, flow, run, level = (np.full(count, np.nan) for _ in range(5))
    if count == 0:
        kind = np.zeros(0, dtype=np.str_)
        nothing = TrackEarth(np.zeros(0), np.zeros(0), np.zeros(0))
        return _built(tracks, kind, level, run, nothing, number, diameter, length, flow)
    trench = trenches_of(sections)
    kind = tracks.kinds(trench)
    over = tracks.along_track(trench)
    batter = tracks.fill_batter / tracks.sine
    crown_level = (sill_level_m + crown_over_sill_m)[met.lip]
    full_level = base_level_m[met.lip] + over.depth_m
    level[kind == "ford"] = crown_level[kind == "ford"]
    run[kind == "ford"] = ford_m(over, crown_level - full_level, tracks.fall)[kind == "ford"]
    filled = np.flatnonzero(kind == "causeway")
    if filled.size:
        level[filled] = np.maximum(crown_level, full_level + COVER_M)[filled]
        run[filled] = causeway_m(over, level - full_level, tracks.fall)[filled]
        flow[filled] = _through_m3s(met, filled, laid, outlets, peak_m3s, feeds, arrivals, grid)
    for k in filled.tolist():
        lip, deep = int(met.lip[k]), float(sill_level_m[met.lip[k]] - base_level_m[met.lip[k]])
        above = float(level[k] - base_level_m[lip])
        length[k] = pipe_m(float(tracks.top_m[k]), above, float(batter[k]))
        number[k], diameter[k] = pipes_for(float(flow[k]), float(length[k]), deep)
        # A pipe wider than the water is deep is let into the base, and its fill reaches further.
        sunk = max(0.0, float(diameter[k]) - deep)
        length[k] += 2.0 * float(batter[k]) * sunk
    run[~np.isfinite(run)] = np.nan
    crown = np.nan_to_num(level - full_level)
    profiles = track_profiles(kind, over, crown, tracks.fall)
    wide, side = tracks.top_m * tracks.sine, over.batter * tracks.sine
    share = tracks.share_over(trench)
    earth = track_earth(profiles, over, tracks.fall, wide, tracks.fill_batter, side, share)
    none = kind == "gap"
    earth = TrackEarth(*(np.where(none, 0.0, getattr(earth, f.name)) for f in fields(TrackEarth)))
    return _built(tracks, kind, level, run, earth, number, diameter, length, flow)


def _built(
    tracks: TrackWorks,
    kind: npt.NDArray[np.str_],
    level_m: FloatArray,
    run_m: FloatArray,
    earth: TrackEarth,
    pipes: IntArray,
    diameter_m: FloatArray,
    length_m: FloatArray,
    flow_m3s: FloatArray,
) -> BuiltCrossings:
    over = tracks.met.other_lip < 0
    return BuiltCrossings(
        met=tracks.met,
        kind=kind,
        start_m=np.where(over, tracks.starts_m, np.nan),
        end_m=np.where(over, tracks.ends_m, np.nan),
        top_m=tracks.top_m,
        slope=tracks.fall,
        level_m=level_m,
        run_m=run_m,
        earth=earth,
        pipes=pipes,
        pipe_diameter_m=diameter_m,
        pipe_length_m=length_m,
        pipe_flow_m3s=flow_m3s,
    )


def _through_m3s(
    met: TrackMeetings,
    which: IntArray,
    laid: Laid,
    outlets: Outlets,
    peak_m3s: FloatArray,
    feeds: Feeds,
    arrivals: Arrivals,
    grid: Grid,
) -> FloatArray:
    """Flow that must pass each causeway for both sides to stay one level pool, m³/s.

    Own inflow is spread along the lip; what is spilled from above comes in where its way ends. Of
    the peak on one side the other side takes its share of the length while the swale fills, and its
    share of the sills while it spills: the larger of the two, and the worse of both sides.
    """
    lip = met.lip[which]
    check = arrivals.event.of("check")
    own = np.max([arrivals.inflow_m3(k, feeds).max(axis=1)[lip] for k in check], axis=0)
    own = own / arrivals.step_s
    share = met.at_m[which] / laid.length_m[lip]
    sills, before, after = np.zeros(which.size), share * own, (1.0 - share) * own
    for k, (i, at) in enumerate(zip(lip.tolist(), met.at_m[which].tolist(), strict=True)):
        sills[k] = sum(sill.share for sill in outlets.sills[i] if sill.end_m <= at)
        line = shapely.linestrings(laid.placed.lines[i].coordinates)
        for sill in _spilling_into(outlets, i):
            row, column = (np.array([at]) for at in sill.way.arrival)
            place = shapely.points(*(own[0] for own in grid.easting_northing(row, column)))
            side = before if shapely.line_locate_point(line, place) < at else after
            side[k] += sill.share * peak_m3s[sill.way.swale]
    to_after = before * np.maximum(1.0 - share, 1.0 - sills)
    to_before = after * np.maximum(share, sills)
    return np.asarray(np.maximum(to_after, to_before), dtype=float)


def _spilling_into(outlets: Outlets, swale: int) -> list[Sill]:
    """Sills whose water comes to a swale; swales are the first ends, in their order."""
    return [sill for own in outlets.sills for sill in own if sill.way.goal == swale + 1]
