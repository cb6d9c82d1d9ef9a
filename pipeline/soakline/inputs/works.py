"""What is read of the works on every run: the machine and the owner's rates."""

from pathlib import Path

from soakline.inputs.machines import MACHINES_KEY, chosen_machine
from soakline.inputs.rates import RATES_KEY, read_rates
from soakline.inputs.types import SourceFile, WorksInputs
from soakline.problems import InputProblem, InputRefused, ProblemCollector
from soakline.runfile.sections import RunFile


def read_works(run: RunFile, sources: tuple[SourceFile, ...]) -> WorksInputs:
    """Read machine and rates.

    Parameters
    ----------
    run : the run file
    sources : the files that are read, for the record

    Raises
    ------
    InputRefused
        With the problems of both tables; also where phases are to keep to a budget and no rate is
        over 0.
    """
    problems = ProblemCollector()
    machine, rates = None, None
    with problems.collecting():
        machine = chosen_machine(run)
    with problems.collecting():
        rates = _rates(run)
    problems.raise_if_any()
    if machine is None:
        raise ValueError("a machine was refused without a problem")
    return WorksInputs(machine, rates, sources)


def works_files(run: RunFile) -> list[tuple[str, Path]]:
    """Role and path of the files that `read_works` reads, the shipped table aside."""
    named = {MACHINES_KEY: run.earthworks.machines, RATES_KEY: run.earthworks.rates}
    return [
        (key.removeprefix("earthworks."), run.resolve(name)) for key, name in named.items() if name
    ]


def _rates(run: RunFile) -> dict[str, float] | None:
    if not run.earthworks.rates:
        return None
    path = run.resolve(run.earthworks.rates)
    rates = read_rates(path)
    if run.earthworks.phase == "budget" and not any(rates.values()):
        found, allowed = "no rate over 0", 'at least one rate over 0 with phase = "budget"'
        raise InputRefused([InputProblem(str(path), RATES_KEY, found, allowed)])
    return rates
