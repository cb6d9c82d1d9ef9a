"""What the stages have made of each swale, gathered for layers and findings."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from shapely.geometry import MultiPolygon

from soakline.diversions.diversion import Diversion
from soakline.diversions.drains import DrainSection
from soakline.grid import BoolArray, FloatArray
from soakline.inputs.types import Inputs
from soakline.overflow.routes import Route
from soakline.overflow.sills import Outlets
from soakline.planting.trees import Trees
from soakline.planting.windbreaks import Windbreaks
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.section.pegs import Pegs
from soakline.section.points import SwalePoints
from soakline.section.stations import IntArray
from soakline.section.track_earth import TrackEarth
from soakline.section.trench import Trench
from soakline.section.works import GroundWorks
from soakline.siting.catchments import Catchments
from soakline.siting.crossings import TrackMeetings
from soakline.siting.hazards import GroundBelow
from soakline.siting.site import Placed, Site
from soakline.terrain.condition import Terrain
from soakline.water.courses import Courses
from soakline.water.event import Event
from soakline.water.results import SwaleResults
from soakline.water.storms import Storm
from soakline.years.balance import Years


@dataclass(frozen=True, eq=False, slots=True)
class SwaleFigures:
    """Figures of every swale; all (swales,) and in m unless said.

    Parameters
    ----------
    sections : trench of each
    level_m, sill_level_m, crest_level_m : elevations of full water, sill and settled crest
    length_m : of the lip
    texture : of the soil that each lies on
    soak_m_h : soaking rate, clogging and amendment included, m/h
    mound_height_m : crest above level; 0 where spoil is spread
    check_head_m : over the sill in the check storm
    sill_length_m : of all sills together; 0 where there is none
    capacity_m3, drain_down_h : m³ and h
    lip_low_m, first_spill_m : lowest level measured on the lip, and its chainage; NaN where it was
        not measured
    capacity_lost_m3 : by the low lip, m³; NaN likewise
    depth_in_time_m : of water that soaks away within the longest time allowed
    ponded_m2 : water surface, m²
    tc_h : time of concentration, h
    overtopped : swales that would be overtopped if this one let go
    slope_pct, tree_height_m : mean slope across the line, %, and H
    spacing_above_m, interval_above_m : measured; NaN where none
    spacing_tree_m, spacing_ratio_m, spacing_runoff_m : by each rule
    spacing_rule : the one that binds
    level_interval_m : that it sets outside planting blocks
    share_cut_off : of the catchment, that the DEM's edge cuts off above
    landform : hints
    """

    sections: tuple[Trench, ...]
    level_m: FloatArray
    sill_level_m: FloatArray
    crest_level_m: FloatArray
    length_m: FloatArray
    texture: tuple[str, ...]
    soak_m_h: FloatArray
    mound_height_m: FloatArray
    check_head_m: FloatArray
    sill_length_m: FloatArray
    capacity_m3: FloatArray
    lip_low_m: FloatArray
    first_spill_m: FloatArray
    capacity_lost_m3: FloatArray
    drain_down_h: FloatArray
    depth_in_time_m: FloatArray
    ponded_m2: FloatArray
    tc_h: FloatArray
    overtopped: list[list[int]]
    slope_pct: FloatArray
    tree_height_m: FloatArray
    spacing_above_m: FloatArray
    interval_above_m: FloatArray
    spacing_tree_m: FloatArray
    spacing_ratio_m: FloatArray
    spacing_runoff_m: FloatArray
    spacing_rule: str
    level_interval_m: float
    share_cut_off: FloatArray
    landform: tuple[str, ...]


@dataclass(frozen=True, eq=False, slots=True)
class DugDiversions:
    """Diversion drains with their sections.

    Parameters
    ----------
    drains : Diversion of each
    sections : DrainSection of each, for its peak
    catchment_m2 : (drains,) what passes the lower end
    """

    drains: tuple[Diversion, ...]
    sections: tuple[DrainSection, ...]
    catchment_m2: FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class BuiltCrossings:
    """Crossings of tracks with their figures; all (n,).

    Parameters
    ----------
    met : TrackMeetings
    kind : CrossingKind
    start_m, end_m : of the track along the lip; NaN at a gap
    top_m : of the track along the lip, its own width at a gap
    slope : of the ground along the track, rise over run
    level_m : elevation of the crown; NaN at a gap
    run_m : of the track that is reshaped; NaN at a gap, and where ramps do not meet the ground
    earth : TrackEarth
    pipes : how many lie under a causeway
    pipe_diameter_m, pipe_length_m, pipe_flow_m3s : of each pipe, and what all of them pass; NaN
        where there is none
    """

    met: TrackMeetings
    kind: npt.NDArray[np.str_]
    start_m: FloatArray
    end_m: FloatArray
    top_m: FloatArray
    slope: FloatArray
    level_m: FloatArray
    run_m: FloatArray
    earth: TrackEarth
    pipes: IntArray
    pipe_diameter_m: FloatArray
    pipe_length_m: FloatArray
    pipe_flow_m3s: FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class Designed:
    """The whole plan before it is written.

    Parameters
    ----------
    run, inputs : what was asked and given
    terrain, site, placed, design : of the stages
    diversions : drains that lead water to swales
    crossings : BuiltCrossings
    points : SwalePoints
    catchments, catchment_ground : of the swales, drains counted in, and their polygons
    event, outlets, routes, results, courses : what storms do
    pegs, works : of all swales
    planted : waits for the trees, which are placed beside other work
    years : what the years bring; None without weather
    windbreaks : Windbreaks
    figures : SwaleFigures
    below : GroundBelow
    unserved_m2 : allowed ground whose water meets no swale
    property_cells : (rows, columns) bool
    step_s : of the routing, s
    """

    run: RunFile
    inputs: Inputs
    terrain: Terrain
    site: Site
    placed: Placed
    design: SectionDesign
    diversions: DugDiversions
    crossings: BuiltCrossings
    points: SwalePoints
    catchments: Catchments
    catchment_ground: list[MultiPolygon]
    event: Event
    outlets: Outlets
    routes: list[Route]
    results: SwaleResults
    courses: Courses
    pegs: Pegs
    works: GroundWorks
    planted: Callable[[], Trees]
    years: Years | None
    windbreaks: Windbreaks
    figures: SwaleFigures
    below: GroundBelow
    unserved_m2: float
    property_cells: BoolArray
    step_s: float

    @property
    def trees(self) -> Trees:
        """The trees; asked for late, since they may still be under way."""
        return self.planted()

    @property
    def storms(self) -> tuple[Storm, ...]:
        return self.event.storms

    @property
    def pegs_are_set(self) -> bool:
        """Whether the DEM is fine enough to set out from."""
        return self.terrain.grid.cell_m <= 10.0
