"""LandXML as written against the schema of LandXML 1.2 (landxml.org).

The schema itself is not ours to ship: `landxml_excerpt.xsd` says of the elements that we write what
it says. Where SOAKLINE_LANDXML_XSD names a copy of it, all is held against that too.
"""

import os
from collections.abc import Callable
from copy import deepcopy
from dataclasses import replace
from pathlib import Path

import pytest
from lxml import etree
from pyproj import CRS

from soakline.setout.landxml import NAMESPACE, write_landxml
from soakline.setout.plan import SetOutPlan
from soakline.setout.read import read_setout
from tests.setout.conftest import PlanFileOf

EXCERPT = Path(__file__).with_name("landxml_excerpt.xsd")
PUBLISHED = os.environ.get("SOAKLINE_LANDXML_XSD")
LAND = {"l": NAMESPACE}

pytestmark = pytest.mark.parametrize(
    "schema", [EXCERPT, *([Path(PUBLISHED)] if PUBLISHED else [])], ids=lambda own: own.stem,
    indirect=True,
)  # fmt: skip


@pytest.fixture(scope="module")
def schema(request: pytest.FixtureRequest) -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(request.param))


@pytest.fixture(scope="module")
def written(pointed: SetOutPlan, tmp_path_factory: pytest.TempPathFactory) -> etree._Element:
    """Lips, their pegs and those of ponds, basins and pits, and a benchmark."""
    return root_of(pointed, tmp_path_factory.mktemp("landxml"))


def root_of(plan: SetOutPlan, folder: Path) -> etree._Element:
    write_landxml(plan, folder / "plan.xml")
    return etree.parse(folder / "plan.xml").getroot()


def test_a_file_of_pegs_points_and_a_benchmark_is_valid(
    schema: etree.XMLSchema, written: etree._Element
) -> None:
    schema.assertValid(written)


@pytest.mark.parametrize("crossing", ["ford", "causeway at 30", "gap"])
def test_a_file_of_crossed_swales_is_valid(
    schema: etree.XMLSchema, plan_file_with: PlanFileOf, crossing: str, tmp_path: Path
) -> None:
    schema.assertValid(root_of(read_setout(plan_file_with(crossing)), tmp_path))


def test_names_with_markup_and_a_system_without_a_code_are_valid(
    schema: etree.XMLSchema, plan: SetOutPlan, tmp_path: Path
) -> None:
    """A system that no EPSG code names is told by its WKT."""
    crs = CRS.from_proj4("+proj=tmerc +lat_0=-36 +lon_0=148.3 +x_0=5000 +y_0=5000 +ellps=GRS80")
    odd = replace(plan, name='<b a="1">&amp; ]]> é', crs_wkt=crs.to_wkt(), benchmark=None)
    root = root_of(odd, tmp_path)
    schema.assertValid(root)
    assert root.find("l:Project", LAND).get("name") == odd.name
    system = root.find("l:CoordinateSystem", LAND)
    assert "epsgCode" not in system.attrib
    assert CRS.from_wkt(system.get("ogcWktCode")) == crs


Break = Callable[[etree._Element], None]


def without(path: str, attribute: str) -> Break:
    return lambda root: root.find(path, LAND).attrib.pop(attribute)


def given(path: str, attribute: str, value: str) -> Break:
    return lambda root: root.find(path, LAND).set(attribute, value)


def told(path: str, text: str) -> Break:
    return lambda root: setattr(root.find(path, LAND), "text", text)


def emptied(path: str) -> Break:
    return lambda root: root.find(path, LAND).clear(keep_tail=True)


def last_first(path: str) -> Break:
    """The last child in the first one's place."""

    def swap(root: etree._Element) -> None:
        parent = root.find(path, LAND)
        parent.insert(0, parent[-1])

    return swap


def added(path: str, name: str) -> Break:
    return lambda root: etree.SubElement(root.find(path, LAND), f"{{{NAMESPACE}}}{name}")


def twice(path: str, attribute: str) -> Break:
    """The second of its kind takes the first one's name."""

    def name(root: etree._Element) -> None:
        first, second, *_ = root.findall(path, LAND)
        second.set(attribute, first.get(attribute))

    return name


METRIC, ALIGNMENT, SURFACE = "l:Units/l:Metric", ".//l:Alignment", ".//l:Surface"
TIN = f"{SURFACE}/l:Definition"
BREAKS: dict[str, Break] = {
    **{
        f"units without {name}": without(METRIC, name)
        for name in ("areaUnit", "linearUnit", "volumeUnit", "temperatureUnit", "pressureUnit")
    },
    "units without a kind": emptied("l:Units"),
    "metres spelt otherwise": given(METRIC, "linearUnit", "metre"),
    "an unknown angle": given(METRIC, "angularUnit", "degrees"),
    "an unknown pressure": given(METRIC, "pressureUnit", "hPa"),
    "no time": without(".", "time"),
    "no date": without(".", "date"),
    "no version": without(".", "version"),
    "a date the other way round": given(".", "date", "27.11.2026"),
    "a time without seconds": given(".", "time", "09:30"),
    "a project without a name": without("l:Project", "name"),
    "an application without a name": without("l:Application", "name"),
    "no station at the start": without(ALIGNMENT, "staStart"),
    "no length": without(ALIGNMENT, "length"),
    "no alignments": emptied("l:Alignments"),
    "the end before the start": last_first(f"{ALIGNMENT}//l:Line"),
    "four coordinates": told(f"{ALIGNMENT}//l:Start", "1 2 3 4"),
    "a comma for a point": told(".//l:CgPoint", "6000000,5 600000,5 401,25"),
    "no number": told(".//l:CgPoint", "nan nan nan"),
    "ground without a name": without(f"{ALIGNMENT}//l:ProfSurf", "name"),
    "a level without a name": without(f"{ALIGNMENT}//l:ProfAlign", "name"),
    "three numbers for station and level": told(f"{ALIGNMENT}//l:PVI", "0 401 1"),
    "a surface without a name": without(SURFACE, "name"),
    "no surfaces": emptied("l:Surfaces"),
    "a surface of no kind": without(TIN, "surfType"),
    "a kind in small letters": given(TIN, "surfType", "tin"),
    "an unknown breakline": given(f"{SURFACE}//l:Breakline", "brkType", "soft"),
    "faces before points": last_first(TIN),
    "no faces": emptied(f"{TIN}/l:Faces"),
    "no points": emptied(f"{TIN}/l:Pnts"),
    "a point without a number": without(f"{TIN}//l:P", "id"),
    "points counted from nought": given(f"{TIN}//l:P", "id", "0"),
    "a corner by name": told(f"{TIN}//l:F", "1 2 c"),
    "an element that is none": added(f"{SURFACE}/l:SourceData", "Ridges"),
    "an attribute that is none": given(SURFACE, "unit", "m"),
}


@pytest.mark.parametrize("broken", BREAKS)
def test_a_break_of_the_schema_is_found(
    schema: etree.XMLSchema, written: etree._Element, broken: str
) -> None:
    spoilt = deepcopy(written)
    BREAKS[broken](spoilt)
    assert not schema.validate(spoilt)


@pytest.mark.parametrize(
    ("path", "attribute"),
    [(".//l:CgPoint", "name"), (ALIGNMENT, "name"), (SURFACE, "name"), (f"{TIN}//l:P", "id")],
)
def test_a_name_given_twice_is_found(
    schema: etree.XMLSchema, written: etree._Element, path: str, attribute: str,
    request: pytest.FixtureRequest,
) -> None:  # fmt: skip
    if request.node.callspec.params["schema"] is not EXCERPT:
        pytest.skip("the published schema selects names without a namespace, thus none")
    spoilt = deepcopy(written)
    twice(path, attribute)(spoilt)
    assert not schema.validate(spoilt)
