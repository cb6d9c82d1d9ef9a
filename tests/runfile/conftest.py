"""Run files written by tests."""

from collections.abc import Callable
from pathlib import Path

import pytest

from soakline.problems import InputProblem, InputRefused
from soakline.runfile.load import load_run_file
from soakline.runfile.sections import RunFile

REQUIRED = """
[property]
dem = "dem.tif"
boundary = "boundary.gpkg"
[rain]
table = "rain.csv"
"""


@pytest.fixture
def load(tmp_path: Path) -> Callable[..., RunFile]:
    """Load a run file made of the three required keys and what a test adds."""

    def load_text(more: str = "", rain: str = "") -> RunFile:
        file = tmp_path / "run.toml"
        file.write_text(f"{REQUIRED}{rain}\n{more}", encoding="utf-8")
        return load_run_file(file)

    return load_text


@pytest.fixture
def refused(load: Callable[..., RunFile]) -> Callable[..., list[InputProblem]]:
    """Problems of a run file that must be refused."""

    def problems(more: str = "", rain: str = "") -> list[InputProblem]:
        with pytest.raises(InputRefused) as info:
            load(more, rain)
        return info.value.problems

    return problems
