"""A sample of spoilt files; `python -m tests.hostile.fuzz` makes as many as one likes."""

from pathlib import Path

import pytest

from tests.hostile.folder import make_folder
from tests.hostile.fuzz import run_cases
from tests.hostile.readers import read_cases

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_folder(tmp_path_factory.mktemp("hostile") / "good")


def test_no_spoilt_file_brings_a_reader_down(good: Path) -> None:
    cases = list(read_cases(good, range(90), seed=3))
    assert len(cases) == 90
    assert {case.status for case in cases} == {0, 2}
    assert [case for case in cases if case.fault] == []


def test_no_spoilt_file_brings_a_command_down(good: Path) -> None:
    cases = list(run_cases(good, range(12), seed=5))
    assert len(cases) == 12
    assert [case for case in cases if case.fault] == []
