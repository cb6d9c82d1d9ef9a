"""Plans made once for all tests of this folder, and copies of them made by hand."""

from collections.abc import Callable
from pathlib import Path

import pytest

from soakline.compare.comparison import Comparison
from soakline.compare.plans import compare_plans
from tests.compare.plans import Change, changed_copy, make_plans

Edited = Callable[..., Comparison]


@pytest.fixture(scope="session")
def plans(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Plan files by name, see `make_plans`."""
    return make_plans(tmp_path_factory.mktemp("valley"))


@pytest.fixture(scope="session")
def wetter(plans: dict[str, Path]) -> Comparison:
    return compare_plans(plans["usual"], plans["wetter"])


@pytest.fixture(scope="session")
def renumbered(plans: dict[str, Path]) -> Comparison:
    return compare_plans(plans["usual"], plans["without_first"])


@pytest.fixture
def edited(plans: dict[str, Path], tmp_path: Path) -> Edited:
    """Compare the usual plan with a copy in which layers were changed by hand."""

    def compare(**changes: Change) -> Comparison:
        copy = changed_copy(plans["usual"], tmp_path / "copy.gpkg", changes)
        return compare_plans(plans["usual"], copy)

    return compare
