"""Writes the report beside the plan: whole or not at all."""

from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from soakline.outputs.whole_file import refuse_unwritable, written_whole
from soakline.problems import InputProblem, InputRefused
from soakline.report.page import page_of
from soakline.report.pdf import browser, write_pdf
from soakline.report.read import read_plan

_MOST_BYTES = 20_000_000
_ENDINGS = (".html", ".htm")


@dataclass(frozen=True, slots=True)
class ReportOptions:
    """What is to be written.

    Parameters
    ----------
    out : the HTML file; None for the plan's name beside it
    pdf : a PDF of the same name too
    """

    out: Path | None = None
    pdf: bool = False


def write_report(path: Path, options: ReportOptions) -> tuple[Path, ...]:
    """Read a plan and write its report.

    Parameters
    ----------
    path : the plan
    options : ReportOptions

    Returns
    -------
    paths of what was written, the page first

    Raises
    ------
    InputRefused
        If it is no plan to report on, or a file cannot be written; then none is.
    """
    target = path.with_suffix(".html") if options.out is None else options.out
    if target.suffix.lower() not in _ENDINGS:
        found = f'the ending "{target.suffix}"' if target.suffix else "no ending"
        raise InputRefused(
            [InputProblem(str(target), "--out", found, "a file name that ends in .html")]
        )
    targets = [target, target.with_suffix(".pdf")] if options.pdf else [target]
    for one in targets:
        refuse_unwritable(one)
    program = browser() if options.pdf else ""
    plan = read_plan(path)
    with ExitStack() as all_of_them:
        page = page_of(plan)
        file = all_of_them.enter_context(written_whole(target, _MOST_BYTES))
        file.write_text(page, encoding="utf-8")
        if options.pdf:
            paper = all_of_them.enter_context(written_whole(targets[1], _MOST_BYTES))
            write_pdf(program, page, paper)
    return tuple(targets)
