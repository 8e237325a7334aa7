"""Alignments read from LandXML, against a real line drawn by another program."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from model.exchange.findings import Findings
from model.exchange.landxml import read_landxml
from model.units import si_per
from tests.model.exchange.folders import PROJECT, a_folder, place, swapped, the_error, the_job

STATION_LINE = Path(__file__).parents[2] / "data" / "landxml" / "station_line.xml"
"""From the public test data of buildingSMART's IFC 4.x implementers' forum, test STN01."""


def read(path: Path, metres: float = 1.0):
    findings = Findings(path.name)
    return read_landxml(path, metres, findings), findings.problems


def spoilt(where: Path, old: str, new: str) -> Path:
    text = STATION_LINE.read_text(encoding="utf-8-sig")
    assert old in text
    path = where / "alignment.xml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


def test_a_real_line_closes_on_the_points_its_author_drew():
    """The end of each element as drawn in the file, northing first."""
    (line,), problems = (list(read(STATION_LINE)[0].values()), read(STATION_LINE)[1])
    assert problems == []
    assert [e.kind for e in line.elements] == [
        "tangent", "spiral", "curve", "spiral", "tangent", "spiral", "curve", "spiral", "tangent",
    ]  # fmt: skip
    assert line.start_station_m == -153.1
    assert line.length_m == pytest.approx(1029.3720712725219, abs=1e-9)
    lengths = np.cumsum([element.length_m for element in line.elements])
    easting, northing = line.position(line.start_station_m + lengths)
    ends = [
        node.text.split() for node in ET.parse(STATION_LINE).iter() if node.tag.endswith("}End")
    ]
    drawn = np.array(ends, dtype=float)
    assert np.hypot(northing - drawn[:, 0], easting - drawn[:, 1]).max() < 1e-5


def test_turns_are_left_for_counter_clockwise():
    line = read(STATION_LINE)[0]["Asse_BP"]
    assert [e.turn for e in line.elements] == [
        "", "left", "left", "left", "", "right", "right", "right", "",
    ]  # fmt: skip


def minimal(elements: str, *, unit: str = "meter", extra: str = "") -> str:
    return (
        '<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">'
        f'<Units><Metric linearUnit="{unit}"/></Units>{extra}'
        f'<Alignments><Alignment name="main" staStart="900"><CoordGeom>{elements}'
        "</CoordGeom></Alignment></Alignments></LandXML>"
    )


QUARTER = (
    "<Line><Start>0 0</Start><End>0 100</End></Line>"
    '<Curve rot="ccw"><Start>0 100</Start><Center>200 100</Center><End>200 300</End></Curve>'
)


def test_lengths_and_radii_left_out_follow_from_the_points(tmp_path):
    path = tmp_path / "alignment.xml"
    path.write_text(minimal(QUARTER))
    alignments, problems = read(path)
    assert problems == []
    line, curve = alignments["main"].elements
    assert line.length_m == 100.0
    assert curve.radius_in_m == 200.0
    assert curve.length_m == pytest.approx(100.0 * math.pi)
    assert alignments["main"].azimuth_deg == pytest.approx(90.0)


def test_points_may_be_referred_to_by_name(tmp_path):
    path = tmp_path / "alignment.xml"
    points = '<CgPoints><CgPoint name="7">0 100</CgPoint></CgPoints>'
    path.write_text(minimal('<Line><Start>0 0</Start><End pntRef="7"/></Line>', extra=points))
    alignments, problems = read(path)
    assert problems == []
    assert alignments["main"].length_m == 100.0


def test_a_file_in_feet_gives_metres(tmp_path):
    path = tmp_path / "alignment.xml"
    path.write_text(minimal(QUARTER, unit="USSurveyFoot"))
    foot = si_per("ft_us")
    alignments, problems = read(path, foot)
    assert problems == []
    assert alignments["main"].start_station_m == pytest.approx(900 * foot)
    assert alignments["main"].elements[1].radius_in_m == pytest.approx(200 * foot)


@pytest.mark.parametrize("unit", ["foot", "meter", "furlong", ""])
def test_a_unit_other_than_the_projects_is_refused(tmp_path, unit):
    """International feet for US survey feet would move a point at 6,000,000 by 12 ft."""
    path = tmp_path / "alignment.xml"
    path.write_text(minimal(QUARTER, unit=unit))
    _, problems = read(path, si_per("ft_us"))
    assert [p.field for p in problems] == ["linearUnit"]


FIRST_START = "<Start>4539403.9473621706 452270.1882509641 0</Start>"
EQUATION = '<StaEquation staAhead="1" staInternal="2"/>'


@pytest.mark.parametrize(
    ("old", "new", "field", "said"),
    [
        ('spiType="clothoid"', 'spiType="bloss"', "Spiral", "bloss"),
        ('rot="ccw"', 'rot="left"', "Spiral", "rot"),
        ('radiusStart="INF"', 'radiusStart="flat"', "Spiral", "radiusStart"),
        ("<Curve ", "<Chain ", None, "well-formed"),
        ('length="193.46447083769988"', 'length="194.4"', "End", "0.93"),
        ("<CoordGeom", f"{EQUATION}<CoordGeom", "StaEquation", "equation"),
        ('staStart="-153.09999999999999"', 'staStart="KM 1"', "staStart", "KM 1"),
        (FIRST_START, "", "Line", "Start"),
        (FIRST_START, "<Start>north</Start>", "Line", "Start"),
        ('linearUnit="meter"', 'linearUnit="foot"', "linearUnit", "foot"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_named(tmp_path, old, new, field, said):
    alignments, problems = read(spoilt(tmp_path, old, new))
    assert problems
    assert problems[0].field == field
    assert said in problems[0].message
    assert field == "linearUnit" or not alignments


def test_an_element_that_is_no_line_curve_or_spiral_is_named(tmp_path):
    path = tmp_path / "alignment.xml"
    path.write_text(minimal("<IrregularLine/>"))
    _, problems = read(path)
    assert [p.field for p in problems] == ["IrregularLine"]


@pytest.mark.parametrize(
    "text", ["", "<a/>", "<LandXML/>", "<LandXML><Alignments/></LandXML>", "{}"]
)
def test_a_file_that_is_no_landxml_is_said(tmp_path, text):
    path = tmp_path / "alignment.xml"
    path.write_text(text)
    alignments, problems = read(path)
    assert alignments == {}
    assert problems


def test_a_folder_may_give_its_alignment_as_landxml(tmp_path):
    folder = a_folder(tmp_path, alignment_csv=None)
    (folder / "alignment.xml").write_text(
        minimal("<Line><Start>4180000 550000</Start><End>4180400 550000</End></Line>")
    )
    job = the_job(folder)
    assert job.spans["area_m2"].iloc[0] == pytest.approx(480.0)


def test_a_structure_is_told_the_names_of_the_alignments_in_the_file(tmp_path):
    project = PROJECT.replace('alignment = "main"', 'alignment = "Asse"')
    folder = a_folder(tmp_path, alignment_csv=None, project_toml=project)
    (folder / "alignment.xml").write_text(
        minimal("<Line><Start>4180000 550000</Start><End>4180400 550000</End></Line>")
    )
    text = swapped(project, 'key = "W"\nalignment = "Asse"', 'key = "W"\nalignment = "main"')
    (folder / "project.toml").write_text(text)
    error = the_error(folder)
    assert place(error)[::2] == ("project.toml", "structure.alignment")
    assert "main" in error.fix
