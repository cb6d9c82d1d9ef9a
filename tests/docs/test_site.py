"""The documentation site builds without a warning, and loads nothing from elsewhere."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    build = [sys.executable, "-m", "mkdocs", "build", "--strict", "--site-dir", str(folder)]
    done = subprocess.run(build, cwd=ROOT, capture_output=True, text=True, check=False, timeout=300)
    assert done.returncode == 0, done.stderr
    assert "WARNING" not in done.stderr
    return folder


def test_every_page_is_there(site: Path) -> None:
    pages = {path.relative_to(ROOT / "docs").with_suffix("") for path in ROOT.glob("docs/**/*.md")}
    built = {path.relative_to(site).with_suffix("") for path in site.rglob("*.html")}
    assert pages <= built


def test_no_page_loads_anything_from_elsewhere(site: Path) -> None:
    for page in site.rglob("*.html"):
        text = page.read_text(encoding="utf-8")
        loaded = re.findall(r'<(?:script|link|img|iframe)[^>]*(?:src|href)="([^"]+)"', text)
        away = [url for url in loaded if re.match(r"(https?:)?//", url)]
        assert away == [], page.name


def test_numbers_that_pages_show_are_tables_not_text(site: Path) -> None:
    """A table that is set badly comes out as text with bars."""
    for page in site.rglob("*.html"):
        assert "| ---" not in page.read_text(encoding="utf-8"), page.name
