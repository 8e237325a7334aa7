"""Typical section of a cast-in-place box girder, and the quantities that follow from it.

The box is poured in two lifts. The first is the bottom slab and the stems up to the underside
of the deck, with bent caps and diaphragms; the second is the deck with its overhangs. Planning
figures: camber, haunches, ducts, drains, barriers, access openings and reinforcement's volume
are not counted, and the plans and the engineer of record decide.

``section.toml`` holds one or more tables ``[[section]]``. A section is for the units it lists,
else for the structures it lists, else for all that have none of their own. Its keys, lengths
in ``length_unit``:

=============================  =====================================================================
``name``                       what it is called in messages; optional
``units``, ``structures``      lists of units or structures it is for; optional
``length_unit``                ``"ft"``, ``"ft_us"``, ``"in"``, ``"m"`` or ``"mm"``; the unit of
                               the coordinate system where left out
``depth``                      top of deck to soffit
``deck_thickness``             between stems, haunches averaged in
``overhang_length``            deck edge to the exterior stem's face, level, the same on both sides
``overhang_edge_thickness``    at the deck edge
``overhang_root_thickness``    at the exterior stem's face
``overhang_joint``             ``"stem"`` (default): the whole overhang is poured with the deck;
                               ``"level"``: only what lies above the underside of the deck
``stems``                      how many, exterior ones included; one less cells
``stem_thickness``             interior stems
``exterior_stem_thickness``    exterior stems, measured level; ``stem_thickness`` where left out
``exterior_stem_slope``        how far the exterior face leans in per length of depth; 0 is upright
``bottom_slab_thickness``      between the flares
``bottom_slab_at_bent``        at the face of a bent cap; ``bottom_slab_thickness`` where left out
``bottom_slab_flare``          length along which it thins out from there; 0 where left out
``bent_cap_length``            solid part over a bent, along the line; 0 where left out
``hinge_diaphragm_length``     solid part on each side of a hinge; 0 where left out
``abutment_diaphragm_length``  solid part at an abutment; 0 where left out
``lumber_board_ft_per_ft2``    deck-form lumber left in place, by deck area; 1.5 where left out
``lumber_m3_per_m2``           the same in SI, in its place
``deck_steel_kg_per_m3``       deck reinforcement by deck concrete; or give one of
``deck_steel_lb_per_yd3``,     the same by deck concrete, or by deck area;
``deck_steel_kg_per_m2``,      without any of the four no steel is planned
``deck_steel_lb_per_ft2``
=============================  =====================================================================

Where the deck widens, overhangs and stems stay and the cells and the bottom slab widen with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.units import si_per

Floats = NDArray[np.float64]
OverhangJoint = Literal["stem", "level"]

LUMBER_M = 1.5 * si_per("board_ft") / si_per("ft2")
"""Lumber left in place [m³ per m² of deck]: 1.5 board feet per ft² (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class TypicalSection:
    """A box-girder section square to the line; see the module for what each length is.

    Parameters
    ----------
    depth_m, deck_thickness_m, bottom_slab_thickness_m
        Structure depth, deck between stems, bottom slab between flares [m].
    overhang_length_m, overhang_edge_thickness_m, overhang_root_thickness_m
        One overhang; the other is the same [m].
    stems
        Number of stems, the two exterior ones included.
    stem_thickness_m, exterior_stem_thickness_m
        Measured level [m].
    exterior_stem_slope
        Lean of the exterior stems, run over depth.
    bottom_slab_at_bent_m, bottom_slab_flare_m
        Bottom slab at the face of a bent cap, and the length of its flare [m].
    bent_cap_length_m, hinge_diaphragm_length_m, abutment_diaphragm_length_m
        Solid lengths along the line [m].
    overhang_joint
        Where the construction joint runs under the overhang.
    lumber_m
        Form lumber left in place, m³ per m² of deck [m].
    deck_steel_kg_per_m3, deck_steel_kg_per_m2
        Deck reinforcement by concrete and by area; both None where it is not planned.

    Notes
    -----
    With deck width W, two overhangs of length L and thickness e at the edge and r at the root,
    depth D, deck t, bottom slab b, slope s, n stems of which n − 2 interior ones (i) and two
    exterior ones (x):

    - box at the root B = W − 2L; soffit B − 2s(D − r);
    - whole outline L(e + r) + B·r + (B − s(D − r))(D − r);
    - clear of cells at depth y: B − 2s(y − r) − 2x − (n − 2)i, a straight line in y, so the
      cells' area is their mean clear width times D − t − b;
    - deck B·t + L(e + r), less s(t − r)² where the root is thinner than the deck, and with a
      level joint less what of the overhangs lies under the deck.

    What is not deck is the first lift. All are straight lines in W, so over a span of length ℓ
    and deck area A (any curve, skew or even widening) volumes are a·ℓ + b·A.
    """

    depth_m: float
    deck_thickness_m: float
    overhang_length_m: float
    overhang_edge_thickness_m: float
    overhang_root_thickness_m: float
    stems: int
    stem_thickness_m: float
    exterior_stem_thickness_m: float
    bottom_slab_thickness_m: float
    exterior_stem_slope: float = 0.0
    bottom_slab_at_bent_m: float = 0.0
    bottom_slab_flare_m: float = 0.0
    bent_cap_length_m: float = 0.0
    hinge_diaphragm_length_m: float = 0.0
    abutment_diaphragm_length_m: float = 0.0
    overhang_joint: OverhangJoint = "stem"
    lumber_m: float = LUMBER_M
    deck_steel_kg_per_m3: float | None = None
    deck_steel_kg_per_m2: float | None = None

    @property
    def cells(self) -> int:
        """Number of cells."""
        return self.stems - 1

    @property
    def cell_height_m(self) -> float:
        """Clear height between bottom slab and deck [m]."""
        return self.depth_m - self.deck_thickness_m - self.bottom_slab_thickness_m

    @property
    def plans_deck_steel(self) -> bool:
        """Whether a rate of deck reinforcement is given."""
        return self.deck_steel_kg_per_m3 is not None or self.deck_steel_kg_per_m2 is not None

    def soffit_width_m(self, deck_width_m: ArrayLike) -> Floats:
        """Return the width of the bottom slab's underside [m]."""
        below_root_m = self.depth_m - self.overhang_root_thickness_m
        return self._box_m(deck_width_m) - 2.0 * self.exterior_stem_slope * below_root_m

    def clear_width_m(self, deck_width_m: ArrayLike, depth_m: float) -> Floats:
        """Return the width of all cells together at a depth below the top of the deck [m]."""
        lean_m = self.exterior_stem_slope * (depth_m - self.overhang_root_thickness_m)
        stems_m = 2.0 * self.exterior_stem_thickness_m + (self.stems - 2) * self.stem_thickness_m
        return self._box_m(deck_width_m) - 2.0 * lean_m - stems_m

    def cells_m2(self, deck_width_m: ArrayLike) -> Floats:
        """Return the area of all cells together [m²]."""
        at_deck = self.clear_width_m(deck_width_m, self.deck_thickness_m)
        at_slab = self.clear_width_m(deck_width_m, self.depth_m - self.bottom_slab_thickness_m)
        cells: Floats = (at_deck + at_slab) / 2.0 * self.cell_height_m
        return cells

    def outline_m2(self, deck_width_m: ArrayLike) -> Floats:
        """Return the area inside the outer outline, cells included [m²]."""
        box_m, root_m = self._box_m(deck_width_m), self.overhang_root_thickness_m
        below_m = self.depth_m - root_m
        stem_part = (box_m - self.exterior_stem_slope * below_m) * below_m
        return self._overhangs_m2 + box_m * root_m + stem_part

    def deck_m2(self, deck_width_m: ArrayLike) -> Floats:
        """Return the area of the second lift: deck and overhangs [m²]."""
        deck_m, root_m = self.deck_thickness_m, self.overhang_root_thickness_m
        thinner_m = max(deck_m - root_m, 0.0)
        whole = self._box_m(deck_width_m) * deck_m + self._overhangs_m2
        below = self._under_deck_m2 if self.overhang_joint == "level" else 0.0
        return whole - self.exterior_stem_slope * thinner_m**2 - below

    def first_lift_m2(self, deck_width_m: ArrayLike) -> Floats:
        """Return the area of the first lift between caps: bottom slab and stems [m²]."""
        concrete = self.outline_m2(deck_width_m) - self.cells_m2(deck_width_m)
        return concrete - self.deck_m2(deck_width_m)

    def _box_m(self, deck_width_m: ArrayLike) -> Floats:
        return np.asarray(deck_width_m, dtype=np.float64) - 2.0 * self.overhang_length_m

    @property
    def _overhangs_m2(self) -> float:
        return self.overhang_length_m * (
            self.overhang_edge_thickness_m + self.overhang_root_thickness_m
        )

    @property
    def _under_deck_m2(self) -> float:
        """Area of both overhangs below the level of the deck's underside."""
        deck_m, edge_m = self.deck_thickness_m, self.overhang_edge_thickness_m
        root_m, length_m = self.overhang_root_thickness_m, self.overhang_length_m
        edge_under, root_under = edge_m - deck_m, root_m - deck_m
        if edge_under >= 0.0 and root_under >= 0.0:
            return length_m * (edge_under + root_under)
        deepest = max(edge_under, root_under)
        if deepest <= 0.0:
            return 0.0
        return length_m * deepest**2 / abs(root_m - edge_m)


@dataclass(frozen=True, slots=True)
class Solids:
    """What fills or thickens the box along each span; arrays (S,).

    Parameters
    ----------
    caps
        Bent caps, a half where a neighbouring span shares one.
    hinge_diaphragms, abutment_diaphragms
        Diaphragms at the span's ends.
    flares
        Flares of the bottom slab, one for each face of a cap.
    """

    caps: Floats
    hinge_diaphragms: Floats
    abutment_diaphragms: Floats
    flares: Floats

    def take(self, rows: NDArray[np.intp]) -> Solids:
        """Return those of some spans."""
        return Solids(*(getattr(self, field.name)[rows] for field in fields(self)))


@dataclass(frozen=True, slots=True)
class Quantities:
    """Planned quantities of spans; arrays (S,).

    Parameters
    ----------
    first_lift_m3
        Bottom slab and stems, with caps, diaphragms and flares [m³].
    deck_m3
        Deck and overhangs [m³].
    deck_form_m2
        Deck soffit formed, in plan: between stems and under overhangs [m²].
    lumber_m3
        Deck-form lumber left in place [m³].
    deck_steel_kg
        Deck reinforcement, NaN where no rate is given [kg].
    deck_area_m2
        Deck in plan, which falsework carries and curing covers [m²].
    """

    first_lift_m3: Floats
    deck_m3: Floats
    deck_form_m2: Floats
    lumber_m3: Floats
    deck_steel_kg: Floats
    deck_area_m2: Floats


def quantities(
    section: TypicalSection, length_m: ArrayLike, deck_area_m2: ArrayLike, solids: Solids
) -> Quantities:
    """Return the quantities of spans that share a section.

    Parameters
    ----------
    section
        Their section.
    length_m, deck_area_m2
        Length along the middle of the deck and its plan area, (S,).
    solids
        Caps, diaphragms and flares of the same spans.

    Notes
    -----
    Caps and diaphragms fill the cells over their length. A flare of length f that thickens
    the slab from b to b + δ fills, with clear width c at the slab and slope s,
    f(δc/2 + sδ²/3), which is the prismoidal rule. Widths are the span's mean, deck area over
    length. Deck forms are not counted over solid parts.

    Examples
    --------
    >>> box = TypicalSection(2.0, 0.2, 1.5, 0.2, 0.3, 3, 0.3, 0.3, 0.15)
    >>> none = np.zeros(1)
    >>> one = quantities(box, [40.0], [480.0], Solids(none, none, none, none))
    >>> [float(x[0].round(3)) for x in (one.first_lift_m3, one.deck_m3, one.deck_form_m2)]
    [113.4, 102.0, 444.0]
    """
    length = np.asarray(length_m, dtype=np.float64)
    area = np.asarray(deck_area_m2, dtype=np.float64)
    width = area / length
    solid_m = solid_length_m(section, solids)
    clear_m = section.clear_width_m(width, section.deck_thickness_m)
    deck_m3 = section.deck_m2(width) * length
    return Quantities(
        first_lift_m3=section.first_lift_m2(width) * length
        + section.cells_m2(width) * solid_m
        + solids.flares * _flare_m3(section, width),
        deck_m3=deck_m3,
        deck_form_m2=clear_m * (length - solid_m) + 2.0 * section.overhang_length_m * length,
        lumber_m3=section.lumber_m * area,
        deck_steel_kg=_deck_steel_kg(section, deck_m3, area),
        deck_area_m2=area,
    )


def solid_length_m(section: TypicalSection, solids: Solids) -> Floats:
    """Return the length of each span that caps and diaphragms fill [m]."""
    return (
        solids.caps * section.bent_cap_length_m
        + solids.hinge_diaphragms * section.hinge_diaphragm_length_m
        + solids.abutment_diaphragms * section.abutment_diaphragm_length_m
    )


def _flare_m3(section: TypicalSection, width_m: Floats) -> Floats:
    """Return the concrete one flare adds to the bottom slab [m³]."""
    thicker_m = max(section.bottom_slab_at_bent_m - section.bottom_slab_thickness_m, 0.0)
    slab_top_m = section.depth_m - section.bottom_slab_thickness_m
    clear_m = section.clear_width_m(width_m, slab_top_m)
    wedge_m2 = thicker_m * clear_m / 2.0 + section.exterior_stem_slope * thicker_m**2 / 3.0
    return section.bottom_slab_flare_m * wedge_m2


def _deck_steel_kg(section: TypicalSection, deck_m3: Floats, area_m2: Floats) -> Floats:
    if section.deck_steel_kg_per_m3 is not None:
        return section.deck_steel_kg_per_m3 * deck_m3
    if section.deck_steel_kg_per_m2 is not None:
        return section.deck_steel_kg_per_m2 * area_m2
    return np.full(area_m2.shape, np.nan)


def prismoidal_m3(length_m: float, begin_m2: float, middle_m2: float, end_m2: float) -> float:
    """Return the volume between two end areas and the one midway, V = L/6 (A₁ + 4Aₘ + A₂).

    Exact where the area is at most a cubic along the length; the mean of the end areas is not.

    Examples
    --------
    >>> round(prismoidal_m3(30.0, 0.0, 25.0, 100.0), 6)
    1000.0
    """
    return length_m / 6.0 * (begin_m2 + 4.0 * middle_m2 + end_m2)


@dataclass(frozen=True, slots=True)
class Fault:
    """Something impossible about a section: the key as in ``section.toml``, and what is wrong."""

    key: str
    message: str
    fix: str


def section_faults(section: TypicalSection) -> list[Fault]:
    """Return what is impossible about a section whatever the width of the deck."""
    faults = []
    slabs_m = section.deck_thickness_m + section.bottom_slab_thickness_m
    if section.depth_m <= slabs_m:
        message = "The depth is not above the deck and the bottom slab together."
        faults.append(Fault("depth", message, "Correct depth, deck or bottom slab."))
    if section.overhang_root_thickness_m >= section.depth_m:
        message = "The overhang is as thick at its root as the box is deep."
        faults.append(Fault("overhang_root_thickness", message, "Correct it or the depth."))
    thicker_m = section.bottom_slab_at_bent_m - section.bottom_slab_thickness_m
    if section.bottom_slab_at_bent_m and thicker_m < 0.0:
        message = "The bottom slab is thinner at a bent than between."
        faults.append(Fault("bottom_slab_at_bent", message, "Give at least its usual thickness."))
    if thicker_m >= section.cell_height_m > 0.0:
        message = "The bottom slab at a bent fills the cell."
        faults.append(Fault("bottom_slab_at_bent", message, "Correct it or the depth."))
    if thicker_m > 0.0 and not section.bottom_slab_flare_m:
        message = "The bottom slab is thicker at a bent but has no flare."
        faults.append(Fault("bottom_slab_flare", message, "Give the length of the flare."))
    return faults


def width_faults(section: TypicalSection, narrowest_m: float) -> list[Fault]:
    """Return what is impossible about a section where the deck is narrowest.

    Parameters
    ----------
    section
        A section without ``section_faults``.
    narrowest_m
        The narrowest deck it is used for [m].
    """
    slab_top_m = section.depth_m - section.bottom_slab_thickness_m
    clear_m = min(
        float(section.clear_width_m(narrowest_m, depth_m))
        for depth_m in (section.deck_thickness_m, slab_top_m)
    )
    if narrowest_m <= 2.0 * section.overhang_length_m:
        message = "The two overhangs are as wide as the deck where it is narrowest."
        return [Fault("overhang_length", message, "Correct it, or the offsets of the bents.")]
    if float(section.soffit_width_m(narrowest_m)) <= 0.0:
        message = "The exterior stems meet above the soffit where the deck is narrowest."
        return [Fault("exterior_stem_slope", message, "Give run over depth, as 0.25.")]
    if clear_m <= 0.0:
        message = "The stems together are wider than the box where the deck is narrowest."
        return [Fault("stem_thickness", message, "Correct stems, their thickness or overhangs.")]
    return []


def span_faults(section: TypicalSection, length_m: Floats, solids: Solids) -> Sequence[int]:
    """Return the places of spans too short for their caps, diaphragms and flares."""
    filled_m = solid_length_m(section, solids) + solids.flares * section.bottom_slab_flare_m
    places: list[int] = np.flatnonzero(filled_m > length_m).tolist()
    return places
