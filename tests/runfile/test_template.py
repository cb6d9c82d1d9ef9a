"""The commented run file and the list of used keys: both made from the models."""

import re

from soakline.runfile.defaults import used_keys
from soakline.runfile.load import load_run_file
from soakline.runfile.reading import plain_keys, sections
from soakline.runfile.sections import RunFile
from soakline.runfile.template import REQUIRED, run_file_template

ALIASES = {"design_years", "check_years"}


def test_the_template_loads_and_gives_all_the_defaults(tmp_path):
    file = tmp_path / "run.toml"
    file.write_text(run_file_template(), encoding="utf-8")
    run = load_run_file(file)
    plain = RunFile.model_validate(
        {"property": {"dem": "dem.tif", "boundary": "boundary.gpkg"}, "rain": {"table": "rain.csv"}}
    )
    assert run.model_dump() == plain.model_dump()


def test_the_template_with_every_mark_taken_away_still_gives_all_the_defaults(tmp_path):
    file = tmp_path / "run.toml"
    file.write_text(run_file_template(), encoding="utf-8")
    defaults = load_run_file(file).model_dump()
    given = re.sub(r"^# (\w+ = )", r"\1", run_file_template(), flags=re.MULTILINE)
    file.write_text(given, encoding="utf-8")
    run = load_run_file(file)
    assert run.model_dump() == defaults
    assert run.siting.model_fields_set >= {"max_slope_pct", "cross_tracks"}


def test_the_template_names_every_key_with_unit_and_range():
    text = run_file_template()
    for path, model in sections():
        assert f"[{'.'.join(path)}]" in text
        for name in plain_keys(model):
            mark = "" if (*path, name) in REQUIRED else "# "
            assert name in ALIASES or re.search(rf"^{mark}{name} = ", text, re.MULTILINE), name
    assert "# a number over 0 and at most 35 %\n# max_slope_pct = 15" in text


def test_used_keys_tell_what_was_given(load):
    used = {u.key: u for u in used_keys(load("[siting.setback_m]\ndam = 12"))}
    assert (used["siting.setback_m.dam"].value, used["siting.setback_m.dam"].given) == (12.0, True)
    assert (used["siting.setback_m.well"].value, used["siting.setback_m.well"].given) == (30, False)
    assert used["property.dem"].given
    assert "rain.design_years" not in used


def test_what_follows_from_another_key_is_no_default(load):
    """design_years gives design, a cover the curve number."""
    land = '[land]\ncover = "pasture-fair"\nhydrologic_group = "B"'
    used = {u.key: u for u in used_keys(load(land, rain="design_years = 20"))}
    assert (used["rain.design"].value, used["rain.design"].given) == ("20", True)
    assert (used["land.curve_number"].value, used["land.curve_number"].given) == (69, True)
    assert not used["rain.check"].given


def test_used_keys_hold_every_key_of_the_run_file(load):
    keys = [u.key for u in used_keys(load())]
    expected = [
        ".".join((*path, name))
        for path, model in sections()
        for name in plain_keys(model)
        if name not in ALIASES
    ]
    assert keys == expected
