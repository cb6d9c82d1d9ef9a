"""A folder for a store, and what it tells."""

from pathlib import Path

import pytest


@pytest.fixture
def told() -> list[str]:
    return []


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "store"
