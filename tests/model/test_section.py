"""Volumes of the typical section against drawn polygons, and the anchors of the trade."""

import dataclasses

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from model.section import (
    Solids,
    TypicalSection,
    prismoidal_m3,
    quantities,
    section_faults,
    span_faults,
    width_faults,
)
from model.units import from_si, si_per

FT = si_per("ft")
FT2, FT3 = FT**2, FT**3

TWO_CELLS_FT = TypicalSection(
    depth_m=6.0 * FT,
    deck_thickness_m=0.75 * FT,
    overhang_length_m=7.0 * FT,
    overhang_edge_thickness_m=0.625 * FT,
    overhang_root_thickness_m=1.25 * FT,
    stems=3,
    stem_thickness_m=1.0 * FT,
    exterior_stem_thickness_m=(1.0 + 0.5 / 4.75) * FT,
    bottom_slab_thickness_m=0.5 * FT,
    exterior_stem_slope=1.0 / 4.75,
)
"""The section of the worked example below, 40 ft wide."""

OUTLINE_FT = [
    (-20, 0), (20, 0), (20, -0.625), (13, -1.25), (12, -6), (-12, -6), (-13, -1.25), (-20, -0.625),
]  # fmt: skip
CELL_FT = [(-12, -0.75), (-0.5, -0.75), (-0.5, -5.5), (-11, -5.5)]
"""Own worked example; areas agree between the shoelace formula and shapely."""


def no_solids(spans: int = 1) -> Solids:
    none = np.zeros(spans)
    return Solids(none, none, none, none)


def drawn(section: TypicalSection, width_m: float) -> tuple[shapely.Polygon, list[shapely.Polygon]]:
    """The outline and the cells as polygons, each stem drawn for itself."""
    s, r, depth = section, section.overhang_root_thickness_m, section.depth_m
    box = width_m / 2.0 - s.overhang_length_m

    def face(y: float) -> float:
        return box - s.exterior_stem_slope * (y - r)

    outline = shapely.Polygon(
        [(-width_m / 2, 0), (width_m / 2, 0), (width_m / 2, -s.overhang_edge_thickness_m),
         (box, -r), (face(depth), -depth), (-face(depth), -depth), (-box, -r),
         (-width_m / 2, -s.overhang_edge_thickness_m)]
    )  # fmt: skip
    top, bottom = s.deck_thickness_m, depth - s.bottom_slab_thickness_m
    inner = [face(y) - s.exterior_stem_thickness_m for y in (top, bottom)]
    hollow = shapely.Polygon(
        [(-inner[0], -top), (inner[0], -top), (inner[1], -bottom), (-inner[1], -bottom)]
    )
    for place in range(1, s.stems - 1):
        middle = inner[1] * (2.0 * place / (s.stems - 1) - 1.0)
        half = s.stem_thickness_m / 2.0
        hollow = hollow.difference(shapely.box(middle - half, -depth, middle + half, 0.0))
    return outline, list(getattr(hollow, "geoms", [hollow]))


def test_the_section_has_the_area_of_its_polygons():
    outline = shapely.Polygon(OUTLINE_FT)
    cells = 2 * shapely.Polygon(CELL_FT).area
    width = 40.0 * FT
    assert outline.area == pytest.approx(164.375)
    assert float(TWO_CELLS_FT.outline_m2(width)) / FT2 == pytest.approx(164.375, abs=1e-9)
    assert float(TWO_CELLS_FT.cells_m2(width)) / FT2 == pytest.approx(cells, abs=1e-9)
    net = TWO_CELLS_FT.first_lift_m2(width) + TWO_CELLS_FT.deck_m2(width)
    assert float(net) / FT2 == pytest.approx(59.875, abs=1e-9)


def test_a_level_joint_cuts_the_section_at_the_underside_of_the_deck():
    level = dataclasses.replace(TWO_CELLS_FT, overhang_joint="level")
    net = shapely.Polygon(OUTLINE_FT).difference(
        shapely.union_all(
            [shapely.Polygon(CELL_FT), shapely.Polygon([(-x, y) for x, y in CELL_FT])]
        )
    )
    above = net.intersection(shapely.box(-30, -0.75, 30, 1)).area
    assert float(level.deck_m2(40 * FT)) / FT2 == pytest.approx(above, abs=1e-9)
    assert float(level.deck_m2(40 * FT)) / FT2 == pytest.approx(29.825, abs=1e-9)
    assert float(level.first_lift_m2(40 * FT)) / FT2 == pytest.approx(30.050, abs=1e-9)


def test_the_whole_overhang_is_poured_with_the_deck_unless_the_joint_is_level():
    box_deck = shapely.box(-13, -0.75, 13, 0)
    overhang = shapely.Polygon([(13, 0), (20, 0), (20, -0.625), (13, -1.25)])
    deck = float(TWO_CELLS_FT.deck_m2(40 * FT)) / FT2
    assert deck == pytest.approx(box_deck.area + 2 * overhang.area, abs=1e-9)


def test_a_325_ft_unit_of_that_section_takes_721_cubic_yards():
    unit = quantities(TWO_CELLS_FT, [325 * FT], [13_000 * FT2], no_solids())
    total = from_si(float(unit.first_lift_m3[0] + unit.deck_m3[0]), "yd3")
    assert total == pytest.approx(720.7176, abs=1e-4)  # 59.875 ft² × 325 ft / 27


@pytest.mark.parametrize(
    ("begin", "middle", "end", "length", "expected"),
    [(36.0, 64.0, 100.0, 100.0, 6533.3333), (0.0, 25.0, 100.0, 30.0, 1000.0)],
)
def test_the_prismoidal_rule_is_exact_for_frustum_and_pyramid(begin, middle, end, length, expected):
    """A square of 6 ft growing to 10 ft, and a pyramid of base 10 ft: closed forms."""
    assert prismoidal_m3(length, begin, middle, end) == pytest.approx(expected, abs=1e-4)


PLAUSIBLE = TypicalSection(
    depth_m=6.0 * FT,
    deck_thickness_m=7.25 / 12 * FT,
    overhang_length_m=4.0 * FT,
    overhang_edge_thickness_m=7.0 / 12 * FT,
    overhang_root_thickness_m=10.0 / 12 * FT,
    stems=5,
    stem_thickness_m=1.0 * FT,
    exterior_stem_thickness_m=1.0 * FT,
    bottom_slab_thickness_m=6.0 / 12 * FT,
    bottom_slab_at_bent_m=12.0 / 12 * FT,
    bottom_slab_flare_m=8.0 * FT,
    bent_cap_length_m=6.0 * FT,
    hinge_diaphragm_length_m=3.0 * FT,
)
"""A 40 ft box of four cells for spans of about 108 ft."""


def test_a_13000_ft2_unit_takes_about_300_and_600_cubic_yards_and_19500_board_feet():
    """Three spans between two hinges, three bents: common practice, no source."""
    third = np.full(3, 1.0)
    solids = Solids(third, np.array([1.0, 0.0, 1.0]), np.zeros(3), np.full(3, 2.0))
    unit = quantities(PLAUSIBLE, np.full(3, 325 / 3 * FT), np.full(3, 13_000 / 3 * FT2), solids)
    deck = from_si(float(unit.deck_m3.sum()), "yd3")
    first_lift = from_si(float(unit.first_lift_m3.sum()), "yd3")
    lumber = from_si(float(unit.lumber_m3.sum()), "board_ft")
    assert deck == pytest.approx(300, rel=0.05)
    assert first_lift == pytest.approx(600, rel=0.05)
    assert lumber == pytest.approx(19_500, abs=1e-6)
    assert float(unit.lumber_m3.sum()) == pytest.approx(46.015, abs=5e-4)


def test_a_bent_cap_fills_the_cells_over_its_length():
    bare = quantities(TWO_CELLS_FT, [100 * FT], [4000 * FT2], no_solids())
    one = np.ones(1)
    capped = dataclasses.replace(TWO_CELLS_FT, bent_cap_length_m=6 * FT)
    solids = Solids(one, 0 * one, 0 * one, 0 * one)
    with_cap = quantities(capped, [100 * FT], [4000 * FT2], solids)
    cells_ft2 = 2 * shapely.Polygon(CELL_FT).area
    gained = float(with_cap.first_lift_m3[0] - bare.first_lift_m3[0]) / FT3
    assert gained == pytest.approx(6 * cells_ft2, abs=1e-6)
    assert with_cap.deck_m3[0] == bare.deck_m3[0]
    lost_form = float(bare.deck_form_m2[0] - with_cap.deck_form_m2[0]) / FT2
    assert lost_form == pytest.approx(6 * 23.0, abs=1e-6)  # 11.5 ft clear in each of two cells


def test_a_flare_of_the_bottom_slab_follows_the_prismoidal_rule():
    thick, flare = 1.0 * FT, 16.0 * FT
    flared = dataclasses.replace(
        TWO_CELLS_FT, bottom_slab_at_bent_m=thick, bottom_slab_flare_m=flare
    )
    width, one = 40.0 * FT, np.ones(1)
    plain = quantities(TWO_CELLS_FT, [100 * FT], [4000 * FT2], no_solids())
    solids = Solids(0 * one, 0 * one, 0 * one, one)
    gained = (
        quantities(flared, [100 * FT], [4000 * FT2], solids).first_lift_m3 - plain.first_lift_m3
    )
    cells = [
        float(dataclasses.replace(TWO_CELLS_FT, bottom_slab_thickness_m=t * FT).cells_m2(width))
        for t in (0.5, 0.75, 1.0)
    ]
    added = [cells[0] - area for area in cells]
    assert float(gained[0]) == pytest.approx(prismoidal_m3(flare, *added), rel=1e-12)


sections = st.builds(
    lambda depth, deck, bottom, edge, root, length, stems, thick, slope, joint: TypicalSection(
        depth, deck, length, edge, root, stems, thick, thick * 1.1, bottom,
        exterior_stem_slope=slope, overhang_joint=joint,
    ),
    depth=st.floats(1.2, 4.0),
    deck=st.floats(0.15, 0.35),
    bottom=st.floats(0.12, 0.4),
    edge=st.floats(0.12, 0.4),
    root=st.floats(0.15, 0.6),
    length=st.floats(0.3, 2.5),
    stems=st.integers(2, 7),
    thick=st.floats(0.2, 0.4),
    slope=st.floats(0.0, 0.5),
    joint=st.sampled_from(["stem", "level"]),
)  # fmt: skip


@given(section=sections, width=st.floats(16.0, 30.0))
def test_any_sound_section_has_the_area_of_its_polygons(section, width):
    assert not section_faults(section)
    assert not width_faults(section, width)
    outline, cells = drawn(section, width)
    hollow = sum(cell.area for cell in cells)
    assert len(cells) == section.cells
    assert float(section.outline_m2(width)) == pytest.approx(outline.area, rel=1e-9)
    assert float(section.cells_m2(width)) == pytest.approx(hollow, rel=1e-9)
    level = dataclasses.replace(section, overhang_joint="level")
    above = outline.intersection(shapely.box(-99, -section.deck_thickness_m, 99, 1)).area
    assert float(level.deck_m2(width)) == pytest.approx(above, rel=1e-9)
    assert float(section.deck_m2(width)) >= float(level.deck_m2(width)) - 1e-12
    assert float(section.first_lift_m2(width)) > 0


@given(
    section=sections,
    begin=st.floats(16.0, 22.0),
    end=st.floats(22.0, 30.0),
    length=st.floats(20.0, 70.0),
)
def test_a_widening_span_has_the_prismoidal_volume(section, begin, end, length):
    """Areas are a straight line in the width, for which the prismoidal rule is exact."""
    span = quantities(section, [length], [(begin + end) / 2 * length], no_solids())
    areas = [float(section.first_lift_m2(w)) for w in (begin, (begin + end) / 2, end)]
    assert float(span.first_lift_m3[0]) == pytest.approx(prismoidal_m3(length, *areas), rel=1e-9)


def test_steel_goes_by_deck_concrete_or_by_deck_area_or_is_not_planned():
    by_volume = dataclasses.replace(TWO_CELLS_FT, deck_steel_kg_per_m3=150.0)
    by_area = dataclasses.replace(TWO_CELLS_FT, deck_steel_kg_per_m2=30.0)
    one = quantities(by_volume, [40.0], [480.0], no_solids())
    assert one.deck_steel_kg[0] == pytest.approx(150.0 * one.deck_m3[0])
    assert quantities(by_area, [40.0], [480.0], no_solids()).deck_steel_kg[0] == 30.0 * 480.0
    assert np.isnan(quantities(TWO_CELLS_FT, [40.0], [480.0], no_solids()).deck_steel_kg[0])


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"bottom_slab_thickness_m": 1.7}, "depth"),
        ({"overhang_root_thickness_m": 2.0}, "overhang_root_thickness"),
        ({"bottom_slab_at_bent_m": 0.1}, "bottom_slab_at_bent"),
        ({"bottom_slab_at_bent_m": 1.9, "bottom_slab_flare_m": 3.0}, "bottom_slab_at_bent"),
        ({"bottom_slab_at_bent_m": 0.4}, "bottom_slab_flare"),
    ],
)
def test_an_impossible_section_is_named_by_its_key(change, key):
    assert [f.key for f in section_faults(dataclasses.replace(TWO_CELLS_FT, **change))] == [key]


@pytest.mark.parametrize(
    ("change", "width_m", "key"),
    [
        ({}, 4.0, "overhang_length"),
        ({"exterior_stem_slope": 4.0}, 12.0, "exterior_stem_slope"),
        ({"stems": 30}, 12.0, "stem_thickness"),
    ],
)
def test_a_section_too_wide_for_the_narrowest_deck_is_named_by_its_key(change, width_m, key):
    section = dataclasses.replace(TWO_CELLS_FT, **change)
    assert [fault.key for fault in width_faults(section, width_m)] == [key]


def test_caps_and_flares_longer_than_the_span_are_found():
    ones, zero = np.ones(2), np.zeros(2)
    solids = Solids(ones, zero, zero, 2 * ones)
    lengths = np.array([20.0 * FT, 24.0 * FT])
    assert span_faults(PLAUSIBLE, lengths, solids) == [0]
