"""The sections that a run allows: trenches by soil, mound and what follows from them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np

from soakline.grid import FloatArray
from soakline.problems import InputProblem, InputRefused
from soakline.runfile.sections import RunFile
from soakline.section.amendments import UNTREATED, Amendment, amendments
from soakline.section.mound import MoundShape
from soakline.section.points import point_problems
from soakline.section.reach import FootprintReach, footprint_reach, room_for_all, spoil_factor
from soakline.section.soils import Soil, soil_for, soils
from soakline.section.steps import allowed_sections, least_base_m, shape_for
from soakline.section.trench import STEEPEST_BATTER_SLOPE, Trench
from soakline.section.works import LEAST_MOUNDED_SHARE


@dataclass(frozen=True, slots=True)
class SoilDesign:
    """Sections of the swales that lie on one texture of soil.

    Parameters
    ----------
    texture : of the soil
    sections : from the one that holds least to the one that holds most, all of one batter
    ksat_mm_h : conductivity before clogging and amendment
    amendment : of the base; none where what the run file asks for is no use on this soil
    """

    texture: str
    sections: tuple[Trench, ...]
    ksat_mm_h: float
    amendment: Amendment

    @property
    def largest(self) -> Trench:
        """The widest and deepest section: more rain may ask for it, and no line then moves."""
        return self.sections[-1]


@dataclass(frozen=True, slots=True)
class SectionDesign:
    """What the sections of a plan have in common, and the steps that they are chosen from.

    Parameters
    ----------
    soils : every soil that a swale may lie on; the run file's first
    mound : MoundShape; beside high faces mounds stand farther off
    freeboard_m : settled crest above the highest water of the check storm
    sill_head_m : greatest head over a sill in the check storm
    deepest_cut_m : most that the ground at a lip may stand above its level
    steepest_pct : of the ground that lips are laid on
    clogging_factor : what clogging leaves of the conductivity
    spoil : settled spoil per volume cut
    """

    soils: tuple[SoilDesign, ...]
    mound: MoundShape
    freeboard_m: float
    sill_head_m: float
    deepest_cut_m: float
    steepest_pct: float
    clogging_factor: float
    spoil: float

    @property
    def soil(self) -> SoilDesign:
        """The run file's own soil, where no polygon tells another."""
        return self.soils[0]

    def on(self, texture: str) -> SoilDesign:
        """What holds on a soil of this texture."""
        return next(own for own in self.soils if own.texture == texture)

    def layers_m(self, textures: Sequence[str]) -> FloatArray:
        """Thickness of what is filled in below the base on soil of each texture, m."""
        return np.array([self.on(own).amendment.layer_m for own in textures], dtype=float)

    @property
    def roomiest(self) -> Trench:
        """A section that cuts as far uphill as any: as wide as the widest, as flat as the flattest.

        Room is kept for it wherever a line may lie, before it is known on which soil.
        """
        widest = max((own.largest for own in self.soils), key=lambda own: own.top_width_m)
        flattest = max((own.largest for own in self.soils), key=lambda own: own.batter)
        if widest.batter == flattest.batter:
            return widest
        run_m = 2.0 * flattest.batter * flattest.depth_m
        return Trench(widest.top_width_m - run_m, flattest.depth_m, flattest.batter)

    @property
    def widest_m(self) -> float:
        """Greatest width of water that a section has, m."""
        return max(own.largest.top_width_m for own in self.soils)

    @property
    def mound_reach_m(self) -> float:
        """How far downhill of a lip the ground is looked at: half as far again as mounds need."""
        _, downhill = self.reach(0.0).at(np.array([self.steepest_pct]))
        return 1.5 * float(downhill[0])

    @property
    def deepest_m(self) -> float:
        """Greatest depth that is dug below full water, a layer under the base included, m."""
        return max(own.largest.depth_m + own.amendment.layer_m for own in self.soils)

    def soak_m_h(self, soil: SoilDesign) -> float:
        """Soaking rate of a soil by its own conductivity, clogging and amendment included, m/h."""
        return soil.ksat_mm_h * self.clogging_factor * soil.amendment.soak_factor / 1000.0

    def reach(self, aim_m: float) -> FootprintReach:
        """Room for the ground works on both sides of a lip laid at `aim_m` over its level."""
        crest_m = self.sill_head_m + self.freeboard_m
        return room_for_all(
            [
                footprint_reach(
                    own.largest,
                    self.mound,
                    crest_m,
                    self.spoil,
                    aim_m,
                    LEAST_MOUNDED_SHARE,
                    own.amendment.layer_m,
                )
                for own in self.soils
            ]
        )


def section_design(run: RunFile, textures: Iterable[str] = ()) -> SectionDesign:
    """Sections, mound and soaking rate of a run.

    Parameters
    ----------
    run : the run file
    textures : of the polygons of `soils` on the property

    Returns
    -------
    SectionDesign

    Raises
    ------
    InputRefused
        If the uphill batter would hardly meet the steepest ground allowed, or the mound's downhill
        face would not meet it, if what is to pass along a base has no room on it, if the
        amendment suits neither the base nor any of the soils, or if ponds or pits are of a size
        that cannot be dug.
    """
    there = [soil_for(name) for name in dict.fromkeys((run.soil.texture, *textures))]
    problems = [
        *_too_flat(run, there),
        *_too_narrow(run),
        *_no_use(run, there),
        *point_problems(run.swale_points, str(run.file)),
    ]
    if problems:
        raise InputRefused(problems)
    return SectionDesign(
        soils=tuple(_designed(run, own) for own in there),
        mound=MoundShape(
            run.earthworks.berm_m, run.earthworks.mound_batter, run.earthworks.mound_crest_m
        ),
        freeboard_m=run.section.freeboard_m,
        sill_head_m=run.overflow.sill_head_m,
        deepest_cut_m=run.siting.ground_tolerance_m,
        steepest_pct=run.siting.max_slope_pct,
        clogging_factor=run.soil.clogging_factor,
        spoil=spoil_factor(run.earthworks.swell_pct, run.earthworks.settlement_pct),
    )


def _designed(run: RunFile, soil: Soil) -> SoilDesign:
    asked = amendments()[run.soil.amendment]
    amendment = asked if soil.group in asked.groups else UNTREATED
    measured = run.soil.ksat_mm_h if soil.texture == run.soil.texture else 0.0
    sections = allowed_sections(
        run.section.base_width_m,
        run.section.depth_m,
        run.section.batter or soil.batter,
        run.section.passage,
        shape_for(soil.group),
        amendment.widest_base_m,
    )
    return SoilDesign(soil.texture, sections, measured or soil.ksat_mm_h, amendment)


def _too_flat(run: RunFile, there: list[Soil]) -> list[InputProblem]:
    """Batters that would hardly meet the steepest ground allowed."""
    steepest = run.siting.max_slope_pct / 100.0
    problems = []
    flattest = max(there, key=lambda own: own.batter)
    batter = run.section.batter or flattest.batter
    whose = "" if run.section.batter else f", by texture {flattest.texture}"
    if batter * steepest >= STEEPEST_BATTER_SLOPE:
        problems.append(
            InputProblem(
                str(run.file),
                "section.batter",
                f"{batter:g} (horizontal per 1 vertical{whose}) on ground up to "
                f"{100 * steepest:g} %",
                f"batter times slope under {STEEPEST_BATTER_SLOPE:g}, here a batter under "
                f"{STEEPEST_BATTER_SLOPE / steepest:.2f}",
                "set a steeper batter, or lower siting.max_slope_pct",
            )
        )
    if run.earthworks.mound_batter * steepest >= 0.9:
        problems.append(
            InputProblem(
                str(run.file),
                "earthworks.mound_batter",
                f"{run.earthworks.mound_batter:g} on ground up to {100 * steepest:g} %",
                f"mound batter times slope under 0.9, here under {0.9 / steepest:.2f}",
                "set a steeper mound batter, or lower siting.max_slope_pct",
            )
        )
    return problems


def _too_narrow(run: RunFile) -> list[InputProblem]:
    """A base that what is to pass along it has no room on."""
    least = least_base_m(run.section.passage)
    if not 0 < run.section.base_width_m < least:
        return []
    return [
        InputProblem(
            str(run.file),
            "section.base_width_m",
            f'{run.section.base_width_m:g} m with section.passage = "{run.section.passage}"',
            f"at least {least:g} m, so that it can pass",
            "widen the base, or leave it at 0 to have it sized",
        )
    ]


def _no_use(run: RunFile, there: list[Soil]) -> list[InputProblem]:
    """An amendment on no soil that it suits, or on too wide a base."""
    asked = amendments()[run.soil.amendment]
    file, key = str(run.file), "soil.amendment"
    problems = []
    if all(own.group not in asked.groups for own in there):
        suits = [own.texture for own in soils().values() if own.group in asked.groups]
        problems.append(
            InputProblem(
                file,
                key,
                f'"{asked.name}" on {", ".join(own.texture for own in there)}',
                f"{asked.name} only where the soil is {', '.join(suits)}",
                "choose another amendment, or correct soil.texture and the layer soils",
            )
        )
    base_m = run.section.base_width_m or least_base_m(run.section.passage)
    if isfinite(asked.widest_base_m) and base_m > asked.widest_base_m:
        problems.append(
            InputProblem(
                file,
                key,
                f'"{asked.name}" on a base of at least {base_m:g} m',
                f"{asked.name} only on bases of at most {asked.widest_base_m:g} m: in larger "
                "swales it floats off",
                "choose another amendment, or a narrower base or passage",
            )
        )
    return problems
