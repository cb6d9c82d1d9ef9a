"""Tables are found in a checkout and in an installed wheel."""

import shutil
from pathlib import Path

import pytest

from soakline import tables


def test_tables_of_a_checkout_are_found():
    assert tables.table("curve_numbers.csv").is_file()
    assert tables.curve_numbers()["pasture-fair"]["B"] == 69


def test_tables_inside_the_package_come_first(tmp_path, monkeypatch):
    package = tmp_path / "site-packages" / "soakline"
    shutil.copytree(tables.folder(), package / "config")
    monkeypatch.setattr(tables, "_PACKAGE", package)
    assert tables.folder() == package / "config"
    assert tables.rows("curve_numbers.csv")[0]["cover"]


def test_a_table_that_does_not_ship_is_named():
    with pytest.raises(FileNotFoundError, match=r"none\.csv"):
        tables.table("none.csv")


def test_every_table_ships_in_the_wheel():
    """The build maps the whole folder; a table elsewhere would be missing after installation."""
    settings = Path(tables.folder().parent / "pyproject.toml")
    assert '"config" = "soakline/config"' in settings.read_text(encoding="utf-8")
