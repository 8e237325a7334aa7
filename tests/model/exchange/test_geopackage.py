"""Ready-made footprints and background layers."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from model.exchange.findings import Findings
from model.exchange.geopackage import read_context, read_footprints, write_footprints
from model.problems import InputError
from tests.model.builders import a_job
from tests.model.exchange.folders import (
    PROJECT,
    UNITS,
    a_folder,
    errors_of,
    place,
    problems_of,
    swapped,
    the_error,
    the_job,
    the_warning,
)


def ready_made(where, *, spans=None, units=None, **files):
    """A folder with footprints.gpkg in place of alignment and bents; layers may be changed."""
    drawn = where / "drawn"
    drawn.mkdir()
    job = the_job(a_folder(drawn))
    folder = where / "given"
    folder.mkdir()
    files = {"alignment_csv": None, "bents_csv": None, **files}
    a_folder(folder, **files)
    write_layers(folder / "footprints.gpkg", job, spans, units)
    return folder


def write_layers(path, job, spans=None, units=None):
    for layer, frame, change in (("spans", job.spans, spans), ("units", job.units, units)):
        changed = frame if change is None else change(frame.copy())
        if changed is not None:
            changed.to_file(path, layer=layer, driver="GPKG", engine="pyogrio")


def test_footprints_written_and_read_back_are_the_same(tmp_path):
    job = the_job(a_folder(tmp_path))
    path = tmp_path / "out.gpkg"
    write_footprints(path, job)
    findings = Findings(path.name)
    spans, units = read_footprints(path, job.spans.crs, 1.0, findings)
    assert findings.problems == []
    assert spans.crs == job.spans.crs
    for back, sent in ((spans, job.spans), (units, job.units)):
        assert list(back.columns) == list(sent.columns)
        assert back.drop(columns=["geometry", "area_m2"]).equals(
            sent.drop(columns=["geometry", "area_m2"])
        )
        assert np.allclose(back["area_m2"], sent["area_m2"], rtol=1e-12)
        assert shapely.equals_exact(back.geometry.to_numpy(), sent.geometry.to_numpy()).all()


def test_writing_replaces_the_file_and_leaves_nothing_beside_it(tmp_path):
    path = tmp_path / "out.gpkg"
    write_footprints(path, a_job(units=3))
    write_footprints(path, a_job(units=2), unit_columns={"status_rebar": ["complete", "on_hold"]})
    units = gpd.read_file(path, layer="units")
    assert units["status_rebar"].tolist() == ["complete", "on_hold"]
    assert [p.name for p in tmp_path.iterdir()] == ["out.gpkg"]


def test_ready_made_footprints_stand_for_alignment_and_bents(tmp_path):
    folder = ready_made(tmp_path)
    assert problems_of(folder) == ()
    given, drawn = the_job(folder), the_job(tmp_path / "drawn")
    assert given.spans_of_unit == drawn.spans_of_unit
    assert np.allclose(given.units["area_m2"], drawn.units["area_m2"])
    assert given.spans["from_station_m"].equals(drawn.spans["from_station_m"])
    # Caps and diaphragms are guessed from the order of spans, so quantities are near, not equal.
    assert len(given.planned) == len(drawn.planned)


def test_the_units_file_may_be_left_out_when_the_layer_says_it_all(tmp_path):
    folder = ready_made(tmp_path, units_csv=None)
    assert problems_of(folder) == ()
    assert the_job(folder).units["heading"].tolist() == ["east", "east", "west", "west"]


def test_footprints_beside_bents_are_passed_over_with_a_warning(tmp_path):
    folder = ready_made(tmp_path)
    a_folder(folder)
    assert place(the_warning(folder)) == ("footprints.gpkg", None, None)


def test_a_unit_known_to_the_units_file_alone_is_named(tmp_path):
    project = swapped(PROJECT, '"E02"]', '"E02", "E03"]')
    folder = ready_made(tmp_path, units_csv=UNITS + "E03,E,X,Y,east\n", project_toml=project)
    errors = errors_of(folder)
    assert [place(e) for e in errors] == [
        ("footprints.gpkg", None, "spans.unit"),
        ("footprints.gpkg", None, "units.unit"),
    ]


def test_footprints_in_another_projected_system_are_brought_over_with_a_warning(tmp_path):
    folder = ready_made(tmp_path, spans=lambda f: f.to_crs(26911), units=lambda f: f.to_crs(26911))
    problems = problems_of(folder)
    assert [p.severity for p in problems] == ["warning", "warning"]
    drawn = the_job(tmp_path / "drawn")
    back = the_job(folder).units.geometry
    assert drawn.units.geometry.symmetric_difference(back).area.max() < 1e-3


@pytest.mark.filterwarnings("ignore:.crs. was not provided")
def test_footprints_without_a_coordinate_system_are_refused(tmp_path):
    folder = ready_made(tmp_path, spans=lambda f: f.set_crs(None, allow_override=True))
    assert place(the_error(folder)) == ("footprints.gpkg", None, "spans")


@pytest.mark.parametrize("column", ["unit", "span"])
def test_a_missing_column_of_a_layer_is_named(tmp_path, column):
    folder = ready_made(tmp_path, spans=lambda f: f.rename(columns={column: f"{column}_no"}))
    assert place(errors_of(folder)[0]) == ("footprints.gpkg", None, f"spans.{column}")


def test_a_missing_layer_is_named(tmp_path):
    folder = ready_made(tmp_path, spans=lambda f: None)
    assert place(errors_of(folder)[0]) == ("footprints.gpkg", None, "spans")


def test_a_file_that_is_no_geopackage_is_said(tmp_path):
    folder = ready_made(tmp_path)
    (folder / "footprints.gpkg").write_text("not at all")
    errors = errors_of(folder)
    assert {e.file for e in errors} == {"footprints.gpkg"}


def geometry_changed(place_of_span, geometry):
    def change(frame):
        frame.loc[place_of_span, "geometry"] = geometry
        return frame

    return change


def test_a_footprint_that_is_no_polygon_is_named_by_its_feature(tmp_path):
    change = geometry_changed(1, shapely.Point(550000, 4180000))
    errors = errors_of(ready_made(tmp_path, spans=change))
    assert place(errors[0]) == ("footprints.gpkg", 2, "spans.geometry")
    assert "Point" in errors[0].message


def test_a_footprint_that_crosses_itself_is_named_by_its_feature(tmp_path):
    bow = shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
    errors = errors_of(ready_made(tmp_path, spans=geometry_changed(2, bow)))
    assert place(errors[0]) == ("footprints.gpkg", 3, "spans.geometry")


def test_footprints_over_one_another_are_named(tmp_path):
    def over(frame):
        frame.loc[1, "geometry"] = frame.loc[0, "geometry"]
        return frame

    errors = errors_of(ready_made(tmp_path, spans=over))
    assert [e.file for e in errors] == ["footprints.gpkg"]
    assert "E01" in errors[0].message


def test_a_span_given_twice_is_named_by_its_feature(tmp_path):
    def twice(frame):
        frame.loc[1, "span"] = "1"
        return frame

    errors = errors_of(ready_made(tmp_path, spans=twice))
    assert place(errors[0]) == ("footprints.gpkg", 2, "spans.span")


def test_span_numbers_kept_as_numbers_are_read_as_text(tmp_path):
    folder = ready_made(tmp_path, spans=lambda f: f.assign(span=f["span"].astype(float)))
    assert the_job(folder).spans_of_unit["E01"] == ("1", "2")


def test_without_stations_spans_are_laid_end_to_end_with_a_warning(tmp_path):
    def bare(frame):
        return frame[["unit", "span", "geometry"]].iloc[::-1]

    folder = ready_made(tmp_path, spans=bare)
    assert place(the_warning(folder)) == ("footprints.gpkg", None, "spans.from_station_m")
    spans = the_job(folder).spans
    east = spans[spans["structure"] == "E"]
    assert east["unit"].tolist() == ["E01", "E01", "E02", "E02"]
    assert east["from_station_m"].iloc[0] == 0.0
    assert np.allclose(east["to_station_m"].iloc[:-1], east["from_station_m"].iloc[1:])
    assert east["length_m"].iloc[0] == pytest.approx(40.0, abs=1e-6)


def a_shore(path, crs="EPSG:26910"):
    shore = shapely.LineString([(549000, 4179000), (551000, 4181000)])
    frame = gpd.GeoDataFrame({"name": ["shore"]}, geometry=[shore], crs=crs)
    frame.to_file(path, layer="shore", driver="GPKG")


def test_background_layers_come_in_longitude_and_latitude(tmp_path):
    a_shore(tmp_path / "context.gpkg")
    layers = read_context(tmp_path / "context.gpkg")
    assert list(layers) == ["shore"]
    west, south, east, north = layers["shore"].total_bounds
    assert -123 < west < east < -122
    assert 37 < south < north < 38


@pytest.mark.filterwarnings("ignore:.crs. was not provided")
def test_a_background_layer_without_a_coordinate_system_is_named(tmp_path):
    folder = a_folder(tmp_path)
    a_shore(folder / "context.gpkg", crs=None)
    assert place(the_error(folder)) == ("context.gpkg", None, "shore")
    with pytest.raises(InputError):
        read_context(folder / "context.gpkg")


def test_a_background_that_is_no_geopackage_is_said(tmp_path):
    folder = a_folder(tmp_path)
    (folder / "context.gpkg").write_text("no")
    assert the_error(folder).file == "context.gpkg"
