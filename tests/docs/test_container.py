"""The recipe for a container copies what is there, and what the installation needs."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
LINES = (ROOT / "Containerfile").read_text(encoding="utf-8").splitlines()
COPIED = {
    name for line in LINES if line.startswith("COPY ") for name in line.split()[1:-1] or [line]
}


def test_what_is_copied_is_there() -> None:
    assert [name for name in COPIED if not (ROOT / name).exists()] == []


def test_all_that_the_wheel_is_built_of_is_copied() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wheel = project["tool"]["hatch"]["build"]["targets"]["wheel"]["only-include"]
    needed = {path.split("/")[0] for path in wheel}
    needed |= {project["project"]["readme"], *project["project"]["license-files"]}
    assert needed | {"pyproject.toml", "constraints.txt"} <= COPIED


def test_its_python_is_one_that_the_package_allows() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    least = re.fullmatch(r">=3\.(\d+)", project["requires-python"])
    base = next(re.match(r"FROM python:3\.(\d+)-slim", line) for line in LINES if "FROM" in line)
    assert least is not None
    assert base is not None
    assert int(base[1]) >= int(least[1])
