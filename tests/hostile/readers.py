"""Spoilt files given to the readers themselves: many cases in one process that may not survive."""

import os
import shutil
import signal
import tempfile
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from pyproj import CRS

from soakline.compare.differences import differences
from soakline.compare.export import as_csv
from soakline.compare.read import read_plan
from soakline.inputs.as_built import read_as_built
from soakline.inputs.boundary import read_boundary
from soakline.inputs.defects import find_defects
from soakline.inputs.elevation import plan_elevation, read_elevation
from soakline.inputs.features import read_features
from soakline.inputs.machines import read_machines
from soakline.inputs.rain_pattern import read_rain_pattern
from soakline.inputs.rain_table import choose_columns, read_rain_table
from soakline.inputs.rates import read_rates
from soakline.inputs.species import read_species
from soakline.inputs.weather_table import read_daily_weather, read_monthly_weather
from soakline.inputs.wind_rose import read_wind_rose
from soakline.problems import InputRefused
from soakline.quiet import quiet_streams
from soakline.runfile.load import load_what_holds
from soakline.setout.csv_pegs import peg_table
from soakline.setout.read import read_setout
from tests.hostile.folder import FILES
from tests.hostile.fuzz import Case, spoilt

_LONGEST_S = 60
_BATCH = 40
_CRS = CRS.from_epsg(32755)


_TABLES: dict[str, Callable[[Path], object]] = {
    "as_built.csv": read_as_built,
    "daily.csv": read_daily_weather,
    "machines.csv": read_machines,
    "months.csv": read_monthly_weather,
    "pattern.csv": read_rain_pattern,
    "rates.csv": read_rates,
    "species.csv": read_species,
    "wind.csv": read_wind_rose,
}


def read_cases(good: Path, numbers: range, seed: int) -> Iterator[Case]:
    """Spoil a file and read it, case by case; only what has a fault tells more than that it ran."""
    with tempfile.TemporaryDirectory() as scratch:
        told = Path(scratch) / "told"
        _warm(good)
        at = numbers.start
        while at < numbers.stop:
            told.write_text("", encoding="utf-8")
            batch = range(at, min(at + _BATCH, numbers.stop))
            child = os.fork()
            if child == 0:
                _read_batch(good, batch, seed, Path(scratch), told)
            state = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
            lines = told.read_text(encoding="utf-8").splitlines()
            for line in lines:
                yield _case(line)
            at += len(lines)
            if state != 0:
                name, mutation, _ = _again(good, Path(scratch), seed, at)
                yield Case(at, name, mutation, "read", state, f"the process ended with {state}")
                at += 1


def _warm(good: Path) -> None:
    """Compile and load once what every copy needs."""
    for number, name in enumerate(FILES):
        read(good, name, number)


def _again(good: Path, scratch: Path, seed: int, number: int) -> tuple[str, str, list[str]]:
    shutil.rmtree(scratch / "run", ignore_errors=True)
    return spoilt(good, scratch / "run", seed, number)


def _case(line: str) -> Case:
    number, name, mutation, status, fault = line.split("\t", 4)
    return Case(int(number), name, mutation, "read", int(status), fault)


def _read_batch(good: Path, numbers: range, seed: int, scratch: Path, told: Path) -> None:
    status = 1
    try:
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        with told.open("w", encoding="utf-8") as lines, quiet_streams():
            for number in numbers:
                name, mutation, _ = _again(good, scratch, seed, number)
                signal.alarm(_LONGEST_S)
                result, fault = 0, ""
                try:
                    read(scratch / "run", name, number)
                except InputRefused as refused:
                    result = 2
                    fault = "" if str(refused) else "refused without a word"
                except Exception:  # noqa: BLE001 - whatever it is, it is what is looked for
                    result, fault = 1, " | ".join(traceback.format_exc().splitlines()[-7:])
                signal.alarm(0)
                lines.write(f"{number}\t{name}\t{mutation}\t{result}\t{fault}\n")
                lines.flush()
        status = 0
    finally:
        os._exit(status)


def read(folder: Path, name: str, number: int) -> None:
    """Read one file of a folder as the commands do."""
    path = folder / name
    if name == "dem.tif":
        elevation, _ = read_elevation(plan_elevation([path], None))
        find_defects(elevation)
        assert not np.isinf(elevation.dem_m).any()
    elif name == "boundary.gpkg":
        read_boundary(path, "", "", _CRS)
    elif name == "features.gpkg":
        read_features(path, _CRS)
    elif name == "rain.csv":
        choose_columns(read_rain_table(path), "10", "100", str(path))
    elif name in _TABLES:
        _TABLES[name](path)
    elif name == "run.toml":
        run, problems = load_what_holds(path)
        if problems or run is None:
            raise InputRefused(problems)
    elif number % 2:
        peg_table(read_setout(path))
    else:
        plan = read_plan(path)
        if number % 5 == 0:  # it takes ten times as long as the reading
            as_csv(differences(plan, read_plan(folder / "good.gpkg")))
