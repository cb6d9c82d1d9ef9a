"""The report on paper, laid out by WeasyPrint: no browser is needed."""

from pathlib import Path

from soakline.problems import InputProblem, InputRefused


def write_pdf(page: str, path: Path) -> None:
    """Lay a page out on A4.

    Parameters
    ----------
    page : HTML that needs nothing else
    path : the PDF

    Raises
    ------
    InputRefused
        If the system has no Pango, which WeasyPrint draws text with.
    """
    try:
        from weasyprint import HTML, URLFetcher  # noqa: PLC0415 - needs a library of the system
    except OSError as error:
        found = "no Pango on this system, which lays text out"
        allowed = "Pango 1.44 or later (packages pango, or libpango-1.0-0 and libpangoft2-1.0-0)"
        mend = "Install it, or print the HTML file from a browser."
        raise InputRefused([InputProblem("--pdf", "", found, allowed, mend)]) from error
    # What stands in the page itself is loaded, and nothing else.
    fetcher = URLFetcher(allowed_protocols=("data",), fail_on_errors=True)
    HTML(string=page, url_fetcher=fetcher).write_pdf(path, pdf_tags=True)
