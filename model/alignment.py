"""The line a structure follows in plan: tangents, circular curves and clothoids.

A station is the distance along the line. An offset is the distance square to it, positive to
the left of a person who looks along rising stations. Everything here is in metres, and every
method takes arrays of stations.

An element is described by its length and by its curvature (one over the radius, positive to
the left) at both ends, which varies evenly between them. Tangents and curves have a closed
form. A clothoid is integrated by Gauss-Legendre quadrature, which unlike the Fresnel
integrals stays exact when its two radii are nearly the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from model.problems import Problem, Severity, errors_only

ElementKind = Literal["tangent", "curve", "spiral"]
Turn = Literal["left", "right", ""]
Floats = NDArray[np.float64]

ELEMENT_KINDS: tuple[ElementKind, ...] = get_args(ElementKind)

_MAX_PIECE_TURN_RAD = 0.5
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)
_NODES, _WEIGHTS = (_NODES + 1.0) / 2.0, _WEIGHTS / 2.0
"""Eight nodes reach rounding error on a clothoid that turns at most half a radian."""

_SAME_RADIUS = 1e-9
_SAME_CURVATURE = 1e-3
_SAMPLE_SPACING_M = 10.0
_SAMPLE_TURN_RAD = 0.1
_MAX_ITERATIONS = 30
_CONVERGED_M = 1e-9


@dataclass(frozen=True, slots=True)
class Element:
    """One tangent, circular curve or spiral (clothoid) of an alignment.

    An element may be nonsense, so that everything wrong with a file can be said at once:
    see ``element_problems``. ``Alignment`` takes only sound ones.

    Parameters
    ----------
    kind
        ``"tangent"``, ``"curve"`` or ``"spiral"``.
    length_m
        Length along the line [m].
    radius_in_m, radius_out_m
        Radius where the element begins and ends [m]; infinite is straight. A curve has both
        equal. A spiral has two different ones, and both may be finite.
    turn
        The way it bends, ``"left"`` or ``"right"``; blank for a tangent.
    """

    kind: ElementKind
    length_m: float
    radius_in_m: float = math.inf
    radius_out_m: float = math.inf
    turn: Turn = ""

    @property
    def curvature_in_per_m(self) -> float:
        """Curvature where it begins [1/m], positive to the left."""
        return _sign(self.turn) / self.radius_in_m

    @property
    def curvature_out_per_m(self) -> float:
        """Curvature where it ends [1/m], positive to the left."""
        return _sign(self.turn) / self.radius_out_m


class _Pieces(NamedTuple):
    """The line cut so that no piece turns far, with a straight run before and after it.

    Distances are from the start of the line [m], positions from its start point [m], headings
    counter-clockwise from grid east [rad]. ``begin_m`` of the run before the line is 0: its
    own distances are negative.
    """

    begin_m: Floats
    x_m: Floats
    y_m: Floats
    heading_rad: Floats
    curvature_per_m: Floats
    rate_per_m2: Floats


@dataclass(frozen=True)
class Alignment:
    """A horizontal alignment: a start point, a direction and the elements in order.

    Each element begins where the one before ends and in its direction, so the line never has
    a corner; whether the curvature joins too is for ``joint_problems`` to say.

    Parameters
    ----------
    key
        Short key, as in the project's files.
    start_station_m
        Station of the start point [m].
    easting_m, northing_m
        Start point [m] (a coordinate in feet is converted before it comes here).
    azimuth_deg
        Direction at the start, clockwise from grid north [degrees].
    elements
        At least one, in order of rising stations.

    Raises
    ------
    ValueError
        Without elements, or with one that ``element_problems`` calls an error.

    Notes
    -----
    With heading θ counter-clockwise from east, start curvature κ and its change per metre
    c, a distance s into an element lies at ∫₀ˢ (cos, sin)(θ + κu + cu²/2) du from its start.

    Examples
    --------
    >>> line = Alignment("main", 1000.0, 500.0, 200.0, 90.0, (Element("tangent", 400.0),))
    >>> [float(round(v, 6)) for v in line.position(1100.0, 5.0)]
    [600.0, 205.0]
    """

    key: str
    start_station_m: float
    easting_m: float
    northing_m: float
    azimuth_deg: float
    elements: tuple[Element, ...]

    def __post_init__(self) -> None:
        faults = [
            f"element {number}: {problem.message}"
            for number, element in enumerate(self.elements, start=1)
            for problem in errors_only(element_problems(element))
        ]
        if not self.elements:
            faults.append("it has no element")
        if faults:
            raise ValueError(f"alignment {self.key}: " + " ".join(faults))

    @cached_property
    def length_m(self) -> float:
        """Length from the first element's start to the last one's end [m]."""
        return math.fsum(element.length_m for element in self.elements)

    @property
    def end_station_m(self) -> float:
        """Station of the end point [m]."""
        return self.start_station_m + self.length_m

    def position(self, station_m: ArrayLike, offset_m: ArrayLike = 0.0) -> tuple[Floats, Floats]:
        """Return the points at the given stations and offsets.

        Parameters
        ----------
        station_m
            Stations, any shape [m]. Before its start and after its end the line goes on
            straight, so that a skewed bent at an abutment has somewhere to end.
        offset_m
            Distances square to the line, positive to the left; any shape that fits [m].

        Returns
        -------
        easting_m, northing_m
            Arrays of the common shape [m].
        """
        piece, along_m = self._find(station_m)
        line = self._pieces
        heading = line.heading_rad[piece]
        curvature = line.curvature_per_m[piece]
        rate = line.rate_per_m2[piece]
        dx, dy = _run(along_m, heading, curvature, rate)
        heading = heading + _turned(along_m, curvature, rate)
        offset = np.asarray(offset_m, dtype=np.float64)
        easting = self.easting_m + (line.x_m[piece] + dx - offset * np.sin(heading))
        northing = self.northing_m + (line.y_m[piece] + dy + offset * np.cos(heading))
        return easting, northing

    def heading_rad(self, station_m: ArrayLike) -> Floats:
        """Return the direction of the line, counter-clockwise from grid east [rad].

        It runs on without jumps of a full turn, so differences are what the line has turned.
        The azimuth, clockwise from north, is 90° less this.

        Parameters
        ----------
        station_m
            Stations, any shape [m].
        """
        piece, along_m = self._find(station_m)
        line = self._pieces
        turned = _turned(along_m, line.curvature_per_m[piece], line.rate_per_m2[piece])
        heading: Floats = line.heading_rad[piece] + turned
        return heading

    def curvature_per_m(self, station_m: ArrayLike) -> Floats:
        """Return one over the radius at the given stations [1/m], positive to the left."""
        piece, along_m = self._find(station_m)
        curvature: Floats = (
            self._pieces.curvature_per_m[piece] + self._pieces.rate_per_m2[piece] * along_m
        )
        return curvature

    def sharpest_per_m(self, from_station_m: ArrayLike, to_station_m: ArrayLike) -> Floats:
        """Return a bound of the curvature between stations, regardless of side [1/m].

        Parameters
        ----------
        from_station_m, to_station_m
            Equally many stations in one dimension, the first not after the second [m].

        Returns
        -------
        curvature_per_m
            The largest curvature of any piece of the line touched; never too small, and on a
            spiral sometimes a little too large.
        """
        first, _ = self._find(from_station_m)
        last, _ = self._find(to_station_m)
        pairs = np.stack([first, last + 1], axis=-1).ravel()
        bounds = np.append(self._sharpest_of_piece, 0.0)
        sharpest: Floats = np.maximum.reduceat(bounds, pairs)[::2]
        return sharpest

    def locate(self, easting_m: ArrayLike, northing_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return station and offset of points: the inverse of ``position``.

        Parameters
        ----------
        easting_m, northing_m
            Points, any shape that fits [m].

        Returns
        -------
        station_m
            Station of the nearest point of the line [m]. A point before the start or after
            the end gets the station of that end: ask ``position`` for the two results and
            compare to tell such points.
        offset_m
            Distance square to the line there, positive to the left [m].

        Notes
        -----
        Starts from the nearest of many points on the line and follows Newton's method on the
        part of the miss that lies along the line. Station and offset come back within 1e-6 m
        for points nearer to the line than its centre of curvature. At the centre itself many
        stations are equally near and one of them is given.
        """
        x, y = np.broadcast_arrays(
            np.asarray(easting_m, dtype=np.float64) - self.easting_m,
            np.asarray(northing_m, dtype=np.float64) - self.northing_m,
        )
        tree, sample_m = self._samples
        along_m = sample_m[tree.query(np.stack([x.ravel(), y.ravel()], axis=1))[1]]
        along_m = along_m.reshape(x.shape)
        for _ in range(_MAX_ITERATIONS):
            ahead, offset, curvature = self._miss(x, y, along_m)
            step = ahead / np.maximum(1.0 - curvature * offset, 0.1)
            moved = np.clip(along_m + step, 0.0, self.length_m)
            done = np.all(np.abs(moved - along_m) < _CONVERGED_M)
            along_m = moved
            if done:
                break
        return self.start_station_m + along_m, self._miss(x, y, along_m)[1]

    def _miss(self, x: Floats, y: Floats, along_m: Floats) -> tuple[Floats, Floats, Floats]:
        """Return how far points lie ahead of and left of the line, and its curvature there."""
        piece = self._piece_at(along_m)
        line = self._pieces
        into_m = along_m - line.begin_m[piece]
        heading, curvature, rate = (
            line.heading_rad[piece],
            line.curvature_per_m[piece],
            line.rate_per_m2[piece],
        )
        dx, dy = _run(into_m, heading, curvature, rate)
        dx, dy = x - line.x_m[piece] - dx, y - line.y_m[piece] - dy
        heading = heading + _turned(into_m, curvature, rate)
        cos, sin = np.cos(heading), np.sin(heading)
        return dx * cos + dy * sin, dy * cos - dx * sin, curvature + rate * into_m

    def _find(self, station_m: ArrayLike) -> tuple[NDArray[np.intp], Floats]:
        """Return the piece each station lies on, and how far into it [m]."""
        along_m = np.asarray(station_m, dtype=np.float64) - self.start_station_m
        piece = self._piece_at(along_m)
        return piece, along_m - self._pieces.begin_m[piece]

    def _piece_at(self, along_m: Floats) -> NDArray[np.intp]:
        # The straight run before the line and its first piece both begin at 0.
        return np.searchsorted(self._pieces.begin_m[1:], along_m, side="right")

    @cached_property
    def _pieces(self) -> _Pieces:
        cut = np.array([cut for element in self.elements for cut in _cut(element)])
        length, curvature, rate = cut.T
        turned = _turned(length, curvature, rate)
        start_rad = math.radians(90.0 - self.azimuth_deg)
        heading = start_rad + np.concatenate([[0.0], np.cumsum(turned)])
        dx, dy = _run(length, heading[:-1], curvature, rate)
        begin, x, y = (np.concatenate([[0.0, 0.0], np.cumsum(v)]) for v in (length, dx, dy))
        heading = np.concatenate([[start_rad], heading])
        straight = np.zeros(1)
        curvature, rate = (np.concatenate([straight, v, straight]) for v in (curvature, rate))
        return _Pieces(begin, x, y, heading, curvature, rate)

    @cached_property
    def _sharpest_of_piece(self) -> Floats:
        line = self._pieces
        length = np.append(np.diff(line.begin_m), 0.0)
        at_end = line.curvature_per_m + line.rate_per_m2 * length
        sharpest: Floats = np.maximum(np.abs(line.curvature_per_m), np.abs(at_end))
        return sharpest

    @cached_property
    def _samples(self) -> tuple[cKDTree, Floats]:
        """Points close enough together that the nearest is next to the foot of any point."""
        line = self._pieces
        length = np.diff(line.begin_m)[1:]
        by_turn = length * self._sharpest_of_piece[1:-1] / _SAMPLE_TURN_RAD
        counts = np.ceil(np.maximum(length / _SAMPLE_SPACING_M, by_turn)).astype(int) + 1
        along_m = np.concatenate(
            [
                np.linspace(begin, begin + run, count)
                for begin, run, count in zip(line.begin_m[1:-1], length, counts, strict=True)
            ]
        )
        origin = Alignment(self.key, 0.0, 0.0, 0.0, self.azimuth_deg, self.elements)
        return cKDTree(np.stack(origin.position(along_m), axis=1)), along_m


def element_problems(
    element: Element,
    *,
    file: str = "alignment.csv",
    row: int | None = None,
    metres_per_unit: float = 1.0,
) -> list[Problem]:
    """Return everything wrong with one element taken by itself.

    Parameters
    ----------
    element
        As read.
    file, row
        Where it was read, for the messages.
    metres_per_unit
        Metres in the file's unit of length, so that messages show what was typed.

    Examples
    --------
    >>> [p.field for p in element_problems(Element("curve", 50.0, 300.0, 400.0, "left"))]
    ['radius_out']
    """
    faults = [
        *_length_faults(element, metres_per_unit),
        *_radius_faults(element, metres_per_unit),
        *_turn_faults(element),
    ]
    return [Problem(file, f.message, f.fix, row, f.field, f.severity) for f in faults]


def joint_problems(
    alignment: Alignment,
    *,
    file: str = "alignment.csv",
    rows: Sequence[int] | None = None,
    metres_per_unit: float = 1.0,
) -> list[Problem]:
    """Return the joints at which a spiral doesn't meet the radius of its neighbour.

    They are warnings: the line can be built as given, yet most often a radius was mistyped.
    Where two curves or a curve and a tangent meet, the radius may change (compound curves
    and curves without spirals are usual).

    Parameters
    ----------
    alignment
        The line.
    file, rows
        Where it was read; one row for each element.
    metres_per_unit
        Metres in the file's unit of length, so that messages show what was typed.
    """
    problems = []
    for number, (before, after) in enumerate(pairwise(alignment.elements), start=1):
        if "spiral" not in (before.kind, after.kind):
            continue
        leaves, enters = before.curvature_out_per_m, after.curvature_in_per_m
        if abs(enters - leaves) <= _SAME_CURVATURE * max(abs(leaves), abs(enters)):
            continue
        message = (
            f"Element {number} of {alignment.key} ({before.kind}) ends "
            f"{_bend_in_words(leaves, metres_per_unit)}, element {number + 1} ({after.kind}) "
            f"begins {_bend_in_words(enters, metres_per_unit)}."
        )
        fix = "Let a spiral begin and end with the radius and turn of its neighbours."
        row = rows[number] if rows is not None else None
        problems.append(Problem(file, message, fix, row, "radius_in", "warning"))
    return problems


def _sign(turn: Turn) -> float:
    return {"left": 1.0, "right": -1.0}.get(turn, 0.0)


def _turned(along_m: Floats, curvature: Floats, rate: Floats) -> Floats:
    """Return the change of heading over a distance into a piece [rad]."""
    turned: Floats = along_m * (curvature + 0.5 * rate * along_m)
    return turned


def _run(
    along_m: Floats, heading: Floats, curvature: Floats, rate: Floats
) -> tuple[Floats, Floats]:
    """Return the run in x and y over a distance into a piece [m]."""
    half = 0.5 * curvature * along_m
    chord = along_m * np.sinc(half / np.pi)
    dx, dy = chord * np.cos(heading + half), chord * np.sin(heading + half)
    spiral = rate != 0.0
    if np.any(spiral):
        dx, dy = np.asarray(dx), np.asarray(dy)
        length, start, bend, change = (v[spiral] for v in (along_m, heading, curvature, rate))
        at_m = length[..., None] * _NODES
        angle = start[..., None] + _turned(at_m, bend[..., None], change[..., None])
        dx[spiral] = length * (np.cos(angle) @ _WEIGHTS)
        dy[spiral] = length * (np.sin(angle) @ _WEIGHTS)
    return dx, dy


def _cut(element: Element) -> Iterator[tuple[float, float, float]]:
    """Yield length, start curvature and its rate for pieces on which quadrature is exact."""
    k_in, k_out = element.curvature_in_per_m, element.curvature_out_per_m
    if element.kind != "spiral":
        yield element.length_m, k_in, 0.0
        return
    turn_bound = max(abs(k_in), abs(k_out)) * element.length_m
    count = max(1, math.ceil(turn_bound / _MAX_PIECE_TURN_RAD))
    rate = (k_out - k_in) / element.length_m
    for index in range(count):
        yield element.length_m / count, k_in + (k_out - k_in) * index / count, rate


class _Fault(NamedTuple):
    field: str
    message: str
    fix: str
    severity: Severity = "error"


def _length_faults(element: Element, metres_per_unit: float) -> Iterator[_Fault]:
    if element.kind not in ELEMENT_KINDS:
        kinds = ", ".join(ELEMENT_KINDS)
        yield _Fault("element", f"{element.kind!r} is no element.", f"Use one of {kinds}.")
    if not (0.0 < element.length_m < math.inf):
        shown = f"{element.length_m / metres_per_unit:g}"
        yield _Fault("length", f"The length is {shown}.", "Give a length above 0.")


def _radius_faults(element: Element, metres_per_unit: float) -> Iterator[_Fault]:
    radii = {"radius_in": element.radius_in_m, "radius_out": element.radius_out_m}
    wrong = [field for field, radius in radii.items() if not radius > 0.0]
    for field in wrong:
        shown = f"{radii[field] / metres_per_unit:g}"
        fix = "Give a radius above 0, or leave it blank for straight; turn says left or right."
        yield _Fault(field, f"The radius is {shown}.", fix)
    if wrong:
        return
    inward, outward = (f"{radius / metres_per_unit:g}" for radius in radii.values())
    straight = [field for field, radius in radii.items() if math.isinf(radius)]
    same = math.isclose(element.radius_in_m, element.radius_out_m, rel_tol=_SAME_RADIUS)
    if element.kind == "tangent":
        for field in (f for f in radii if f not in straight):
            yield _Fault(field, "A tangent has a radius.", "Leave it blank, or call it a curve.")
    elif element.kind == "curve" and straight:
        yield _Fault(straight[0], "A curve has no radius.", "Give both radii, and equal.")
    elif element.kind == "curve" and not same:
        message = f"A curve goes from radius {inward} to {outward}."
        yield _Fault("radius_out", message, "Give both radii equal, or call it a spiral.")
    elif element.kind == "spiral" and same:
        found = "no radius" if straight else f"radius {inward} at both ends"
        fix = "Give two different radii (blank is straight)."
        yield _Fault("radius_out", f"A spiral has {found}.", fix)


def _turn_faults(element: Element) -> Iterator[_Fault]:
    if element.turn not in get_args(Turn):
        yield _Fault("turn", f"The turn is {element.turn!r}.", 'Write "left" or "right".')
    elif element.kind == "tangent" and element.turn:
        message = f"A tangent turns {element.turn}; this is passed over."
        yield _Fault("turn", message, "Clear it.", "warning")
    elif element.kind in ("curve", "spiral") and not element.turn:
        yield _Fault("turn", f"A {element.kind} has no turn.", 'Write "left" or "right".')


def _bend_in_words(curvature_per_m: float, metres_per_unit: float) -> str:
    if curvature_per_m == 0.0:
        return "straight"
    side = "left" if curvature_per_m > 0.0 else "right"
    return f"at radius {abs(1.0 / curvature_per_m) / metres_per_unit:g} {side}"
