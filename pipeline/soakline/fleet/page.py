"""The progress page: plain HTML, without scripts and without anything from elsewhere."""

import os
from datetime import UTC, datetime
from html import escape
from pathlib import Path
from urllib.parse import quote

from soakline.fleet.rows import SHOWN, Row, counts

REFRESH_S = 5
_ENDED = ("planned", "stop", "refused", "failed")
_HEADINGS = (
    "area, ha", "swales", "length, m", "capacity, m³", "cut, m³", "at stop", "cautions", "notes",
)  # fmt: skip
_STYLE = """
body { font: 15px/1.4 sans-serif; margin: 1.5rem; color: #222; background: #fff }
table { border-collapse: collapse } th, td { padding: .2rem .6rem; text-align: left }
th { border-bottom: 2px solid #777; white-space: nowrap } td { border-bottom: 1px solid #ddd; vertical-align: top }
.n { text-align: right; white-space: nowrap } .bar { display: flex; height: 1.2rem; max-width: 50rem; background: #e4e4e4 }
.planned { background: #8fc9a0 } .stop { background: #f0c267 } .refused, .failed { background: #e58a80 }
.running { background: #a9c8ec } td.s { white-space: nowrap }
"""  # noqa: E501 - rules of style, one a line


def write_page(file: Path, title: str, rows: list[Row], workers: int, ended: str) -> None:
    """Write the page anew, whole.

    Parameters
    ----------
    file : the page; its folder is there
    title : of the fleet
    rows : in the list's order
    workers : threads at work
    ended : how the run ended; empty while it goes on, and the page then loads itself anew

    Raises
    ------
    OSError
        If it cannot be written.
    """
    temporary = file.with_name(f".{file.name}.part-{os.getpid()}")
    try:
        temporary.write_text(_page(file.parent, title, rows, workers, ended), encoding="utf-8")
        temporary.replace(file)
    finally:
        temporary.unlink(missing_ok=True)


def _page(folder: Path, title: str, rows: list[Row], workers: int, ended: str) -> str:
    number = counts(rows)
    done = sum(number.get(status, 0) for status in _ENDED)
    now = datetime.now(UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
    refresh = "" if ended else f'<meta http-equiv="refresh" content="{REFRESH_S}">\n'
    state = ended or f"at work, {workers} at a time"
    parts = ", ".join(f"{count} {status}" for status, count in number.items())
    bar = "".join(
        f'<div class="{status}" style="width:{100 * number[status] / len(rows):.2f}%"></div>'
        for status in (*_ENDED, "running")
        if status in number
    )
    head = "".join(f'<th class="n">{heading}</th>' for heading in _HEADINGS)
    body = "\n".join(_row(row, folder) for row in rows)
    summary = '<p><a href="fleet.gpkg">fleet.gpkg</a>: the summary</p>\n' if ended else ""
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">\n'
        f"{refresh}<title>{escape(title)}: {done} of {len(rows)}</title>\n<style>{_STYLE}</style>"
        f"</head><body>\n<h1>{escape(title)}</h1>\n"
        f"<p><b>{done} of {len(rows)}</b> properties: {parts}. {escape(state)}; {now}.</p>\n"
        f'<div class="bar">{bar}</div>\n{summary}'
        f'<table><thead><tr><th>property</th><th>status</th>{head}<th class="n">s</th>'
        f"<th>message</th></tr></thead><tbody>\n{body}\n</tbody></table>\n</body></html>\n"
    )


def _row(row: Row, folder: Path) -> str:
    values = row.values(folder)
    name = escape(row.property_id)
    if values["plan"]:
        name = f'<a href="{escape(quote(values["plan"]))}">{name}</a>'
    figures = "".join(f'<td class="n">{_figure(key, values[key])}</td>' for key in SHOWN)
    kept = " (kept)" if values["kept"] else ""
    seconds = "" if values["seconds"] is None else f"{values['seconds']:.1f}"
    message = escape(row.message)
    if row.attempts > 1:
        message = f"attempt {row.attempts}{'; ' if message else ''}{message}"
    return (
        f'<tr><td>{name}</td><td class="s {row.status.split()[0]}">{row.status}{kept}</td>{figures}'
        f'<td class="n">{seconds}</td><td>{message}</td></tr>'
    )


def _figure(key: str, value: float | None) -> str:
    if value is None:
        return ""
    return f"{value / 1e4:,.2f}" if key == "area_m2" else f"{value:,.0f}"
