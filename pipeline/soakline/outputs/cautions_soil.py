"""Findings on how fast the bases soak, and on what they are treated with."""

from collections import Counter
from collections.abc import Iterator

import numpy as np

from soakline.findings import Finding
from soakline.outputs.designed import Designed

# Lowest soaking rate that a base may be counted on for: 1e-6 m/s (Buckinghamshire drainage
# standard).
RELIABLE_SOAK_MM_H = 3.6
_TEST_PITS = "test the soil in pits on site before building; expect water to stand"


def soil_findings(plan: Designed) -> Iterator[Finding]:
    """What is to be said of the soil: once where all swales soak alike, else swale by swale."""
    yield from _on_soaking(plan)
    yield from _on_amendment(plan)


def _on_soaking(plan: Designed) -> Iterator[Finding]:
    of_run_file = plan.design.soak_m_h(plan.design.soil)
    soak = plan.figures.soak_m_h
    alike = bool(np.all(soak == of_run_file))
    for i, rate in enumerate([of_run_file] if alike else soak.tolist()):
        if 1000.0 * rate < RELIABLE_SOAK_MM_H:
            on = "" if alike else f" on {plan.figures.texture[i]}"
            yield Finding(
                "soaking_not_reliable",
                "caution",
                "swales",
                "" if alike else plan.placed.lines[i].swale_id,
                f"the base soaks {1000.0 * rate:.2g} mm/h{on}, under {RELIABLE_SOAK_MM_H:g} mm/h: "
                "soaking is not to be relied on",
                _TEST_PITS,
            )


def _on_amendment(plan: Designed) -> Iterator[Finding]:
    name = plan.run.soil.amendment
    if name == "none" or not plan.figures.texture:
        return
    used = [plan.design.on(texture).amendment for texture in plan.figures.texture]
    treated = [own for own in used if own.name == name]
    if treated:
        gain, layer_m = treated[0].soak_factor, treated[0].layer_m
        dig = (
            f" Its layer of {layer_m:g} m lies below the base of this plan: dig that much deeper"
            if layer_m
            else ""
        )
        only_clay = ": gypsum helps dispersive (sodic) clay only" if name == "gypsum" else ""
        yield Finding(
            "amended_base",
            "caution",
            "swales",
            "",
            f"{len(treated)} of {len(used)} swales are sized as if the base, treated ({name}), "
            f"soaked {gain:g} times as fast, which is common practice and not measured here.{dig}",
            f"test the soil before{only_clay}, and again in pits once the base is treated; it "
            "wears off: renew it, or plan without",
        )
    without = Counter(
        texture for texture, own in zip(plan.figures.texture, used, strict=True) if own.name != name
    )
    if without:
        soils = ", ".join(f"{count} on {texture}" for texture, count in without.items())
        yield Finding(
            "amendment_left_out",
            "note",
            "swales",
            "",
            f"{name} is no use on some of the soils: {without.total()} of {len(used)} swales go "
            f"without ({soils})",
            "plan them with an amendment of their own in a second run, if they need one",
        )
