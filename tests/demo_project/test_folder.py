"""The demo's folder says what it claims to be, and its files are those the scripts write."""

import doctest
import itertools

import geopandas as gpd
import pandas as pd
import pyogrio
import pyproj
import pytest
import shapely

import demo_project.baseline
from demo_project import FOLDER, copy_demo
from demo_project.baseline import baseline_table
from demo_project.context import FILE, LAYERS, Frame, context_layers, demo_alignment
from demo_project.layout import building_order, write_table, write_tables
from model.exchange.folder import read_folder
from model.planned import lay_out_plan
from model.units import from_si


def test_the_folder_is_read_without_a_word(demo_job):
    _, problems = read_folder(FOLDER)
    assert [str(problem) for problem in problems] == []


def test_there_are_54_units_of_two_three_and_four_spans_in_four_headings(demo_job):
    spans = {len(spans) for spans in demo_job.spans_of_unit.values()}
    assert len(demo_job.units) == 54
    assert spans == {2, 3, 4}
    assert len(demo_job.headings) == 4
    assert sorted(demo_job.units["structure"].value_counts()) == [27, 27]


def test_each_heading_builds_its_units_inward_from_a_shore(demo_job):
    assert {h.key: list(h.units) for h in demo_job.headings} == building_order()
    station = demo_job.units.set_index("unit")["from_station_m"]
    for heading in demo_job.headings:
        rising = station.loc[list(heading.units)].is_monotonic_increasing
        assert rising == heading.key.endswith("west")


def test_a_three_span_unit_is_about_13000_square_feet(demo_job):
    three = [unit for unit, spans in demo_job.spans_of_unit.items() if len(spans) == 3]
    area = demo_job.units.set_index("unit").loc[three, "area_m2"]
    assert 12_500 < from_si(area.median(), "ft2") < 13_500


def test_the_section_gives_300_yards_of_deck_and_600_of_bottom_slab_and_stems(demo_job):
    # 13,000 ft² → about 300 yd³ of deck and 600 yd³ of bottom slab and stems: common practice,
    # no source; 5 per cent either way.
    plan = lay_out_plan(demo_job)
    keys = [activity.key for activity in demo_job.activities]
    area_ft2 = from_si(demo_job.units["area_m2"].to_numpy(), "ft2")
    on_line = (demo_job.units["structure"] == "W").to_numpy()
    for key, expected_yd3 in (("deck_pour", 300.0), ("bottom_slab_stems", 600.0)):
        volume_yd3 = from_si(plan.unit_si[:, keys.index(key)], "yd3")
        per_unit = (volume_yd3 / area_ft2 * 13_000.0)[on_line].mean()
        assert abs(per_unit - expected_yd3) < 0.05 * expected_yd3


def test_both_sources_of_planned_quantities_are_shown(demo_job):
    assert set(demo_job.planned["planned_from"]) == {"schedule", "section"}


def test_the_deck_widens_towards_the_ramp_only(demo_job):
    width_m = demo_job.spans["area_m2"] / demo_job.spans["length_m"]
    by_structure = width_m.groupby(demo_job.spans["structure"])
    assert by_structure.max()["E"] > by_structure.min()["E"] + 5.0
    # Outside of a curve, and between two bents of different skew, a deck has more area.
    assert by_structure.max()["W"] < by_structure.min()["W"] * 1.1


def test_hinges_lie_inside_spans_a_fifth_past_a_bent(demo_job):
    bents = pd.read_csv(FOLDER / "bents.csv")
    hinges = bents.index[bents["kind"] == "hinge"]
    for row in hinges:
        before, here, beyond = bents.loc[row - 1 : row + 1, "station"]
        assert abs((here - before) / (beyond - before) - 0.2) < 1e-3


def test_bents_are_skewed_at_the_slough_and_square_elsewhere(demo_job):
    bents = pd.read_csv(FOLDER / "bents.csv")
    skewed = bents[bents["skew_deg"] != 0]
    assert skewed["skew_deg"].max() == 22.0
    assert skewed["station"].between(3300, 4200).all()


def test_no_footprint_overlaps_another(demo_job):
    shapes = demo_job.spans.geometry.to_numpy()
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    pairs = one < other
    shared = shapely.area(shapely.intersection(shapes[one[pairs]], shapes[other[pairs]]))
    assert pairs.sum() >= 160 - 2
    assert shared.max() < 0.01


def test_the_tables_are_those_the_script_writes(tmp_path):
    for file in write_tables(tmp_path):
        assert file.read_text() == (FOLDER / file.name).read_text()


def test_the_baseline_is_the_planned_march(demo_job, tmp_path):
    write_table(baseline_table(demo_job), tmp_path / "baseline.csv")
    assert (tmp_path / "baseline.csv").read_text() == (FOLDER / "baseline.csv").read_text()


def test_the_baseline_finishes_activities_in_working_order(demo_job):
    table = baseline_table(demo_job)
    days = pd.to_datetime(table["planned_finish"]).to_numpy().reshape(54, 6)
    assert all((a <= b).all() for a, b in itertools.pairwise(days.T))


def test_the_background_is_what_the_script_draws():
    drawn = context_layers(Frame(demo_alignment()))
    assert tuple(drawn) == LAYERS
    for name, layer in drawn.items():
        read = gpd.read_file(FOLDER / FILE, layer=name)
        for column in ("name", "kind"):
            assert list(read[column]) == list(layer[column])
        assert shapely.equals_exact(read.geometry.to_numpy(), layer.geometry.to_numpy(), 0.1).all()


def test_the_background_is_small_and_in_the_projects_crs(demo_job):
    file = FOLDER / FILE
    assert file.stat().st_size < 300_000
    assert all(pyogrio.read_info(file, layer=name)["crs"] == "EPSG:2225" for name in LAYERS)


def test_the_viaduct_crosses_flat_and_slough_from_shore_to_shore(demo_job):
    ground = gpd.read_file(FOLDER / FILE, layer="ground").set_index("name").geometry
    water = gpd.read_file(FOLDER / FILE, layer="water").set_index("name").geometry
    deck = demo_job.units.geometry.union_all()
    for name in ("West shore", "Oswind Flats", "East shore"):
        assert deck.intersects(ground[name])
    skewed = demo_job.spans[demo_job.spans.geometry.intersects(water["Quillet Slough"])]
    assert 2 <= len(skewed) <= 12


def test_the_invented_flat_lies_in_open_water():
    # The flats are invented, so they lie where there is no land: about 40 km off the coast.
    line = demo_alignment()
    to_wgs84 = pyproj.Transformer.from_crs(2225, 4326, always_xy=True)
    feet = from_si(1.0, "ft_us")
    longitude, latitude = to_wgs84.transform(line.easting_m * feet, line.northing_m * feet)
    assert -124.3 < longitude < -124.2 and 39.6 < latitude < 39.8


def test_copying_leaves_out_scripts_and_a_log(tmp_path):
    target = copy_demo(tmp_path / "mine" / "demo")
    names = {file.name for file in target.iterdir()}
    assert names == {file.name for file in FOLDER.iterdir()}
    assert "project.toml" in names and "log.sqlite" not in names


@pytest.mark.parametrize("module", [demo_project.baseline])
def test_examples_in_the_scripts_hold(module):
    found = doctest.testmod(module, optionflags=doctest.NORMALIZE_WHITESPACE)
    assert found.attempted and not found.failed
