"""LandXML 1.2: horizontal alignments of lines, circular curves and clothoids.

Read are ``Alignments/Alignment`` with its ``CoordGeom``. Profiles, cross sections and cant are
passed over. Points are northing then easting, as the standard has them.

References
----------
.. [1] LandXML-1.2 schema, http://www.landxml.org/schema/LandXML-1.2/LandXML-1.2.xsd
"""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from model.alignment import Alignment, Element, Turn, element_problems, joint_problems
from model.exchange.findings import Findings
from model.problems import errors_only
from model.units import si_per

CLOSURE_M = 0.01
"""How far an element's start may lie from the end of the one before it."""

_LENGTH_UNITS = {
    "meter": 1.0,
    "millimeter": 0.001,
    "centimeter": 0.01,
    "kilometer": 1000.0,
    "foot": si_per("ft"),
    "USSurveyFoot": si_per("ft_us"),
}
_TURNS: Mapping[str, Turn] = {"cw": "right", "ccw": "left"}
_KINDS = {"Line": "tangent", "Curve": "curve", "Spiral": "spiral"}
_IGNORED = {"Feature"}

Point = tuple[float, float]


class _Unreadable(ValueError):
    """Something of an element is missing or no number; the message says what."""


@dataclass(frozen=True)
class _Drawn:
    """An element as the file draws it: metres, (easting, northing)."""

    element: Element
    start: Point
    end: Point
    heading_rad: float


def read_landxml(path: Path, metres_per_unit: float, findings: Findings) -> dict[str, Alignment]:
    """Read the alignments of a LandXML file.

    Parameters
    ----------
    path
        The existing file.
    metres_per_unit
        Metres in the unit of the project's coordinate system, which the file must share: a
        US survey foot taken for an international one moves a far point by metres.
    findings
        Where everything wrong is noted.

    Returns
    -------
    dict
        Alignments by name; those with an error are left out.

    Notes
    -----
    The direction at the start is that of the first element as drawn; each following element
    must begin where the one before ends, within 1 cm, and in its direction. Spirals other
    than clothoids, chains and irregular lines, and station equations are refused.
    """
    root = _root(path, findings)
    if root is None:
        return {}
    _check_unit(root, metres_per_unit, findings)
    points = {point.get("name", ""): (point.text or "") for point in root.iter("CgPoint")}
    alignments: dict[str, Alignment] = {}
    found = root.findall("./Alignments/Alignment")
    if not found:
        findings.error("It holds no alignment.", "Export the horizontal alignment to it.")
    for node in found:
        name = node.get("name", "")
        if name in alignments:
            findings.error(f"Alignment {name!r} is given twice.", "Keep one of them.", field=name)
        alignment = _alignment(node, name, points, metres_per_unit, findings)
        if alignment is not None:
            alignments[name] = alignment
    return alignments


def _root(path: Path, findings: Findings) -> ET.Element | None:
    try:
        root = ET.fromstring(path.read_bytes())
    except ET.ParseError as broken:
        row = broken.position[0]
        findings.error(f"It is no well-formed XML ({broken}).", "Export it again.", row=row)
        return None
    except OSError as refused:
        findings.error(f"It cannot be read ({refused.strerror}).", "Check the file.")
        return None
    for node in root.iter():
        node.tag = node.tag.rpartition("}")[2]
    if root.tag != "LandXML":
        findings.error(f"It holds {root.tag}, not LandXML.", "Export it as LandXML 1.2.")
        return None
    return root


def _check_unit(root: ET.Element, metres_per_unit: float, findings: Findings) -> None:
    units = root.find("./Units")
    name = next((node.get("linearUnit", "") for node in units), "") if units is not None else ""
    metres = _LENGTH_UNITS.get(name)
    # The two feet differ by 2 parts in a million.
    if metres is not None and math.isclose(metres, metres_per_unit, rel_tol=1e-9):
        return
    found = f"in {name!r}" if name else "not said"
    message = (
        f"Lengths are {found}; the coordinate system of project.toml counts "
        f"{metres_per_unit:.10g} m to its unit."
    )
    findings.error(message, "Export it in the project's coordinate system.", field="linearUnit")


def _alignment(
    node: ET.Element, name: str, points: Mapping[str, str], metres: float, findings: Findings
) -> Alignment | None:
    before = findings.error_count()
    if node.find("StaEquation") is not None:
        message = f"Alignment {name!r} has station equations; stations here run without a jump."
        fix = "Export it without them, and give bents.csv in those stations."
        findings.error(message, fix, field="StaEquation")
    start_station = _number(node.get("staStart", "0"))
    if start_station is None:
        message = f"Alignment {name!r} starts at {node.get('staStart')!r}."
        findings.error(message, "Expected a number.", field="staStart")
    drawn = _drawn_elements(node, name, points, metres, findings)
    if not drawn and findings.error_count() == before:
        findings.error(f"Alignment {name!r} has no element.", "Export its CoordGeom.", field=name)
    if findings.error_count() > before or start_station is None:
        return None
    first = drawn[0]
    azimuth_deg = 90.0 - math.degrees(first.heading_rad)
    elements = tuple(one.element for one in drawn)
    alignment = Alignment(name, start_station * metres, *first.start, azimuth_deg, elements)
    _check_closure(alignment, drawn, metres, findings)
    joints = joint_problems(alignment, file=findings.file, metres_per_unit=metres)
    findings.add(joints)
    return None if findings.error_count() > before else alignment


def _drawn_elements(
    node: ET.Element, name: str, points: Mapping[str, str], metres: float, findings: Findings
) -> list[_Drawn]:
    drawn = []
    nodes = [child for child in node.findall("./CoordGeom/*") if child.tag not in _IGNORED]
    for number, child in enumerate(nodes, start=1):
        label = f"Element {number} of alignment {name!r} ({child.tag})"
        if child.tag not in _KINDS:
            fix = "Export the alignment as lines, curves and clothoids."
            findings.error(f"{label} is not read.", fix, field=child.tag)
            continue
        try:
            one = _drawn_element(child, points, metres)
        except _Unreadable as unreadable:
            findings.error(f"{label}: {unreadable}.", "Export it again.", field=child.tag)
            continue
        problems = element_problems(one.element, file=findings.file, metres_per_unit=metres)
        for problem in errors_only(problems):
            findings.error(f"{label}: {problem.message}", problem.fix, field=child.tag)
        drawn.append(one)
    return drawn


def _drawn_element(node: ET.Element, points: Mapping[str, str], metres: float) -> _Drawn:
    start, end = (_point(node, tag, points, metres) for tag in ("Start", "End"))
    if node.tag == "Line":
        length = _attribute(node, "length", math.dist(start, end) / metres) * metres
        return _Drawn(Element("tangent", length), start, end, _heading(start, end))
    turn = _TURNS.get(node.get("rot", ""))
    if turn is None:
        raise _Unreadable(f"rot is {node.get('rot')!r}; expected cw or ccw")
    if node.tag == "Curve":
        return _curve(node, turn, start, end, _point(node, "Center", points, metres), metres)
    kind = node.get("spiType", "")
    if kind != "clothoid":
        raise _Unreadable(f"the spiral is {kind or 'not said'}; only clothoids are read")
    radii = [_attribute(node, key) * metres for key in ("radiusStart", "radiusEnd")]
    element = Element("spiral", _attribute(node, "length") * metres, radii[0], radii[1], turn)
    pi = _point(node, "PI", points, metres)
    return _Drawn(element, start, end, _heading(start, pi))


def _curve(
    node: ET.Element, turn: Turn, start: Point, end: Point, center: Point, metres: float
) -> _Drawn:
    side = 1.0 if turn == "left" else -1.0
    radius = _attribute(node, "radius", math.dist(start, center) / metres) * metres
    turned = side * (_heading(center, end) - _heading(center, start)) % (2.0 * math.pi)
    length = _attribute(node, "length", radius * turned / metres) * metres
    heading = _heading(center, start) + side * math.pi / 2.0
    return _Drawn(Element("curve", length, radius, radius, turn), start, end, heading)


def _heading(start: Point, end: Point) -> float:
    """Return the direction from one point to another, counter-clockwise from east [rad]."""
    return math.atan2(end[1] - start[1], end[0] - start[0])


def _point(node: ET.Element, tag: str, points: Mapping[str, str], metres: float) -> Point:
    found = node.find(tag)
    if found is None:
        raise _Unreadable(f"it has no {tag} point")
    reference = found.get("pntRef")
    text = (points.get(reference, "") if reference else found.text) or ""
    numbers = [_number(part) for part in text.split()]
    if len(numbers) < 2 or numbers[0] is None or numbers[1] is None:
        raise _Unreadable(f"{tag} is {text.strip()!r}; expected northing and easting")
    return numbers[1] * metres, numbers[0] * metres


def _attribute(node: ET.Element, key: str, default: float | None = None) -> float:
    text = node.get(key)
    if text is None:
        if default is None:
            raise _Unreadable(f"it has no {key}")
        return default
    if text.strip().upper() == "INF" and key.startswith("radius"):
        return math.inf
    number = _number(text)
    if number is None:
        raise _Unreadable(f"{key} is {text!r}; expected a number")
    return number


def _number(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def _check_closure(
    alignment: Alignment, drawn: Sequence[_Drawn], metres: float, findings: Findings
) -> None:
    """Note the first element that doesn't end where the file draws its end."""
    lengths = np.cumsum([one.element.length_m for one in drawn])
    easting, northing = alignment.position(alignment.start_station_m + lengths)
    ends = np.array([one.end for one in drawn])
    miss_m = np.hypot(easting - ends[:, 0], northing - ends[:, 1])
    off = np.flatnonzero(miss_m > CLOSURE_M)
    if off.size:
        first = int(off[0])
        message = (
            f"Element {first + 1} of alignment {alignment.key!r} ends "
            f"{miss_m[first] / metres:.3f} from where the file draws its end."
        )
        fix = "Elements must follow one another without gap or corner; export it again."
        findings.error(message, fix, field="End")
