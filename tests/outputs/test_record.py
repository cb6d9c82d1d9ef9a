"""What the run record says of the program that made a plan."""

from pathlib import Path

import pytest

from soakline import tables
from soakline.outputs.record import program_version


def test_the_program_s_version_is_of_its_code_and_its_tables(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = program_version()
    assert len(bytes.fromhex(own)) == 32
    assert program_version() == own
    monkeypatch.setattr(tables, "folder", lambda: tmp_path)
    (tmp_path / "soils.csv").write_text("texture\nloam\n", encoding="utf-8")
    other = program_version()
    (tmp_path / "soils.csv").write_text("texture\nclay\n", encoding="utf-8")
    assert len({own, other, program_version()}) == 3
