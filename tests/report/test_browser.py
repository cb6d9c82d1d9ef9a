"""The report in headless Chromium; skipped where no browser is installed."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from pypdf import PdfReader

from soakline.report.files import ReportOptions, write_report

sync_api = pytest.importorskip("playwright.sync_api")
CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium or google-chrome on the path"),
]

DESKTOP, PHONE = (1280, 900), (390, 800)


@pytest.fixture(scope="module")
def chromium() -> Iterator["sync_api.Browser"]:
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


class Opened:
    """A page, and what it said and asked for while it was open."""

    def __init__(self, browser: "sync_api.Browser", path: Path, size: tuple[int, int]) -> None:
        self.page = browser.new_page(viewport={"width": size[0], "height": size[1]})
        self.errors: list[str] = []
        self.asked: list[str] = []
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on(
            "dialog", lambda dialog: (self.errors.append(dialog.message), dialog.dismiss())
        )
        self.page.on(
            "console",
            lambda told: (
                self.errors.append(told.text) if told.type in ("error", "warning") else None
            ),
        )
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())
        self.page.wait_for_function("window.Bokeh?.documents[0]?.is_idle", timeout=60_000)

    def outside(self) -> list[str]:
        """Addresses asked for, but for the file and what stands in it."""
        return [a for a in self.asked[1:] if not a.startswith(("data:", "blob:"))]


@pytest.fixture(scope="module")
def opened(chromium, report_path) -> Opened:
    return Opened(chromium, report_path, DESKTOP)


def test_it_opens_without_an_error_or_a_request(opened):
    assert opened.asked[0].startswith("file:")
    assert opened.errors == []
    assert opened.outside() == []


def test_names_with_markup_run_nothing(chromium, hostile_path):
    hostile = Opened(chromium, hostile_path, DESKTOP)
    assert hostile.errors == []
    assert hostile.outside() == []


def map_picture(page) -> bytes:
    page.wait_for_function("window.Bokeh.documents[0].is_idle")
    page.wait_for_timeout(300)
    return page.locator(".map").screenshot()


def test_the_map_switches_each_of_its_layers(opened):
    page = opened.page
    boxes = page.locator("[data-layer]")
    assert boxes.count() >= 5
    before = map_picture(page)
    for name in ("swales", "routes", "excluded", "hillshade"):
        page.locator(f"[data-layer={name}]").uncheck()
        without = map_picture(page)
        assert without != before, name
        page.locator(f"[data-layer={name}]").check()
        assert map_picture(page) == before, name


def test_the_map_zooms_by_the_keyboard(opened):
    page = opened.page
    width = "(r => r.end - r.start)(Bokeh.documents[0].get_model_by_name('map-x'))"
    whole = page.evaluate(width)
    page.get_by_role("button", name="Zoom in").focus()
    page.keyboard.press("Enter")
    assert page.evaluate(width) == pytest.approx(0.6 * whole, rel=1e-6)
    page.get_by_role("button", name="Whole property").press("Enter")
    assert page.evaluate(width) == pytest.approx(whole, rel=1e-6)


def test_each_part_is_at_the_top_once_its_name_is_clicked(opened):
    """Swales beyond the window are laid out only when they come near it."""
    page = opened.page
    for link in page.locator("nav a").all():
        link.click()
        page.wait_for_function("window.Bokeh.documents[0].is_idle")
        place = page.locator(link.get_attribute("href"))
        top = place.evaluate("e => e.getBoundingClientRect().top")
        left = page.evaluate("document.body.scrollHeight - innerHeight - scrollY")
        assert abs(top) < 2 or left < 2, link.inner_text()  # the last parts may end the page


def test_tables_sort_by_the_keyboard_and_say_so(opened):
    page = opened.page
    head = page.locator("#all-swales thead th", has_text="Full water level")
    column = head.evaluate("head => head.cellIndex")
    rows = "[...document.querySelectorAll('#all-swales tbody tr')]"
    values = f"{rows}.map(row => +row.cells[{column}].dataset.key)"
    head.locator("button").press("Enter")
    assert head.get_attribute("aria-sort") == "ascending"
    up = page.evaluate(values)
    assert up == sorted(up)
    assert len(set(up)) > 1
    head.locator("button").press("Enter")
    assert head.get_attribute("aria-sort") == "descending"
    assert page.evaluate(values) == sorted(up, reverse=True)


REPORTS = pytest.mark.parametrize("report", ["report_path", "hostile_path"])


@REPORTS
def test_nothing_is_wider_than_a_phone(chromium, report, request):
    phone = Opened(chromium, request.getfixturevalue(report), PHONE)
    assert phone.page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    assert phone.errors == []


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_axe_finds_nothing(chromium, report_path, size):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    results = axe.Axe().run(Opened(chromium, report_path, size).page)
    found = [
        (rule["id"], [node["html"][:120] for node in rule["nodes"][:3]])
        for rule in results.response["violations"]
    ]
    assert found == []
    assert len(results.response["passes"]) > 20


@REPORTS
def test_in_print_no_figure_is_cut(chromium, report, request):
    page = Opened(
        chromium, request.getfixturevalue(report), (703, 994)
    ).page  # A4 less its margins at 96 dots an inch
    page.emulate_media(media="print")
    cut = page.evaluate(
        """() => [...document.querySelectorAll("svg[role=img], img, table, dl")]
          .filter(e => e.getClientRects().length && !e.closest(".screen"))
          .filter(e => { const r = e.getBoundingClientRect();
            return r.left < -1 || r.right > innerWidth + 1 || (e.tagName !== "TABLE" &&
              !e.closest(".meanings") && r.height > 994); })
          .map(e => e.outerHTML.slice(0, 100))"""
    )
    assert cut == []
    texts = page.evaluate(
        """() => [...document.querySelectorAll("svg[role=img] text")].filter(t => {
            const [a, b] = [t.getBBox(), t.ownerSVGElement.viewBox.baseVal];
            const [right, bottom] = [a.x + a.width, a.y + a.height];
            return a.x < -1 || a.y < -1 || right > b.width + 1 || bottom > b.height + 1;
          }).map(t => t.textContent)"""
    )
    assert texts == []


def test_the_pdf_is_a4_and_tells_every_swale(plan_path, tmp_path):
    out = tmp_path / "report.html"
    assert write_report(plan_path, ReportOptions(out, pdf=True)) == (out, out.with_suffix(".pdf"))
    pdf = PdfReader(out.with_suffix(".pdf"))
    sizes = {(round(float(p.mediabox.width)), round(float(p.mediabox.height))) for p in pdf.pages}
    assert sizes == {(595, 842)}
    text = " ".join(page.extract_text() for page in pdf.pages)
    told = set(re.findall(r"Swale (S\d+)", text))
    assert len(told) == len(re.findall(r"<article ", out.read_text(encoding="utf-8"))) > 3


def test_no_swale_is_torn_by_the_end_of_a_page(plan_path, tmp_path):
    """Each stands whole on one page: none begins below another's lines or leaves some behind."""
    out = tmp_path / "report.html"
    write_report(plan_path, ReportOptions(out, pdf=True))
    pages = [page.extract_text() for page in PdfReader(out.with_suffix(".pdf")).pages]
    first = next(k for k, text in enumerate(pages) if "Group by group" in text)
    last = next(k for k, text in enumerate(pages) if "Depth of rain by duration" in text)
    of_swales = pages[first + 1 : last]
    assert len(of_swales) > 3
    assert all(re.match(r"(page \d+)?\s*(Group \d+:|Swale S\d+)", text) for text in of_swales)
