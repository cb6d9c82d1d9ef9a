"""The plan's record by ISO 19115, as XML of ISO 19139."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

GMD = "http://www.isotc211.org/2005/gmd"
GCO = "http://www.isotc211.org/2005/gco"
_CODES = "http://standards.iso.org/iso/19139/resources/gmxCodelists.xml"

Element = ET.Element


@dataclass(frozen=True, slots=True)
class PlanDescription:
    """What the file says of itself; no times, so that reruns stay the same.

    Parameters
    ----------
    title : one line, with the property's name
    description : what the plan is, in a few sentences
    lineage : which inputs and program it came from
    crs : name and code of the reference system
    extent_deg : least longitude and latitude and greatest, WGS 84; None where it is not known
    sources : each input, with its SHA-256
    parameters : each key of the run file and its value
    """

    title: str
    description: str
    lineage: str
    crs: str = ""
    extent_deg: tuple[float, float, float, float] | None = None
    sources: tuple[str, ...] = ()
    parameters: tuple[str, ...] = ()


def iso_record(describe: PlanDescription, limits: Sequence[str]) -> str:
    """The record of the whole file.

    Parameters
    ----------
    describe : PlanDescription
    limits : of its use, a sentence each

    Returns
    -------
    XML; dates, which no plan holds, are told as missing, and so is who answers for it
    """
    ET.register_namespace("gmd", GMD)
    ET.register_namespace("gco", GCO)
    root = Element(f"{{{GMD}}}MD_Metadata")
    _text(root, "language", "eng")
    _code(root, "hierarchyLevel", "MD_ScopeCode", "dataset")
    _missing(root, "contact")
    _missing(root, "dateStamp")
    _text(root, "metadataStandardName", "ISO 19115:2003/19139")
    if describe.crs:
        identifier = _nested(
            root, "referenceSystemInfo", "MD_ReferenceSystem", "referenceSystemIdentifier",
            "RS_Identifier",
        )  # fmt: skip
        _text(identifier, "code", describe.crs)
    _identified(root, describe, limits)
    _quality(root, describe)
    ET.indent(root)
    return ET.tostring(root, encoding="unicode", xml_declaration=True)


def _identified(root: Element, describe: PlanDescription, limits: Sequence[str]) -> None:
    data = _nested(root, "identificationInfo", "MD_DataIdentification")
    citation = _nested(data, "citation", "CI_Citation")
    _text(citation, "title", describe.title)
    _missing(citation, "date")
    _text(data, "abstract", describe.description)
    constraints = _nested(data, "resourceConstraints", "MD_Constraints")
    for limit in limits:
        _text(constraints, "useLimitation", limit)
    _text(data, "language", "eng")
    for topic in ("farming", "inlandWaters"):
        category = ET.SubElement(data, f"{{{GMD}}}topicCategory")
        ET.SubElement(category, f"{{{GMD}}}MD_TopicCategoryCode").text = topic
    if describe.extent_deg is not None:
        west, south, east, north = describe.extent_deg
        box = _nested(data, "extent", "EX_Extent", "geographicElement", "EX_GeographicBoundingBox")
        for name, value in (
            ("westBoundLongitude", west),
            ("eastBoundLongitude", east),
            ("southBoundLatitude", south),
            ("northBoundLatitude", north),
        ):
            side = ET.SubElement(box, f"{{{GMD}}}{name}")
            ET.SubElement(side, f"{{{GCO}}}Decimal").text = f"{value:.6f}"


def _quality(root: Element, describe: PlanDescription) -> None:
    quality = _nested(root, "dataQualityInfo", "DQ_DataQuality")
    scope = _nested(quality, "scope", "DQ_Scope")
    _code(scope, "level", "MD_ScopeCode", "dataset")
    lineage = _nested(quality, "lineage", "LI_Lineage")
    _text(lineage, "statement", describe.lineage)
    _each(lineage, "processStep", "LI_ProcessStep", describe.parameters)
    _each(lineage, "source", "LI_Source", describe.sources)


def _each(parent: Element, name: str, kind: str, texts: Iterable[str]) -> None:
    for text in texts:
        _text(_nested(parent, name, kind), "description", text)


def _nested(parent: Element, *names: str) -> Element:
    """Elements within each other; the innermost."""
    for name in names:
        parent = ET.SubElement(parent, f"{{{GMD}}}{name}")
    return parent


def _text(parent: Element, name: str, text: str) -> None:
    element = ET.SubElement(parent, f"{{{GMD}}}{name}")
    ET.SubElement(element, f"{{{GCO}}}CharacterString").text = _of_xml(text)


def _code(parent: Element, name: str, kind: str, value: str) -> None:
    code = ET.SubElement(_nested(parent, name), f"{{{GMD}}}{kind}")
    code.set("codeList", f"{_CODES}#{kind}")
    code.set("codeListValue", value)
    code.text = value


def _missing(parent: Element, name: str) -> None:
    ET.SubElement(parent, f"{{{GMD}}}{name}").set(f"{{{GCO}}}nilReason", "missing")


def _of_xml(text: str) -> str:
    """The text without the few characters that no XML may hold (XML 1.0, 2.2)."""
    return "".join(
        sign
        for sign in text
        if sign in "\t\n"
        or " " <= sign <= "\ud7ff"
        or "\ue000" <= sign <= "\ufffd"
        or sign > "\uffff"
    )
