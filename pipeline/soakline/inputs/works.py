"""What is read of the works on every run: the machine, the owner's rates, species to plant."""

from pathlib import Path

from soakline.inputs.machines import MACHINES_KEY, chosen_machine
from soakline.inputs.rates import RATES_KEY, read_rates
from soakline.inputs.species import SPECIES_KEY, Species, chosen_species
from soakline.inputs.types import SourceFile, WorksInputs
from soakline.problems import InputProblem, InputRefused, ProblemCollector
from soakline.runfile.sections import RunFile


def read_works(run: RunFile, sources: tuple[SourceFile, ...]) -> WorksInputs:
    """Read machine, rates and species.

    Parameters
    ----------
    run : the run file
    sources : the files that are read, for the record

    Raises
    ------
    InputRefused
        With the problems of all tables; also where phases are to keep to a budget and no rate is
        over 0.
    """
    problems = ProblemCollector()
    machine, rates = None, None
    species: tuple[Species, ...] = ()
    with problems.collecting():
        machine = chosen_machine(run)
    with problems.collecting():
        rates = _rates(run)
    with problems.collecting():
        species = chosen_species(run)
    problems.raise_if_any()
    if machine is None:
        raise ValueError("a machine was refused without a problem")
    return WorksInputs(machine, rates, species, sources)


def works_files(run: RunFile) -> list[tuple[str, Path]]:
    """Role and path of the files that `read_works` reads, the shipped table aside."""
    named = {
        MACHINES_KEY: run.earthworks.machines,
        RATES_KEY: run.earthworks.rates,
        SPECIES_KEY: run.planting.species,
    }
    return [(key.partition(".")[2], run.resolve(name)) for key, name in named.items() if name]


def _rates(run: RunFile) -> dict[str, float] | None:
    if not run.earthworks.rates:
        return None
    path = run.resolve(run.earthworks.rates)
    rates = read_rates(path)
    if run.earthworks.phase == "budget" and not any(rates.values()):
        found, allowed = "no rate over 0", 'at least one rate over 0 with phase = "budget"'
        raise InputRefused([InputProblem(str(path), RATES_KEY, found, allowed)])
    return rates
