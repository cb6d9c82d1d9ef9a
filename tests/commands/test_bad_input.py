"""Every bad input, as a user meets it: refused with status 2 and words that name file and key,
nothing written, an earlier plan untouched to the byte.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from rasterio.transform import from_origin
from shapely import LineString, Point, Polygon, box

from tests.commands.running import Run, loaded_program, run_anew, run_bound
from tests.inputs.files import NORTH_M, UTM, WEST_M, tilted_m, write_layer, write_raster

RUN_TOML = """\
[property]
name = "Hill"
dem = "dem.tif"
boundary = "boundary.gpkg"
features = "features.gpkg"

[siting]
max_slope_pct = 15

[rain]
table = "rain.csv"
"""
RAIN = "duration_min,2,10,100\n5,6,10,16\n60,23,38,62\n1440,62,105,180\n"
EARLIER = b"a plan of last week"
LAND = box(WEST_M + 10, NORTH_M - 50, WEST_M + 70, NORTH_M - 10)
TRACK = LineString([(WEST_M + 5, NORTH_M - 5), (WEST_M + 60, NORTH_M - 30)])

BOTH = ("check", "plan")
# Both commands stand on the same readers; `plan` joins as soon as its stages are there.
READING = BOTH if find_spec("soakline.stages.plan") else ("check",)

Spoil = Callable[[Path], object]


@dataclass(frozen=True)
class Bad:
    """One bad input: how a good run folder is spoilt, and what the words must name."""

    spoil: Spoil
    names: tuple[str, ...]


def run_toml(old: str, new: str) -> Spoil:
    """Change the run file."""

    def spoil(folder: Path) -> None:
        assert old in RUN_TOML
        (folder / "run.toml").write_text(RUN_TOML.replace(old, new), encoding="utf-8")

    return spoil


def rain(old: str, new: str) -> Spoil:
    """Change the rain table."""

    def spoil(folder: Path) -> None:
        assert old in RAIN
        (folder / "rain.csv").write_text(RAIN.replace(old, new), encoding="utf-8")

    return spoil


def dem(heights: np.ndarray, crs: str | None = UTM) -> Spoil:
    """Put another DEM in the place of the good one."""
    return lambda folder: write_raster(folder / "dem.tif", heights, crs=crs, nodata=-9999)


def boundary(*shapes: Polygon | LineString, crs: str | None = UTM) -> Spoil:
    """Put another boundary in the place of the good one."""

    def spoil(folder: Path) -> None:
        (folder / "boundary.gpkg").unlink()
        write_layer(folder / "boundary.gpkg", "land", list(shapes), crs=crs)

    return spoil


def content(name: str, text: str) -> Spoil:
    """Fill a file with something else."""
    return lambda folder: (folder / name).write_text(text, encoding="utf-8")


# A table of species without a windbreak.
HARDLY_ANY = (
    "species,name,group,height_m,crown_m,grown_years,bearing_years,sand,clay,wet_feet,salt,"
    "drought,source\nMalus domestica,apple,fruit,6,5,12,4,low,low,low,low,low,own\n"
)


def works(keys: str, **files: str) -> Spoil:
    """Ask for something of the earthworks, with CSV files beside the run file."""

    def spoil(folder: Path) -> None:
        text = RUN_TOML + f"[earthworks]\n{keys}\n"
        (folder / "run.toml").write_text(text, encoding="utf-8")
        for name, rows in files.items():
            (folder / f"{name}.csv").write_text(rows, encoding="utf-8")

    return spoil


def with_trees(other: Spoil) -> Spoil:
    """Spoil a run that plants trees."""

    def spoil(folder: Path) -> None:
        other(folder)
        file = folder / "run.toml"
        text = file.read_text(encoding="utf-8") + "[planting]\ntrees = true\n"
        file.write_text(text, encoding="utf-8")

    return spoil


def wind(*rows: str, keys: str = "") -> Spoil:
    """Give a table of wind, and more keys of the section on trees."""
    text = "\n".join(["from_deg,share_pct", *rows]) + "\n"
    return works(f'[planting]\nwind = "wind.csv"\n{keys}', wind=text, trees=HARDLY_ANY)


def days(*changed: tuple[int, str], count: int = 365, head: str = "") -> Spoil:
    """Give a table of daily weather in which some rows, numbered as in the file, are changed."""
    first = date(2023, 1, 1)
    rows = [head or "date,rain_mm,tmin_c,tmax_c"]
    rows += [f"{first + timedelta(days=k)},1.5,4,17" for k in range(count)]
    for row, text in changed:
        rows[row - 1] = text
    return works('[climate]\ndaily = "days.csv"', days="\n".join(rows) + "\n")


def months(old: str, new: str) -> Spoil:
    """Give a table of monthly weather with a change."""
    rows = ["month,rain_mm,wet_days,et0_mm", *(f"{month},50,6,3" for month in range(1, 13))]
    text = "\n".join(rows) + "\n"
    assert old in text
    return works('[climate]\nmonthly = "months.csv"', months=text.replace(old, new))


def species(old: str, new: str) -> Spoil:
    """Give a table of species with a change."""
    assert old in HARDLY_ANY
    keys = '[planting]\ntrees = true\nspecies = "trees.csv"'
    return works(keys, trees=HARDLY_ANY.replace(old, new))


def overlapping_blocks(folder: Path) -> None:
    """Draw two planting blocks that share half their ground."""
    (folder / "features.gpkg").unlink()
    other = moved(30.0)
    shapes = [LAND, other]
    write_layer(
        folder / "features.gpkg", "planting_blocks", shapes, mature_tree_height_m=[6.0, 8.0]
    )


def away(name: str) -> Spoil:
    """Take a file away."""
    return lambda folder: (folder / name).unlink()


def cut(name: str) -> Spoil:
    """Cut a file short, as a broken download does."""

    def spoil(folder: Path) -> None:
        whole = (folder / name).read_bytes()
        (folder / name).write_bytes(whole[: len(whole) // 2])

    return spoil


def features(layer: str, shape: Polygon | LineString | Point, **columns: list[object]) -> Spoil:
    """Put another features file in the place of the good one."""

    def spoil(folder: Path) -> None:
        (folder / "features.gpkg").unlink()
        write_layer(folder / "features.gpkg", layer, [shape], **columns)

    return spoil


def holed(cells: int) -> np.ndarray:
    """A DEM with so many nodata cells inside the boundary."""
    heights = tilted_m()
    heights[20:40, 30 : 30 + cells // 20] = -9999
    return heights


def filled(value: float) -> np.ndarray:
    """A DEM with a figure in most cells inside the boundary."""
    heights = tilted_m()
    heights[15:45, 15:65] = value
    return heights


def moved(east_m: float) -> Polygon:
    west, south, east, north = LAND.bounds
    return box(west + east_m, south, east + east_m, north)


BAD_FILES = {
    "missing DEM": Bad(away("dem.tif"), ("dem.tif: property.dem", "no such file")),
    "missing boundary": Bad(away("boundary.gpkg"), ("boundary.gpkg: property.boundary", "no such")),
    "missing features": Bad(away("features.gpkg"), ("features.gpkg: property.features", "no such")),
    "missing rain": Bad(away("rain.csv"), ("rain.csv: rain.table", "no such file")),
    "not a raster": Bad(content("dem.tif", "text"), ("dem.tif: property.dem", "not a raster")),
    "DEM cut short": Bad(cut("dem.tif"), ("dem.tif: property.dem", "damaged")),
    "boundary cut short": Bad(cut("boundary.gpkg"), ("boundary.gpkg: property.boundary",)),
    "several bands": Bad(dem(np.stack([tilted_m()] * 3)), ("dem.tif: property.dem", "3 bands")),
    "DEM without CRS": Bad(dem(tilted_m(), None), ("dem.tif: property.dem", "no CRS")),
    "nodata inside": Bad(dem(holed(60)), ("boundary.gpkg: property.boundary", "97.50 %", "99 %")),
    "all NaN": Bad(
        dem(np.full((60, 80), np.nan, np.float32)), ("dem.tif: property.dem", "no valid cell")
    ),
    "all infinite": Bad(
        dem(np.full((60, 80), np.inf, np.float32)), ("dem.tif: property.dem", "no valid cell")
    ),
    "infinite inside": Bad(
        dem(filled(np.inf)), ("boundary.gpkg: property.boundary", "% of the prop")
    ),
    "NaN inside": Bad(dem(filled(np.nan)), ("boundary.gpkg: property.boundary", "% of the prop")),
    "constant": Bad(
        dem(np.full((60, 80), 7.0, np.float32)), ("dem.tif: property.dem", "the same height, 7 m")
    ),
    "one cell": Bad(dem(tilted_m(1, 1)), ("dem.tif: property.dem", "1 x 1", "3 x 3 cells")),
    "millimetres": Bad(
        dem(tilted_m() * 1000), ("dem.tif: property.dem", "100000", "9000 m", "vertical_unit")
    ),
    "boundary outside": Bad(
        boundary(moved(5000)), ("boundary.gpkg: property.boundary", "outside the DEM", "605010.0")
    ),
    "boundary partly outside": Bad(
        boundary(moved(40)), ("boundary.gpkg: property.boundary", "50.00 %", "99 %")
    ),
    "boundary empty": Bad(boundary(), ("boundary.gpkg: property.boundary", "no polygon")),
    "boundary no polygons": Bad(
        boundary(TRACK), ("boundary.gpkg: property.boundary", "line", "polygons")
    ),
    "boundary without CRS": Bad(
        boundary(LAND, crs=None), ("boundary.gpkg: property.boundary", "no CRS")
    ),
    "negative width": Bad(
        features("tracks", TRACK, width_m=[-4.0]), ("features.gpkg", "tracks", "width_m", "-4 m")
    ),
    "block without height": Bad(
        features("planting_blocks", LAND, species=["oak"]),
        ("features.gpkg", "planting_blocks, feature 1, species", '"oak"', "botanical names"),
    ),
    "unknown species": Bad(
        with_trees(
            features(
                "planting_blocks", LAND, mature_tree_height_m=[6.0], species=["Malus domestika"]
            )
        ),
        (
            "features.gpkg",
            "planting_blocks, feature 1, species",
            '"Malus domestika"',
            "Nearest in the table: Malus domestica",
        ),
    ),
    "wind that does not sum": Bad(
        wind("0,40", "180,50"),
        ("wind.csv: planting.wind, rows 2 to 3, column share_pct", "90 %", "sum to 100 %"),
    ),
    "wind from beyond the compass": Bad(
        wind("0,50", "400,50"), ("wind.csv", "row 3, column from_deg", '"400"', "0 to 360 degrees")
    ),
    "wind from one direction twice": Bad(
        wind("0,50", "0,50"), ("wind.csv", "row 3, column from_deg", "again, as in row 2")
    ),
    "wind and no windbreak species": Bad(
        wind("0,100", keys='species = "trees.csv"'),
        ("trees.csv: planting.species, column group", '"windbreak"'),
    ),
    "no crown in a table that wind asks of": Bad(
        works(
            '[planting]\nwind = "wind.csv"\nspecies = "trees.csv"',
            wind="from_deg,share_pct\n0,100\n",
            trees=HARDLY_ANY.replace("6,5,12", "6,,12"),
        ),
        ("trees.csv: planting.species, row 2, column crown_m", "an empty cell"),
    ),
    "windbreaks too near": Bad(
        wind("0,100", keys="windbreak_every = 5"),
        ("run.toml: planting.windbreak_every", "5", "6 to 10"),
    ),
    "wind without its column": Bad(
        works('[planting]\nwind = "wind.csv"', wind="from_deg,share\n0,100\n"),
        ("wind.csv: planting.wind, heading share_pct",),
    ),
    "weather with a gap": Bad(
        days((366, "2024-01-02,1.5,4,17")),
        ("days.csv: climate.daily, row 366, column date", "2024-01-02", "2 days missing before it"),
    ),
    "weather with an empty cell": Bad(
        days((37, "2023-02-05,,4,17")),
        ("days.csv: climate.daily, row 37, column rain_mm", "an empty cell"),
    ),
    "weather of one day twice": Bad(
        days((366, "2023-12-30,1.5,4,17")),
        ("row 366, column date", "2023-12-30, repeated or out of order", "2023-12-31"),
    ),
    "weather out of order": Bad(
        days((366, "2023-01-20,1.5,4,17")),
        ("days.csv: climate.daily, row 366, column date", "2023-01-20, repeated or out of order"),
    ),
    "negative rain of a day": Bad(
        days((37, "2023-02-05,-1.5,4,17")),
        ("days.csv: climate.daily, row 37, column rain_mm", "-1.5", "mm"),
    ),
    "colder by day than by night": Bad(
        days((37, "2023-02-05,1.5,19,17")),
        ("days.csv: climate.daily, row 37, column tmin_c", "19", "no more than tmax_c, 17"),
    ),
    "weather without a column": Bad(
        days(head="date,rain_mm,tmin_c,warmest"),
        ("days.csv: climate.daily, heading tmin_c", "without its pair", "tmin_c and tmax_c"),
    ),
    "weather of less than a year": Bad(
        days(count=364), ("days.csv: climate.daily", "364 days", "at least 365 days")
    ),
    "no file of weather": Bad(
        works('[climate]\ndaily = "days.csv"'), ("days.csv: climate.daily", "no such file")
    ),
    "a month twice": Bad(
        months("\n5,50", "\n4,50"),
        ("months.csv: climate.monthly, row 6, column month", '"4" again', "each once"),
    ),
    "rain of a month on no day": Bad(
        months("\n5,50,6", "\n5,50,0"),
        ("months.csv: climate.monthly, row 6, column wet_days", "0 with 50 mm of rain"),
    ),
    "species without a crown": Bad(
        species("fruit,6,5,", "fruit,6,,"),
        ("trees.csv: planting.species, row 2, column crown_m", "an empty cell"),
    ),
    "species of no group": Bad(
        species(",fruit,", ",shrub,"),
        ("trees.csv: planting.species, row 2, column group", '"shrub"', '"fruit"'),
    ),
    "blocks that overlap": Bad(
        overlapping_blocks,
        ("features.gpkg", "planting_blocks, feature 2", "that feature 1 covers too", "overlap"),
    ),
    "unknown kind of point": Bad(
        features("swale_points", Point(WEST_M + 40, NORTH_M - 30), kind=["pondd"]),
        ("features.gpkg", "layer swale_points, feature 1, kind", '"pondd"', "Nearest valid: pond"),
    ),
    "point of no kind": Bad(
        features("swale_points", Point(WEST_M + 40, NORTH_M - 30), length_m=[5.0]),
        ("features.gpkg", "swale_points, feature 1, kind", "no value", '"organic_pit"'),
    ),
    "pond deeper than its limit": Bad(
        features("swale_points", Point(WEST_M + 40, NORTH_M - 30), kind=["pond"], depth_m=[2.0]),
        ("swale_points, feature 1, depth_m", '2 m where kind is "pond"', "from 0.1 to 1 m"),
    ),
    "basin of negative width": Bad(
        features("swale_points", Point(WEST_M + 40, NORTH_M - 30), kind=["basin"], width_m=[-1.0]),
        ("swale_points, feature 1, width_m", "-1 m", "at least 0 m"),
    ),
    "point drawn as a line": Bad(
        features("swale_points", TRACK, kind=["pond"]),
        ("features.gpkg", "layer swale_points", "line geometry", "point geometry"),
    ),
    "texture that no table has": Bad(
        features("soils", LAND, texture=["gravelly"]),
        ("features.gpkg", "soils, feature 1, texture", '"gravelly"', '"silty-clay"'),
    ),
    "rain as text": Bad(rain("38", "wet"), ("rain.csv: rain.table, row 3, column 10", '"wet"')),
    "rain with a gap": Bad(rain("38", ""), ("rain.csv: rain.table, row 3, column 10", "empty")),
    "rain falls with duration": Bad(
        rain("16", "63"), ("rain.csv: rain.table, row 3, column 100", "62 mm", "rise with duration")
    ),
    "rain falls with rarity": Bad(
        rain("38", "22"), ("rain.csv: rain.table, row 3, column 10", "22 mm", "rise with rarity")
    ),
    "no design column": Bad(rain(",10,", ",11,"), ("rain.csv: rain.design", '"10"', "2, 11, 100")),
    "unknown machine": Bad(
        works('machine = "bulldozer"'),
        ("run.toml: earthworks.machine", '"bulldozer"', '"excavator-5t"'),
    ),
    "missing machines": Bad(
        works('machines = "mine.csv"'), ("mine.csv: earthworks.machines", "no such file")
    ),
    "bucket wider than the base": Bad(
        works('machine = "excavator-21t"\n[section]\nbase_width_m = 0.5'),
        ("run.toml: section.base_width_m", "0.5 m", "0.6 m", "excavator-21t"),
    ),
    "deeper than the machine digs": Bad(
        works('machine = "hand"\n[section]\ndepth_m = 1.5'),
        ("run.toml: section.depth_m", "1.5 m", "1.2 m", "hand"),
    ),
    "missing rates": Bad(works('rates = "costs.csv"'), ("costs.csv: earthworks.rates", "no such")),
    "unknown item": Bad(
        works('rates = "r.csv"', r="item,unit,rate\ncutt,m3,4\n"),
        ("r.csv: earthworks.rates, row 2, column item", '"cutt"', 'nearest is "cut"'),
    ),
    "negative rate": Bad(
        works('rates = "r.csv"', r="item,unit,rate\ncut,m3,-4\n"),
        ("r.csv: earthworks.rates, row 2, column rate", '"-4"', "from 0", "m³"),
    ),
    "rate of another unit": Bad(
        works('rates = "r.csv"', r="item,unit,rate\ncut,t,4\n"),
        ("r.csv: earthworks.rates, row 2, column unit", '"t"', "m³"),
    ),
    "budget without a rate": Bad(
        works('rates = "r.csv"\nphase = "budget"\nbudget = 9', r="item,unit,rate\ncut,m3,\n"),
        ("r.csv: earthworks.rates", "no rate over 0", "budget"),
    ),
    "working CRS in degrees": Bad(
        run_toml('name = "Hill"', 'crs = "EPSG:4326"'), ("run.toml: property.crs", "EPSG:4326")
    ),
    "missing layer": Bad(
        run_toml('name = "Hill"', 'boundary_layer = "farm"'),
        ("boundary.gpkg: property.boundary_layer", '"farm"', '"land"'),
    ),
}

BAD_RUN_FILES = {
    "unknown key": Bad(
        run_toml("max_slope_pct", "max_slope"), ("run.toml: siting.max_slope", "max_slope_pct")
    ),
    "wrong type": Bad(run_toml("= 15", '= "15"'), ("run.toml: siting.max_slope_pct", '"15"')),
    "wrong unit": Bad(
        run_toml('name = "Hill"', 'vertical_unit = "yd"'),
        ("run.toml: property.vertical_unit", '"yd"', '"us-ft"'),
    ),
    "negative height": Bad(
        run_toml("[rain]", "[spacing]\nmature_tree_height_m = -8.0\n[rain]"),
        ("run.toml: spacing.mature_tree_height_m", "-8", " m"),
    ),
    "zero slope limit": Bad(
        run_toml("= 15", "= 0"), ("run.toml: siting.max_slope_pct", "found 0", "%")
    ),
    "phase by a column that is not there": Bad(
        works('phase = "years"'), ("features.gpkg: earthworks.phase", '"years"', '"year"')
    ),
    "budget without rates": Bad(
        works('phase = "budget"\nbudget = 100'),
        ("earthworks.phase, earthworks.rates", "without rates"),
    ),
    "rates without a budget": Bad(
        works('phase = "budget"\nrates = "r.csv"'),
        ("earthworks.phase, earthworks.budget", "without budget"),
    ),
    "year without a limit": Bad(
        works('phase = "year"'), ("earthworks.swales_per_year", "neither", "one of")
    ),
    "year with two limits": Bad(
        works('phase = "year"\nswales_per_year = 2\nhours_per_year = 40'),
        ("earthworks.hours_per_year", "hours_per_year and swales_per_year", "one of"),
    ),
    "limit without a phase": Bad(
        works("hours_per_year = 40"), ("earthworks.hours_per_year", "40", 'phase = "year" only')
    ),
    "a given swale off the property": Bad(
        features(
            "given_swales",
            LineString([(WEST_M - 90, NORTH_M - 5), (WEST_M - 60, NORTH_M - 9)]),
            swale_id=["S007"],
        ),
        ("features.gpkg", "given_swales", "S007", "m outside the property", "on the property"),
    ),
    "a state that no given swale has": Bad(
        features("given_swales", TRACK, state=["half dug"]),
        ("features.gpkg", "given_swales", "state", '"half dug"', '"built" or "fixed"'),
    ),
    "a level as built that is no number": Bad(
        works('as_built = "lips.csv"', lips="swale_id,chainage_m,level_m\nS001,0,101.2m\n"),
        ("lips.csv", "earthworks.as_built", "row 2, column level_m", '"101.2m"'),
    ),
    "no file of levels as built": Bad(
        works('as_built = "lips.csv"'), ("lips.csv", "earthworks.as_built")
    ),
    "gypsum on loam": Bad(
        run_toml("[rain]", '[soil]\namendment = "gypsum"\n[rain]'),
        ("run.toml: soil.amendment", '"gypsum" on loam', "sandy-clay, silty-clay, clay"),
    ),
    "gravel on sand": Bad(
        run_toml("[rain]", '[soil]\ntexture = "sand"\namendment = "gravel"\n[rain]'),
        ("run.toml: soil.amendment", '"gravel" on sand', "only where the soil is"),
    ),
    "mulch on a wide base": Bad(
        run_toml("[rain]", '[soil]\namendment = "mulch"\n[section]\nbase_width_m = 1.5\n[rain]'),
        ("run.toml: soil.amendment", '"mulch" on a base of at least 1.5 m', "at most 1.2 m"),
    ),
    "batter too flat for the ground": Bad(
        run_toml("[rain]", "[section]\nbatter = 4\n[rain]"),
        ("run.toml: section.batter", "4 (horizontal per 1 vertical)", "under 4.00"),
    ),
    "texture that is none": Bad(
        run_toml("[rain]", '[soil]\ntexture = "volcanic"\n[rain]'),
        ("run.toml: soil.texture", '"volcanic"', '"sandy-loam"'),
    ),
    "unknown amendment": Bad(
        run_toml("[rain]", '[soil]\namendment = "compost"\n[rain]'),
        ("run.toml: soil.amendment", '"compost"', '"gypsum"'),
    ),
    "mound flatter than the ground": Bad(
        run_toml("[rain]", "[earthworks]\nmound_batter = 7\n[rain]"),
        ("run.toml: earthworks.mound_batter", "7 on ground up to 15 %", "under 6.00"),
    ),
    "pond too short for its ramps": Bad(
        run_toml("[rain]", "[swale_points]\npond_depth_m = 1\n[rain]"),
        ("run.toml: swale_points.pond_length_m", "6 m with a pond_depth_m of 1 m", "6.3 m"),
    ),
    "pits that meet": Bad(
        run_toml(
            "[rain]", "[swale_points]\norganic_pit_every_m = 5\norganic_pit_length_m = 4\n[rain]"
        ),
        ("run.toml: swale_points.organic_pit_every_m", "5 m with pits 4 m long", "at least 6 m"),
    ),
    "pond deeper than ponds may be": Bad(
        run_toml("[rain]", "[swale_points]\npond_depth_m = 1.5\n[rain]"),
        ("run.toml: swale_points.pond_depth_m", "1.5", "from 0.1 to 1 m"),
    ),
    "not TOML": Bad(run_toml("[rain]", "[rain"), ("run.toml",)),
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A good run folder with an earlier plan in it."""
    folder = tmp_path / "farm"
    folder.mkdir()
    write_raster(folder / "dem.tif", tilted_m(), from_origin(WEST_M, NORTH_M, 1.0, 1.0))
    write_layer(folder / "boundary.gpkg", "land", [LAND])
    write_layer(folder / "features.gpkg", "tracks", [TRACK], width_m=[4.0])
    (folder / "rain.csv").write_text(RAIN, encoding="utf-8")
    (folder / "run.toml").write_text(RUN_TOML, encoding="utf-8")
    (folder / "run.gpkg").write_bytes(EARLIER)
    return folder


def held(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its bytes."""
    files = (path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


@pytest.fixture(scope="module")
def run_loaded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Run]:
    with loaded_program(tmp_path_factory.mktemp("words")) as run:
        yield run


def refused(
    run: Run, folder: Path, names: tuple[str, ...], commands: tuple[str, ...], *options: str
) -> None:
    """Run the commands and look at what they did."""
    before = held(folder.parent)
    for command in commands:
        status, stdout, stderr = run(folder.parent, [command, "farm/run.toml", *options])
        assert (command, status, stdout) == (command, 2, ""), stderr
        assert "1 problem in the input" in stderr
        assert "Traceback" not in stderr
        message = next(line for line in stderr.splitlines() if line.startswith("  1. "))
        for name in names:
            assert name in message
        assert "allowed: " in message
    assert held(folder.parent) == before


@pytest.mark.parametrize("case", BAD_RUN_FILES)
def test_a_bad_run_file_is_refused(run_loaded: Run, folder: Path, case: str) -> None:
    BAD_RUN_FILES[case].spoil(folder)
    refused(run_loaded, folder, BAD_RUN_FILES[case].names, BOTH)


@pytest.mark.parametrize("case", BAD_FILES)
def test_a_bad_file_is_refused(run_loaded: Run, folder: Path, case: str) -> None:
    BAD_FILES[case].spoil(folder)
    refused(run_loaded, folder, BAD_FILES[case].names, READING)


@pytest.mark.parametrize("case", ["DEM cut short", "boundary outside", "rain as text"])
def test_a_program_started_anew_refuses_alike(folder: Path, case: str) -> None:
    BAD_FILES[case].spoil(folder)
    refused(run_anew, folder, BAD_FILES[case].names, READING)


UNREADABLE = {
    "dem.tif": "property.dem",
    "boundary.gpkg": "property.boundary",
    "features.gpkg": "property.features",
    "rain.csv": "rain.table",
}


@pytest.mark.parametrize("name", UNREADABLE)
def test_a_file_that_may_not_be_read_is_refused(folder: Path, name: str) -> None:
    words = (f"{name}: {UNREADABLE[name]}", "cannot be read (Permission denied)")
    before = held(folder)
    (folder / name).chmod(0o000)
    status, stdout, stderr = run_bound(folder, ["check", "run.toml"])
    (folder / name).chmod(0o600)
    assert (status, stdout) == (2, "")
    assert "1 problem in the input" in stderr
    for word in words:
        assert word in stderr
    assert held(folder) == before


@pytest.mark.parametrize("out", ["absent/plan.gpkg", "rain.csv/plan.gpkg"])
def test_a_place_that_cannot_be_written_is_refused(run_loaded: Run, folder: Path, out: str) -> None:
    refused(run_loaded, folder, ("--out",), ("plan",), "--out", f"farm/{out}")


def test_the_good_folder_itself_is_accepted(run_loaded: Run, folder: Path) -> None:
    """Else every refusal above could have another reason."""
    status, _, stderr = run_loaded(folder, ["check", "run.toml"])
    assert status == 0, stderr
    assert (folder / "run.gpkg").read_bytes() == EARLIER
