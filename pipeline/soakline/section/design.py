"""The sections that a run allows: trenches, mound, soil and what follows from them."""

from dataclasses import dataclass

from soakline.findings import Finding
from soakline.problems import InputProblem, InputRefused
from soakline.runfile.sections import RunFile
from soakline.section.cuts import profile_reach_m
from soakline.section.mound import MoundShape
from soakline.section.reach import FootprintReach, footprint_reach, spoil_factor
from soakline.section.soils import soil_for
from soakline.section.steps import allowed_sections, least_base_m
from soakline.section.trench import STEEPEST_BATTER_SLOPE, Trench
from soakline.section.works import LEAST_MOUNDED_SHARE

# Lowest soaking rate that a base may be counted on for: 1e-6 m/s (Buckinghamshire drainage
# standard).
RELIABLE_SOAK_MM_H = 3.6


@dataclass(frozen=True, slots=True)
class SectionDesign:
    """What the sections of a plan have in common, and the steps that they are chosen from.

    Parameters
    ----------
    sections : from the one that holds least to the one that holds most
    mound : MoundShape
    freeboard_m : settled crest above the highest water of the check storm
    sill_head_m : greatest head over a sill in the check storm
    deepest_cut_m : most that the ground at a lip may stand above its level
    ksat_mm_h, clogging_factor : conductivity of the run file's soil, and what clogging leaves of it
    spoil : settled spoil per volume cut
    findings : what was assumed
    """

    sections: tuple[Trench, ...]
    mound: MoundShape
    freeboard_m: float
    sill_head_m: float
    deepest_cut_m: float
    ksat_mm_h: float
    clogging_factor: float
    spoil: float
    findings: tuple[Finding, ...]

    @property
    def largest(self) -> Trench:
        """The section that room is kept for: more rain may ask for it, and no line then moves."""
        return self.sections[-1]

    @property
    def widest_m(self) -> float:
        """Greatest width of water that a section has, m."""
        return max(own.top_width_m for own in self.sections)

    @property
    def profile_m(self) -> float:
        """How far uphill of a lip the ground is looked at."""
        own = self.largest
        return profile_reach_m(self.widest_m, self.deepest_cut_m, own.batter)

    @property
    def soak_m_h(self) -> float:
        """Soaking rate of the run file's soil, clogging included, m/h."""
        return self.ksat_mm_h * self.clogging_factor / 1000.0

    def reach(self, aim_m: float) -> FootprintReach:
        """Room for the ground works on both sides of a lip laid at `aim_m` over its level."""
        return footprint_reach(
            self.largest,
            self.mound,
            self.sill_head_m + self.freeboard_m,
            self.spoil,
            aim_m,
            LEAST_MOUNDED_SHARE,
        )


def section_design(run: RunFile) -> SectionDesign:
    """Sections, mound and soaking rate of a run.

    Parameters
    ----------
    run : the run file

    Returns
    -------
    SectionDesign

    Raises
    ------
    InputRefused
        If the uphill batter would hardly meet the steepest ground allowed, or the mound's downhill
        face would not meet it.
    """
    soil = soil_for(run.soil.texture)
    batter = run.section.batter or soil.batter
    steepest = run.siting.max_slope_pct / 100.0
    problems = []
    if batter * steepest >= STEEPEST_BATTER_SLOPE:
        problems.append(
            InputProblem(
                str(run.file),
                "section.batter",
                f"{batter:g} (horizontal per 1 vertical) on ground up to {100 * steepest:g} %",
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
    least = least_base_m(run.section.passage)
    if 0 < run.section.base_width_m < least:
        problems.append(
            InputProblem(
                str(run.file),
                "section.base_width_m",
                f'{run.section.base_width_m:g} m with section.passage = "{run.section.passage}"',
                f"at least {least:g} m, so that it can pass",
                "widen the base, or leave it at 0 to have it sized",
            )
        )
    if problems:
        raise InputRefused(problems)
    findings = []
    ksat = run.soil.ksat_mm_h or soil.ksat_mm_h
    soak_mm_h = ksat * run.soil.clogging_factor
    if soak_mm_h < RELIABLE_SOAK_MM_H:
        findings.append(
            Finding(
                "soaking_not_reliable",
                "caution",
                "swales",
                "",
                f"the base soaks {soak_mm_h:.2g} mm/h, under {RELIABLE_SOAK_MM_H:g} mm/h: soaking "
                "is not to be relied on",
                "test the soil in pits on site before building; expect water to stand",
            )
        )
    return SectionDesign(
        sections=allowed_sections(
            run.section.base_width_m, run.section.depth_m, batter, run.section.passage
        ),
        mound=MoundShape(
            run.earthworks.berm_m, run.earthworks.mound_batter, run.earthworks.mound_crest_m
        ),
        freeboard_m=run.section.freeboard_m,
        sill_head_m=run.overflow.sill_head_m,
        deepest_cut_m=run.siting.ground_tolerance_m,
        ksat_mm_h=ksat,
        clogging_factor=run.soil.clogging_factor,
        spoil=spoil_factor(run.earthworks.swell_pct, run.earthworks.settlement_pct),
        findings=tuple(findings),
    )
