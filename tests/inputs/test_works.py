"""Tables of machines and rates: read as they stand, refused by file, row and column."""

from pathlib import Path

import pytest

from soakline.inputs.machines import COLUMNS, read_machines
from soakline.inputs.quantity_items import UNITS, rates_template
from soakline.inputs.rates import read_rates
from soakline.inputs.read import read_rain_and_works
from soakline.problems import InputRefused
from tests.inputs.test_read import Heard, run_file

GOOD = "digger,0.3 0.6,2.5,4,3,12,10,7,offer of the contractor"


def machines(folder: Path, *rows: str) -> Path:
    path = folder / "machines.csv"
    path.write_text("\n".join([",".join(COLUMNS), *rows]) + "\n", encoding="utf-8")
    return path


def rates(folder: Path, *rows: str) -> Path:
    path = folder / "rates.csv"
    path.write_text("\n".join(["item,unit,rate", *rows]) + "\n", encoding="utf-8")
    return path


def test_machines_are_read_with_widths_in_order(tmp_path: Path) -> None:
    read = read_machines(machines(tmp_path, GOOD.replace("0.3 0.6", "0.6  0.3")))
    machine = read["digger"]
    assert machine.bucket_widths_m == (0.3, 0.6)
    assert (machine.dig_depth_m, machine.reach_m, machine.least_bend_m) == (2.5, 4.0, 3.0)
    assert [machine.hourly_m3(own) for own in ("sand", "loam", "clay")] == [12.0, 10.0, 7.0]
    assert machine.source == "offer of the contractor"


@pytest.mark.parametrize(
    ("row", "column", "found"),
    [
        (GOOD.replace("0.3 0.6", "0.3;0.6"), "bucket_widths_m", '"0.3;0.6"'),
        (GOOD.replace("0.3 0.6", ""), "bucket_widths_m", "an empty cell"),
        (GOOD.replace(",2.5,", ",-2.5,"), "dig_depth_m", '"-2.5"'),
        (GOOD.replace(",4,", ",far,"), "reach_m", '"far"'),
        (GOOD.replace(",7,", ",0,"), "clayey_m3_h", '"0"'),
        (GOOD.replace(",12,", ",1e999,"), "sandy_m3_h", '"1e999"'),
        (GOOD.replace("digger", ""), "machine", "an empty cell"),
    ],
)
def test_a_machine_that_cannot_be_used_is_refused(
    tmp_path: Path, row: str, column: str, found: str
) -> None:
    with pytest.raises(InputRefused) as refused:
        read_machines(machines(tmp_path, GOOD.replace("digger", "other"), row))
    (problem,) = refused.value.problems
    assert problem.file == str(tmp_path / "machines.csv")
    assert problem.key == f"earthworks.machines, row 3, column {column}"
    assert problem.found == found


def test_rates_are_read_in_plain_or_raised_units_and_blanks_are_none(tmp_path: Path) -> None:
    path = rates(tmp_path, "cut,m3,4.5", "bare earth to seed,m²,0", "pegs,number,", "# a comment")
    assert read_rates(path) == {"cut": 4.5, "bare earth to seed": 0.0}


def test_the_template_holds_every_item_and_no_figure(tmp_path: Path) -> None:
    path = tmp_path / "rates.csv"
    path.write_text(rates_template(), encoding="utf-8")
    assert read_rates(path) == {}
    filled = rates_template().replace(",\n", ",2\n").replace("number,2", "number,3")
    path.write_text(filled, encoding="utf-8")
    assert list(read_rates(path)) == list(UNITS)


def test_every_bad_rate_is_told_at_once(tmp_path: Path) -> None:
    path = rates(
        tmp_path, "cuts,m³,4", "cut,m,4", "lip,m,-1", 'pegs,number,"1,5"', "cut,m³,2", "sill,m,x"
    )
    with pytest.raises(InputRefused) as refused:
        read_rates(path)
    assert [
        (p.key.removeprefix("earthworks.rates, "), p.found) for p in refused.value.problems
    ] == [
        ("row 2, column item", '"cuts"'),
        ("row 3, column unit", '"m"'),
        ("row 4, column rate", '"-1"'),
        ("row 5, column rate", '"1,5"'),
        ("row 6, column item", '"cut" again'),
        ("row 7, column rate", '"x"'),
    ]
    assert 'The nearest is "cut".' in refused.value.problems[0].mend
    assert "point" in refused.value.problems[3].mend


@pytest.mark.parametrize(
    ("head", "where"),
    [("item,unit", "heading rate"), ("item,unit,rate,rate", "heading rate"), ("a;b;c", "row 1")],
)
def test_a_table_without_its_columns_is_refused(tmp_path: Path, head: str, where: str) -> None:
    path = tmp_path / "rates.csv"
    path.write_text(f"{head}\ncut,m³\n", encoding="utf-8")
    with pytest.raises(InputRefused) as refused:
        read_rates(path)
    assert refused.value.problems[0].key == f"earthworks.rates, {where}"


def test_tables_are_read_beside_the_rain_and_recorded(tmp_path: Path) -> None:
    machines(tmp_path, GOOD)
    rates(tmp_path, "cut,m³,4")
    keys = {"machine": "digger", "machines": "machines.csv", "rates": "rates.csv"}
    run = run_file(tmp_path, keys={"earthworks": keys})
    assert [key for key, _ in run.input_files()][-2:] == ["earthworks.machines", "earthworks.rates"]
    _, works = read_rain_and_works(run, Heard())
    assert works.machine.name == "digger"
    assert works.rates == {"cut": 4.0}
    assert [source.role for source in works.sources] == ["machines", "rates"]


def test_problems_of_rain_and_works_are_told_together(tmp_path: Path) -> None:
    run = run_file(tmp_path, keys={"earthworks": {"machine": "mole", "rates": "rates.csv"}})
    (tmp_path / "rain.csv").unlink()
    with pytest.raises(InputRefused) as refused:
        read_rain_and_works(run, Heard())
    keys = [problem.key for problem in refused.value.problems]
    assert keys == ["rain.table", "earthworks.machine", "earthworks.rates"]


def test_a_column_of_phases_without_a_features_file_is_told_with_the_run_file(
    tmp_path: Path,
) -> None:
    run = run_file(tmp_path, keys={"earthworks": {"phase": "stage"}})
    with pytest.raises(InputRefused) as refused:
        read_rain_and_works(run, Heard())
    (problem,) = refused.value.problems
    assert (problem.file, problem.key) == (str(run.file), "earthworks.phase")
