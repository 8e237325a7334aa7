"""Footprints as the browser gets them, against PROJ."""

from __future__ import annotations

import json

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

from model.exchange.geojson import context_document, feature_collection, footprints_document
from tests.model.builders import a_job
from tests.model.exchange.test_geopackage import a_shore


def test_rings_are_wgs_84_longitude_first_and_counter_clockwise():
    box = shapely.box(550000, 4180000, 550040, 4180012)
    clockwise = gpd.GeoDataFrame(geometry=[shapely.reverse(box)], crs=26910)
    (feature,) = feature_collection(clockwise, {})["features"]
    ring = np.array(feature["geometry"]["coordinates"][0])
    assert shapely.is_ccw(shapely.LinearRing(ring))
    to_degrees = pyproj.Transformer.from_crs(26910, 4326, always_xy=True)
    expected = {tuple(np.round(to_degrees.transform(x, y), 7)) for x, y in box.exterior.coords}
    assert {tuple(point) for point in ring} == expected


def test_rounding_moves_no_corner_by_more_than_a_centimetre():
    job = a_job(units=2)
    features = feature_collection(job.spans, {})["features"]
    back = gpd.GeoSeries([shapely.geometry.shape(f["geometry"]) for f in features], crs=4326)
    moved = back.to_crs(job.spans.crs).hausdorff_distance(job.spans.geometry, align=False)
    assert moved.max() < 0.01


def test_feature_i_is_row_i_of_the_spans():
    job = a_job(units=3, spans=2)
    collection = json.loads(footprints_document(job).content)
    assert [f["id"] for f in collection["features"]] == list(range(len(job.spans)))
    assert [f["properties"]["unit"] for f in collection["features"]] == job.spans["unit"].tolist()


def test_stations_are_given_in_the_units_people_read():
    feet = json.loads(footprints_document(a_job(units_system="us")).content)["features"]
    metres = json.loads(footprints_document(a_job()).content)["features"]
    ratio = feet[-1]["properties"]["to"] / metres[-1]["properties"]["to"]
    assert ratio == pytest.approx(1 / 0.3048, rel=1e-4)


def test_the_same_job_has_the_same_document():
    assert footprints_document(a_job()).hash == footprints_document(a_job()).hash
    assert footprints_document(a_job()).hash != footprints_document(a_job(units=4)).hash


def test_background_layers_name_themselves(tmp_path):
    assert context_document(tmp_path) is None
    a_shore(tmp_path / "context.gpkg")
    collection = json.loads(context_document(tmp_path).content)
    (feature,) = collection["features"]
    assert feature["properties"] == {"layer": "shore", "name": "shore"}
    assert feature["geometry"]["type"] == "LineString"
