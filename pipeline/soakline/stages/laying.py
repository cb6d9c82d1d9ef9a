"""Lips with all that feeds them, before any storm: catchments, ground, drains, soaking."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from soakline.diversions.catchments import passed_on
from soakline.diversions.digging import Digging
from soakline.diversions.diversion import Diversion
from soakline.diversions.lay import Diversions, lay_diversions
from soakline.diversions.traced import drain_ways
from soakline.findings import Finding
from soakline.grid import BoolArray, FloatArray
from soakline.inputs.types import Inputs
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.section.footprint import ponded_ground
from soakline.section.pegs import Pegs
from soakline.section.strips import empty_areas
from soakline.section.trench import Trench
from soakline.siting.along_lip import ksat_along_mm_h, texture_along
from soakline.siting.catchments import Catchments, catchment_polygons
from soakline.siting.exits import FORBIDDEN
from soakline.siting.flow_lengths import CatchmentShape, catchment_shape
from soakline.siting.site import Placed, Site
from soakline.stages.placing import pegs_along
from soakline.terrain.cells import GeometryArray
from soakline.terrain.condition import Terrain
from soakline.water.land import Land, area_above_m2, area_by_class_m2

# Widths of water for which its surface is drawn before sections are known.
_DRAWN_WIDTHS = 3
_NO_WAYS = np.zeros((0, 0), np.uint8)


@dataclass(frozen=True, eq=False, slots=True)
class Laid:
    """Swales on the ground, and what the ground brings to them whatever falls.

    Parameters
    ----------
    placed : Placed
    pegs : of the swales, without sills
    length_m, level_m, slope_pct : (swales,) of the lip, m, and mean slope across it, %
    spread : (swales,) bool; the spoil is spread and no mound stands
    sill_drop_m : (swales,) of the sill below the level, cut lower where no mound stands; m
    texture : of the soil that each swale lies on
    soak_m_h : (swales,) soaking rate, clogging and amendment included, m/h
    dug : section of each swale that is dug already, where it is known
    drains : that lead water to swales
    catchments : of the swales, drains counted in
    catchment_ground : their polygons
    area_m2 : (swales, classes) the same by class of ground
    shape : CatchmentShape
    drain_area_m2 : (drains, classes) what passes the lower end of each drain
    hollow_area_m2 : by kept hollow (classes,) what drains to it before it meets a swale
    drawn_width_m, drawn_m2 : (widths,) rising, and (swales, widths): water surfaces at some widths
    findings : what was found in laying the drains
    """

    placed: Placed
    pegs: Pegs
    length_m: FloatArray
    level_m: FloatArray
    slope_pct: FloatArray
    spread: BoolArray
    sill_drop_m: FloatArray
    texture: tuple[str, ...]
    soak_m_h: FloatArray
    dug: tuple[Trench | None, ...]
    drains: tuple[Diversion, ...]
    catchments: Catchments
    catchment_ground: list[MultiPolygon]
    area_m2: FloatArray
    shape: CatchmentShape
    drain_area_m2: FloatArray
    hollow_area_m2: dict[int, FloatArray]
    drawn_width_m: FloatArray
    drawn_m2: FloatArray
    findings: tuple[Finding, ...]

    def about_ponded_m2(self, width_m: FloatArray) -> FloatArray:
        """Water surface of each swale at its width, (swales,) m², between widths that are drawn."""
        return between_drawn(self.drawn_width_m, self.drawn_m2, width_m)


def between_drawn(
    drawn_width_m: FloatArray, drawn_m2: FloatArray, width_m: FloatArray
) -> FloatArray:
    """Each swale's own figure at its own width, straight between widths that are drawn.

    Parameters
    ----------
    drawn_width_m : (widths,) rising, m
    drawn_m2 : (swales, widths)
    width_m : (swales,) from the least to the greatest of those drawn, m

    Returns
    -------
    (swales,)
    """
    each = np.arange(width_m.size)
    before = np.maximum(np.searchsorted(drawn_width_m, width_m, side="right") - 1, 0)
    after = np.minimum(before + 1, drawn_width_m.size - 1)
    low, high = drawn_m2[each, before], drawn_m2[each, after]
    # The widest has none after it.
    step_m = np.where(after > before, drawn_width_m[after] - drawn_width_m[before], 1.0)
    area: FloatArray = low + (high - low) / step_m * (width_m - drawn_width_m[before])
    return area


def ponded_m2(
    pegs: Pegs, shore_m: FloatArray, width_m: FloatArray, filled: GeometryArray
) -> FloatArray:
    """Water surfaces beside lips, (lips,) m², at a width of each; causeways are left out."""
    width = np.broadcast_to(width_m, pegs.stations.at.lips)
    area: FloatArray = shapely.area(ponded_ground(pegs.stations, shore_m, width, filled))
    return area


def lay(
    placed: Placed,
    run: RunFile,
    inputs: Inputs,
    terrain: Terrain,
    site: Site,
    design: SectionDesign,
    land: Land,
    property_cells: BoolArray,
) -> Laid:
    """Measure what feeds each lip.

    Parameters
    ----------
    placed : Placed
    land : classes of ground
    property_cells : (rows, columns) bool
    others : of the run and of the stages before

    Returns
    -------
    Laid
    """
    lines, features, grid = placed.lines, inputs.features, terrain.grid
    lips = [line.coordinates for line in lines]
    pegs = pegs_along(lines, design, terrain)
    slope = 100.0 * pegs.stations.mean(pegs.stations.slope)
    diversions = lay_diversions(
        features.diversions,
        features.hard_surfaces,
        placed.catchments,
        Digging(
            lines,
            terrain,
            # Drains are traced from hard surfaces alone.
            drain_ways(terrain, property_cells, _no_drains(site))
            if len(features.hard_surfaces)
            else _NO_WAYS,
            design.widest_m,
            1.0 / run.land.drain_run,
        ),
    )
    catchments = diversions.diverted.catchments
    texture = texture_along(lips, features.soils, design.soil.texture)
    soils = [design.on(own) for own in texture]
    dug = tuple(line.section for line in lines)
    widths = np.array(
        [own.top_width_m for soil in design.soils for own in soil.sections]
        + [own.top_width_m for own in dug if own]
    )
    drawn = np.unique(np.quantile(widths, np.linspace(0.0, 1.0, _DRAWN_WIDTHS)))
    spread = slope < run.earthworks.spread_under_pct
    drop = np.where(spread, design.sill_head_m, 0.0)
    open_ = empty_areas(len(lines))
    batter = [(of_swale or own.largest).batter for own, of_swale in zip(soils, dug, strict=True)]
    shore_m = np.array(batter, dtype=float) * drop
    ksat = ksat_along_mm_h(lips, features.soils, design.soil.ksat_mm_h)
    gain = np.array([own.amendment.soak_factor for own in soils], dtype=float)
    with ThreadPoolExecutor(1) as aside:
        # Ways are followed without the interpreter, which draws outlines meanwhile.
        shape = aside.submit(
            catchment_shape,
            catchments,
            terrain.flow.direction,
            terrain.filled_m,
            terrain.slope_pct,
            grid.cell_m,
        )
        catchment_ground = catchment_polygons(catchments, grid)
    return Laid(
        placed=placed,
        pegs=pegs,
        length_m=np.array([line.length_m for line in lines], dtype=float),
        level_m=np.array([line.level_m for line in lines], dtype=float),
        slope_pct=slope,
        spread=spread,
        sill_drop_m=drop,
        texture=texture,
        soak_m_h=ksat * design.clogging_factor * gain / 1000.0,
        dug=dug,
        drains=diversions.drains,
        catchments=catchments,
        catchment_ground=catchment_ground,
        area_m2=area_by_class_m2(catchments.label, land, len(lines), grid.cell_area_m2),
        shape=shape.result(),
        drain_area_m2=_drain_areas(diversions, land, grid.cell_area_m2),
        hollow_area_m2=_hollow_areas(placed, terrain, land),
        drawn_width_m=drawn,
        drawn_m2=np.column_stack([ponded_m2(pegs, shore_m, width, open_) for width in drawn]),
        findings=diversions.findings,
    )


def _no_drains(site: Site) -> BoolArray:
    """Ground that no drain is traced over: what no water may pass, and steep or wet ground."""
    forbidden = (site.marks & FORBIDDEN) > 0
    forbidden |= site.excluded.wet
    forbidden |= site.excluded.too_steep
    return forbidden


def _drain_areas(diversions: Diversions, land: Land, cell_area_m2: float) -> FloatArray:
    """Area by class of ground whose water passes the lower end of each drain, m²."""
    drains, through = diversions.drains, diversions.diverted.through
    return passed_on(drains, area_by_class_m2(through, land, len(drains), cell_area_m2))


def _hollow_areas(placed: Placed, terrain: Terrain, land: Land) -> dict[int, FloatArray]:
    """Area by class of ground that drains to each kept hollow before it meets a swale, m²."""
    if not placed.lines:
        return {}
    goal = placed.end_map.goal
    area = {}
    for number, end in enumerate(placed.end_map.ends, 1):
        if end.kind == "hollow":
            cells = terrain.hollows.of(end.index)
            own = cells[goal.ravel()[cells] == number]
            area[end.index] = area_above_m2(
                terrain.flow.direction, goal, own, land, terrain.grid.cell_area_m2
            )
    return area
