"""Lips placed, fed and measured: all that does not depend on how the storms run off."""

from dataclasses import replace

from soakline.inputs.types import Inputs
from soakline.overflow.ranking import JudgedExits
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.siting.lines import identity_of
from soakline.siting.site import Placed, ways_from
from soakline.stages.draining import exits_of
from soakline.stages.ground import SurveyedGround
from soakline.stages.keeping import KeptStages
from soakline.stages.laying import Laid, lay
from soakline.stages.measuring import Measured, measure
from soakline.stages.placing import Lines, final_lines, lines_by_rule
from soakline.stages.rules import sill_rules
from soakline.terrain.condition import Terrain
from soakline.water.event import Event


def laid_out_lips(
    run: RunFile,
    inputs: Inputs,
    terrain: Terrain,
    surveyed: SurveyedGround,
    design: SectionDesign,
    event: Event,
    stages: KeptStages,
) -> tuple[Lines, Laid, Measured, JudgedExits]:
    """Place, feed and measure the lips, from the store where nothing that they depend on changed.

    Parameters
    ----------
    run, inputs, terrain, surveyed, design : of the stages before
    event : Event; rain tells only where rings open, and where lines lie if the rule asks for it
    stages : KeptStages

    Returns
    -------
    lips by the rule; those that are kept, laid and measured; their exits, judged
    """
    site, land, property_cells = surveyed.site, surveyed.land, surveyed.property_cells
    machine = inputs.works.machine
    just_placed: list[Placed] = []

    def placed_by_rule() -> Lines:
        lines, placed = lines_by_rule(run, inputs, terrain, site, design, event)
        just_placed.append(placed)
        return lines

    by_rule = stages.kept(
        "lines",
        placed_by_rule,
        # Rain tells where lines lie only where the rule asks for it.
        (
            run.spacing,
            run.rain.annual_mm,
            event if run.spacing.rule == "runoff" else None,
            machine.bend_radius_m(run.siting.min_bend_radius_m),
            machine.least_bend_m,
            machine.name,
        ),
        ("siting", "section", "terrain", "water", "stages"),
    )
    final = final_lines(by_rule, run, terrain, event, site.limits.min_length_m)

    def laid_out() -> tuple[Laid, Measured, JudgedExits]:
        if just_placed and by_rule.are_final:
            placed = replace(just_placed[0], lines=final)
        else:
            just_placed.clear()
            placed = ways_from(final, terrain, site, inputs)
        laid = lay(placed, run, inputs, terrain, site, design, land, property_cells)
        judged = exits_of(placed, terrain.ground_m, terrain.grid, sill_rules(run))
        measured = measure(laid, by_rule.interval_m, run, inputs, terrain, site, property_cells)
        return laid, measured, judged

    laid, measured, judged = stages.kept(
        "catchments",
        laid_out,
        (*identity_of(final), by_rule.interval_m),
        ("siting", "section", "terrain", "water", "overflow", "diversions", "stages"),
    )
    return by_rule, laid, measured, judged
