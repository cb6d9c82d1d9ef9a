"""`soakline check`: everything that `plan` would read and check, and no plan."""

import json
from pathlib import Path

from typer import echo

from soakline.command.statuses import DONE
from soakline.problems import ProblemCollector
from soakline.runfile.load import load_what_holds
from soakline.stages.progress import Progress


def check_command(run_file: Path, as_json: bool, progress: Progress) -> int:
    """Check a run file and all files that it names; print what was understood.

    Parameters
    ----------
    run_file : the run file
    as_json : print one JSON object instead of a table
    progress : told of what is read

    Returns
    -------
    exit status: 0 done

    Raises
    ------
    InputRefused
        With every problem of the run file and, where its keys tell how to read them, of the files
        that it names.
    """
    run, problems = load_what_holds(run_file)
    collector = ProblemCollector(problems)
    if run is None:
        collector.raise_if_any()
        raise ValueError(f"{run_file} was refused without a problem")
    # Loading what reads rasters and vectors takes a second: bad run files are told of before.
    from soakline.command.understood import as_text, understood  # noqa: PLC0415
    from soakline.inputs.planting_blocks import check_blocks  # noqa: PLC0415
    from soakline.inputs.read import read_inputs  # noqa: PLC0415
    from soakline.inputs.survey import survey  # noqa: PLC0415
    from soakline.section.design import section_design  # noqa: PLC0415
    from soakline.section.soils import textures_on  # noqa: PLC0415

    with collector.collecting():
        inputs = read_inputs(run, progress)
        with collector.collecting():
            check_blocks(run, inputs.features, inputs.works.species)
        section_design(run, textures_on(inputs.features.soils, inputs.property.area))
    collector.raise_if_any()
    facts = understood(run, inputs, survey(run))
    echo(json.dumps(facts, indent=2, ensure_ascii=False) if as_json else as_text(facts))
    return DONE
