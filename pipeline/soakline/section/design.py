"""The section that a run asks for: trench, mound, soil and what follows from them."""

from dataclasses import dataclass

from soakline.findings import Finding
from soakline.problems import InputProblem, InputRefused
from soakline.runfile.sections import RunFile
from soakline.section.mound import MoundShape
from soakline.section.reach import FootprintReach, footprint_reach, spoil_factor
from soakline.section.soils import soil_for
from soakline.section.trench import STEEPEST_BATTER_SLOPE, Trench
from soakline.section.works import LEAST_MOUNDED_SHARE

DEFAULT_BASE_WIDTH_M = 1.5
DEFAULT_DEPTH_M = 0.5
# Lowest soaking rate that a base may be counted on for: 1e-6 m/s (Buckinghamshire drainage
# standard).
RELIABLE_SOAK_MM_H = 3.6


@dataclass(frozen=True, slots=True)
class SectionDesign:
    """One section for all swales of a plan.

    Parameters
    ----------
    trench, mound : Trench and MoundShape
    freeboard_m : settled crest above the highest water of the check storm
    sill_head_m : greatest head over a sill in the check storm
    soak_m_h : soaking rate of the base, clogging included, m/h
    spoil : settled spoil per volume cut
    findings : what was assumed
    """

    trench: Trench
    mound: MoundShape
    freeboard_m: float
    sill_head_m: float
    soak_m_h: float
    spoil: float
    findings: tuple[Finding, ...]

    def reach(self, aim_m: float) -> FootprintReach:
        """Room for the ground works on both sides of a lip laid at `aim_m` over its level."""
        return footprint_reach(
            self.trench,
            self.mound,
            self.sill_head_m + self.freeboard_m,
            self.spoil,
            aim_m,
            LEAST_MOUNDED_SHARE,
        )


def section_design(run: RunFile) -> SectionDesign:
    """Trench, mound and soaking rate of a run.

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
    base = run.section.base_width_m or DEFAULT_BASE_WIDTH_M
    depth = run.section.depth_m or DEFAULT_DEPTH_M
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
    if problems:
        raise InputRefused(problems)

    findings = []
    if not run.section.base_width_m or not run.section.depth_m:
        findings.append(
            Finding(
                "section_assumed",
                "note",
                "swales",
                "",
                f"base width {base:g} m and depth {depth:g} m: what the run file leaves open is "
                "taken as usual, not sized for the storm",
                "set section.base_width_m and section.depth_m, and compare the overflow",
            )
        )
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
        trench=Trench(base, depth, batter),
        mound=MoundShape(
            run.earthworks.berm_m, run.earthworks.mound_batter, run.earthworks.mound_crest_m
        ),
        freeboard_m=run.section.freeboard_m,
        sill_head_m=run.overflow.sill_head_m,
        soak_m_h=soak_mm_h / 1000.0,
        spoil=spoil_factor(run.earthworks.swell_pct, run.earthworks.settlement_pct),
        findings=tuple(findings),
    )
