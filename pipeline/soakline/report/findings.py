"""Findings of a plan, by severity and code, and beside the swale that each concerns."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

SEVERITIES = ("stop", "caution", "note")
_OWN_ID = {
    "overflow_routes": "route_id",
    "spillways": "spillway_id",
    "crossings": "crossing_id",
    "diversions": "diversion_id",
    "pegs": "peg_id",
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding.

    Parameters
    ----------
    code, severity, message, advice : as the plan has them
    feature : id of what it is about; empty for the plan
    swale : that it stands beside; empty where it concerns none
    """

    code: str
    severity: str
    message: str
    advice: str
    feature: str
    swale: str


@dataclass(frozen=True, slots=True)
class Kind:
    """Findings of one code and severity, with what to do about them."""

    code: str
    severity: str
    advice: tuple[str, ...]
    findings: tuple[Finding, ...]

    @property
    def title(self) -> str:
        return self.code.replace("_", " ").capitalize()

    @property
    def anchor(self) -> str:
        return f"finding-{self.severity}-{self.code}"

    @property
    def general(self) -> tuple[Finding, ...]:
        """Those that stand beside no swale."""
        return tuple(own for own in self.findings if not own.swale)

    @property
    def swales(self) -> tuple[str, ...]:
        """Swales that they stand beside, each once."""
        return tuple(dict.fromkeys(own.swale for own in self.findings if own.swale))


def kinds_of(layers: Mapping[str, pd.DataFrame]) -> tuple[Kind, ...]:
    """All findings, the gravest first, within that in the plan's order."""
    swales = set(layers["swales"]["swale_id"].astype(str))
    owner = {
        layer: dict(zip(layers[layer][own].astype(str), layers[layer]["swale_id"], strict=True))
        for layer, own in _OWN_ID.items()
    }
    found: dict[tuple[str, str], list[Finding]] = {}
    table = layers["findings"].fillna("").astype(str)
    for row in table.itertuples():
        feature = str(row.feature_id)
        swale = str(owner.get(str(row.layer), {}).get(feature, feature))
        finding = Finding(
            str(row.code), str(row.severity), str(row.message), str(row.advice), feature,
            swale if swale in swales else "",
        )  # fmt: skip
        found.setdefault((finding.severity, finding.code), []).append(finding)
    ordered = sorted(found.items(), key=lambda item: SEVERITIES.index(item[0][0]))
    return tuple(
        Kind(code, severity, tuple(dict.fromkeys(f.advice for f in own if f.advice)), tuple(own))
        for (severity, code), own in ordered
    )


def by_swale(kinds: tuple[Kind, ...]) -> dict[str, list[tuple[Kind, Finding]]]:
    """Findings that stand beside each swale, the gravest first."""
    found: dict[str, list[tuple[Kind, Finding]]] = {}
    for kind in kinds:
        for own in kind.findings:
            if own.swale:
                found.setdefault(own.swale, []).append((kind, own))
    return found
