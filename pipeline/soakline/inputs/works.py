"""Read of the works on every run: machine, rates, levels as built, species, weather, wind."""

from collections.abc import Mapping
from pathlib import Path

from soakline.inputs.as_built import AS_BUILT_KEY, AsBuilt, read_as_built
from soakline.inputs.given_phases import no_layer, read_phases
from soakline.inputs.machines import MACHINES_KEY, chosen_machine
from soakline.inputs.rates import RATES_KEY, read_rates
from soakline.inputs.species import SPECIES_KEY, Species, chosen_species
from soakline.inputs.types import SourceFile, WorksInputs
from soakline.inputs.weather_table import DAILY_KEY, MONTHLY_KEY, WeatherTable, chosen_weather
from soakline.inputs.wind_rose import WIND_KEY, WindRose, read_wind_rose
from soakline.problems import InputProblem, InputRefused, ProblemCollector
from soakline.runfile.sections import RunFile
from soakline.runfile.works_sections import PHASE_LIMITS


def read_works(run: RunFile, sources: tuple[SourceFile, ...]) -> WorksInputs:
    """Read machine, rates, the survey of what was dug, species, weather and wind.

    Parameters
    ----------
    run : the run file
    sources : the files that are read, for the record

    Raises
    ------
    InputRefused
        With the problems of all tables; also where phases are to keep to a budget and no rate is
        over 0, or windbreaks are to be chosen and no species is one.
    """
    problems = ProblemCollector()
    machine, rates, as_built = None, None, None
    species: tuple[Species, ...] = ()
    phases: Mapping[str, int] | None = None
    weather: WeatherTable | None = None
    wind: WindRose | None = None
    with problems.collecting():
        machine = chosen_machine(run)
    with problems.collecting():
        rates = _rates(run)
    with problems.collecting():
        as_built = _as_built(run)
    with problems.collecting():
        species = chosen_species(run)
    with problems.collecting():
        phases = _phases(run)
    with problems.collecting():
        weather = chosen_weather(run)
    with problems.collecting():
        wind = _wind(run, species)
    problems.raise_if_any()
    if machine is None:
        raise ValueError("a machine was refused without a problem")
    return WorksInputs(machine, rates, as_built, species, phases, weather, wind, sources)


def works_files(run: RunFile) -> list[tuple[str, Path]]:
    """Role and path of the files that `read_works` reads, the shipped table aside."""
    keys = run.earthworks
    named = {
        MACHINES_KEY: keys.machines,
        RATES_KEY: keys.rates,
        AS_BUILT_KEY: keys.as_built,
        SPECIES_KEY: run.planting.species,
        DAILY_KEY: run.climate.daily,
        MONTHLY_KEY: run.climate.monthly,
        WIND_KEY: run.planting.wind,
    }
    return [(key.partition(".")[2], run.resolve(name)) for key, name in named.items() if name]


def _as_built(run: RunFile) -> AsBuilt | None:
    named = run.earthworks.as_built
    return read_as_built(run.resolve(named)) if named else None


def _phases(run: RunFile) -> Mapping[str, int] | None:
    column, features = run.earthworks.phase, run.property.features
    if column in PHASE_LIMITS:
        return None
    if not features:
        raise InputRefused([no_layer(str(run.file), column)])
    return read_phases(run.resolve(features), column)


def _wind(run: RunFile, species: tuple[Species, ...]) -> WindRose | None:
    if not run.planting.wind:
        return None
    rose = read_wind_rose(run.resolve(run.planting.wind))
    # A table that was refused is told as such, not as one without windbreaks.
    if species and not any(own.group == "windbreak" for own in species):
        file = str(run.resolve(run.planting.species))
        found, allowed = (
            'no row of the group "windbreak"',
            f"one at least where {WIND_KEY} is given",
        )
        raise InputRefused([InputProblem(file, f"{SPECIES_KEY}, column group", found, allowed)])
    return rose


def _rates(run: RunFile) -> dict[str, float] | None:
    if not run.earthworks.rates:
        return None
    path = run.resolve(run.earthworks.rates)
    rates = read_rates(path)
    if run.earthworks.phase == "budget" and not any(rates.values()):
        found, allowed = "no rate over 0", 'at least one rate over 0 with phase = "budget"'
        raise InputRefused([InputProblem(str(path), RATES_KEY, found, allowed)])
    return rates
