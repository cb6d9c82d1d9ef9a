"""The reference pages say what the program does today."""

import ast
import importlib.util
import re
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

import soakline
from soakline.findings import CODES

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = ("run-file.md", "layers.md", "findings.md", "benchmarks.md", "legend.svg")
WRITTEN = sorted([*ROOT.glob("*.md"), *DOCS.rglob("*.md")])


@pytest.fixture(scope="module")
def make_pages() -> ModuleType:
    """The script that writes the pages."""
    spec = importlib.util.spec_from_file_location("make_pages", DOCS / "make_pages.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", PAGES)
def test_page_is_what_the_program_would_write_today(make_pages: ModuleType, name: str) -> None:
    assert tuple(make_pages.PAGES) == PAGES
    kept = (DOCS / name).read_text(encoding="utf-8")
    assert kept == make_pages.PAGES[name](), f"docs/{name} is stale: run `make docs`"


def test_the_page_of_benchmarks_says_what_limits_each_stage(make_pages: ModuleType) -> None:
    limits = make_pages.benchmarks.__globals__["LIMITS"]
    sources = (ROOT / "pipeline" / "soakline" / "stages").glob("*.py")
    told = {
        name
        for source in sources
        for name in re.findall(r'progress\.stage\("([^"]+)"', source.read_text(encoding="utf-8"))
    }
    assert len(told) > 8
    assert told <= set(limits)


def _codes_in(source: Path) -> Iterator[str]:
    """First words of calls that make findings; a part that is only known at run time is `*`."""
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
            continue
        if node.func.id not in ("Finding", "_note", "_caution", "caution", "_swale", "_of", "on"):
            continue
        # `_swale` takes plan and number of the swale first, `_of` its line.
        first = node.args[{"_swale": 2, "_of": 1}.get(node.func.id, 0)]
        if isinstance(first, ast.Constant):
            yield str(first.value)
        elif isinstance(first, ast.JoinedStr):
            yield "".join(
                str(part.value) if isinstance(part, ast.Constant) else "*" for part in first.values
            )


def test_list_of_codes_holds_every_code_that_the_program_makes_and_no_other() -> None:
    package = Path(soakline.__file__).parent
    made = {code for source in package.rglob("*.py") for code in _codes_in(source)}
    patterns = [re.compile(code.replace("*", "[a-z_]+")) for code in made]
    listed = set(CODES)
    assert {c for c in made if "*" not in c} - listed == set()
    assert {c for c in listed if not any(p.fullmatch(c) for p in patterns)} == set()
    assert all(
        severity in ("note", "caution", "stop")
        for severities, _ in CODES.values()
        for severity in severities.split(", ")
    )


@pytest.mark.parametrize("written", WRITTEN, ids=lambda path: path.name)
def test_links_between_pages_lead_somewhere(written: Path) -> None:
    text = written.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", text):
        if "://" not in target:
            assert (written.parent / target).exists(), f"{written.name} links to {target}"


def test_every_source_cited_by_key_is_in_the_references() -> None:
    package = Path(soakline.__file__).parent
    cited = {
        key
        for source in package.rglob("*.py")
        for key in re.findall(r"\[([A-Z]\w+)\]_", source.read_text(encoding="utf-8"))
    }
    assert cited
    listed = set(
        re.findall(r"^- \*\*(\S+)\*\*:", (DOCS / "references.md").read_text(), re.MULTILINE)
    )
    assert cited - listed == set()
