"""The table for reading, and as JSON."""

import json
from collections.abc import Sequence
from dataclasses import asdict

from soakline.verify.line import Line

_WORD = {True: "yes", False: "NO", None: "-"}


def as_text(lines: Sequence[Line]) -> str:
    """Lines as a table under headings, then how many hold."""
    rows = [("", "what", "allowed", "found", "holds")]
    rows += [(own.group, own.what, own.allowed, own.found, _WORD[own.holds]) for own in lines]
    wide = [max(len(row[i]) for row in rows) for i in range(4)]
    text = [
        "  ".join([*(cell.ljust(width) for cell, width in zip(row[:4], wide, strict=True)), row[4]])
        for row in rows
    ]
    fails = [own for own in lines if own.holds is False]
    measured = sum(own.holds is not None for own in lines)
    end = f"{measured - len(fails)} of {measured} hold"
    if fails:
        end += "; these do not: " + "; ".join(f"{own.group}: {own.what}" for own in fails)
    return "\n".join([*text, "", end])


def as_json(lines: Sequence[Line]) -> str:
    """Lines as one JSON object: what, allowed, found and holds of each, and whether all hold."""
    holds = all(own.holds is not False for own in lines)
    return json.dumps(
        {"holds": holds, "lines": [asdict(own) for own in lines]}, indent=1, ensure_ascii=False
    )
