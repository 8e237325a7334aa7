"""The map's figure: sent once, needs no network, holds no footprint and no status."""

import json

import numpy as np
import pytest

from dashboard.figures.base_map import base_map, map_style
from dashboard.parts.palette import GROUND

BOUNDS = (-122.45, 37.75, -122.35, 37.80)


@pytest.fixture
def sent():
    return json.loads(base_map("/geometry/abc.geojson", 5000, BOUNDS).to_json())


def test_footprints_travel_by_their_address_alone(sent):
    trace = sent["data"][0]
    assert trace["type"] == "choroplethmap"
    assert trace["geojson"] == "/geometry/abc.geojson"
    assert "coordinates" not in json.dumps(sent).replace("_derived", "")


def test_the_figure_of_5000_spans_is_small(sent):
    assert len(json.dumps(sent)) < 25_000


def test_span_i_is_feature_i():
    trace = base_map("/g", 7, BOUNDS).data[0]
    assert trace.featureidkey == "id"
    np.testing.assert_array_equal(trace.locations, np.arange(7))


def test_the_style_asks_no_server():
    for style in (map_style(), map_style("/context/abc.geojson")):
        assert "glyphs" not in style
        assert "sprite" not in style
        text = json.dumps(style)
        assert "http" not in text
        assert "tiles" not in text


def test_a_map_without_background_still_has_a_source():
    """Without any source the style is dropped under Dash and nothing later is drawn."""
    assert map_style()["sources"]["background"]["data"]["features"] == []
    assert map_style("/context.geojson")["sources"]["background"]["data"] == "/context.geojson"


def test_water_lies_over_the_other_ground():
    layers = [layer["id"] for layer in map_style("/c")["layers"]]
    assert layers.index("built") < layers.index("water") < layers.index("lines")
    water = next(layer for layer in map_style("/c")["layers"] if layer["id"] == "water")
    assert water["paint"]["fill-color"] == GROUND.water


def test_the_map_opens_on_the_viaduct(sent):
    view = sent["layout"]["map"]
    assert view["center"] == pytest.approx({"lon": -122.40, "lat": 37.775})
    # A world is 512 pixels wide at zoom 0 (Mapbox style specification), so 0.1 degree of
    # longitude is 900 pixels at this zoom.
    assert 512 * 2 ** view["zoom"] * 0.1 / 360 == pytest.approx(900)
