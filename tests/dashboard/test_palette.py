"""The palette by numbers: told apart by every kind of sight, and seen on every ground."""

from itertools import combinations

import numpy as np
import pytest
from coloraide import Color
from colorspacious import cspace_convert

from dashboard.parts.palette import GROUND, LOOKS, colour_steps, css_variables, look_of, table
from model.events import STATUSES

SIGHTS = ("normal", "protanomaly", "deuteranomaly", "tritanomaly")
PAIRS = list(combinations(LOOKS, 2))
GROUNDS = ("land", "water", "built", "paper")


def rgb(colour):
    return np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255


def seen_by(sight, colour):
    """sRGB as seen with a cone missing (Machado et al. 2009 at full severity)."""
    if sight == "normal":
        return rgb(colour)
    space = {"name": "sRGB1+CVD", "cvd_type": sight, "severity": 100}
    return np.clip(cspace_convert(rgb(colour), space, "sRGB1"), 0, 1)


def difference(one, other):
    """CIEDE2000 between two sRGB triples, in Lab for D65."""
    lab = [Color("srgb", list(c)).convert("lab-d65") for c in (one, other)]
    return lab[0].delta_e(lab[1], method="2000")


def contrast(one, other):
    """WCAG 2.2 contrast ratio, as its definition of relative luminance says."""

    def luminance(colour):
        c = rgb(colour)
        linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
        return float(linear @ [0.2126, 0.7152, 0.0722])

    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


# The yardsticks themselves


@pytest.mark.parametrize(
    ("one", "other", "published"),
    [
        # Sharma, Wu and Dalal (2005), Color Research & Application 30, table 1.
        ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
        ((50, 2.5, 0), (50, 0, -2.5), 4.3065),
        ((50, 2.5, 0), (73, 25, -18), 27.1492),
        ((50, 2.49, -0.001), (50, -2.49, 0.0009), 7.1792),
        ((50, 2.49, -0.001), (50, -2.49, 0.0011), 7.2195),
        ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
    ],
)
def test_the_colour_difference_is_the_published_ciede2000(one, other, published):
    measured = Color("lab-d65", one).delta_e(Color("lab-d65", other), method="2000")
    assert measured == pytest.approx(published, abs=1e-4)


@pytest.mark.parametrize(
    ("colour", "on", "ratio"),
    [
        # Computed from the WCAG 2.2 definition; #777777 and #949494 are the well-known edges.
        ("#777777", "#ffffff", 4.4781),
        ("#767676", "#ffffff", 4.5422),
        ("#949494", "#ffffff", 3.0335),
        ("#959595", "#ffffff", 2.9953),
        ("#000000", "#ffffff", 21),
        ("#0000ff", "#ffffff", 8.5925),
        ("#d55e00", "#ffffff", 3.8672),
        ("#777777", "#000000", 4.6895),
    ],
)
def test_the_contrast_is_that_of_wcag(colour, on, ratio):
    assert contrast(colour, on) == pytest.approx(ratio, abs=1e-3)


@pytest.mark.parametrize(
    ("colour", "sight", "seen"),
    [
        # Machado, Oliveira and Fernandes (2009), at full severity, clipped, 8 bits.
        ("#ff0000", "deuteranomaly", "#a39000"),
        ("#ff0000", "protanomaly", "#6d5f00"),
        ("#00ff00", "tritanomaly", "#00f7d9"),
        ("#0072b2", "protanomaly", "#5375b5"),
    ],
)
def test_other_sights_are_simulated_as_published(colour, sight, seen):
    assert seen_by(sight, colour) * 255 == pytest.approx(rgb(seen) * 255, abs=1)


# The palette


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize(("one", "other"), PAIRS, ids=lambda look: look.status)
def test_two_statuses_are_told_apart_by_every_sight(sight, one, other):
    assert difference(seen_by(sight, one.fill), seen_by(sight, other.fill)) >= 12


@pytest.mark.parametrize("look", LOOKS, ids=lambda look: look.status)
@pytest.mark.parametrize("ground", GROUNDS)
def test_every_status_stands_out_from_every_ground(look, ground):
    assert contrast(look.fill, getattr(GROUND, ground)) >= 3


@pytest.mark.parametrize("look", LOOKS, ids=lambda look: look.status)
def test_every_mark_stands_out_from_its_fill(look):
    assert contrast(look.ink, look.fill) >= 3


def test_outlines_show_on_any_ground():
    """Bright core in a dark case: one of the two stands out from whatever lies beside it."""
    assert contrast(GROUND.lag_core, GROUND.lag_case) >= 3
    assert contrast(GROUND.chosen_core, GROUND.chosen_case) >= 3
    for beside in [look.fill for look in LOOKS] + [getattr(GROUND, name) for name in GROUNDS]:
        for pair in (
            (GROUND.lag_core, GROUND.lag_case),
            (GROUND.chosen_core, GROUND.chosen_case),
        ):
            assert max(contrast(part, beside) for part in pair) >= 3


def test_the_lag_outline_is_no_status_colour():
    for look in LOOKS:
        for sight in SIGHTS:
            assert difference(seen_by(sight, look.fill), seen_by(sight, GROUND.lag_core)) >= 12


def test_text_is_read_on_every_ground():
    for ground in GROUNDS:
        assert contrast(GROUND.ink, getattr(GROUND, ground)) >= 4.5
        assert contrast(GROUND.quiet_ink, getattr(GROUND, ground)) >= 4.5


def test_no_status_rests_on_colour_alone():
    assert len({look.mark for look in LOOKS}) == len(LOOKS)
    assert len({look.hatch for look in LOOKS}) == len(LOOKS)
    assert len({look.words for look in LOOKS}) == len(LOOKS)


def test_no_traffic_light():
    """A pure red against a green falls from 71 to 8 ΔE for a quarter of a crew's colour-blind."""
    hues = [Color(look.fill).convert("oklch") for look in LOOKS]
    coloured = [c["hue"] for c in hues if c["chroma"] > 0.03]
    assert not any(100 < hue < 170 for hue in coloured), "no status is green"


def test_python_style_sheet_and_browser_read_one_table():
    sent = table()
    assert tuple(row["status"] for row in sent["statuses"]) == STATUSES
    for look in LOOKS:
        assert f"--fill-{look.status.replace('_', '-')}: {look.fill};" in css_variables()
        assert look_of(look.status) is look


def test_a_code_never_gets_a_colour_between_two_statuses():
    steps = colour_steps()
    for code, look in enumerate(LOOKS):
        share = (code + 0.5) / len(LOOKS)
        around = [colour for at, colour in steps if abs(at - share) <= 0.5 / len(LOOKS) + 1e-9]
        assert around.count(look.fill) == 2
