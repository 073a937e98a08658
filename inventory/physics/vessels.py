"""Shapes of vessels: how many litres a dip means, and how deep so many litres stand.

Lengths are inside measurements in cm, volumes in litres. A dip is measured straight up from the
lowest point inside. Every shape answers `volume_l(depth_cm)` and its inverse `depth_cm(volume_l)`,
and knows its `height_cm` (lowest point to brim) and `capacity_l` (full to the brim).

Sources. Circular segment, and both heads together of a lying cylinder, 2:1 elliptical
0.5236 h²(1.5 d − h), hemispherical 1.0472 h²(1.5 d − h): engineers' handbooks (read). Conical heads
of a lying cylinder: the closed form in D. Jones, Computing Fluid Tank Volumes, Chemical Processing
(from memory, and integrated anew in the tests). Cone, spherical cap and torus: geometry.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass, field, replace
from typing import Any

from .lazy import np, pint
from .ranges import Floats, Range, alike
from .units import quantity

CM3_PER_L = 1000.0
LENGTH_CM = Range("inside measurement", "cm", 0, 5000, low_included=False)
CROWN_SHARE = Range("crown radius", "diameters", 0.5, 10)
KNUCKLE_SHARE = Range("knuckle radius", "diameters", 0, 0.5, low_included=False)
DEPTH_CM = Range("dip", "cm", 0)
VOLUME_L = Range("volume", "L", 0)
# After this many halvings the depth is exact to float precision, even in the tip of a cone.
HALVINGS = 120
# The last bits of float arithmetic do not make a full vessel run over.
NOISE = 1 + 1e-12


def _length(value: Any, what: str) -> float:
    return replace(LENGTH_CM, what=what).one(value)


class End(ABC):
    """The bottom of an upright cylinder, or one of the two equal heads of a lying one.

    `radius` is that of the cylinder, in cm; volumes are in cm³.
    """

    @abstractmethod
    def depth_cm(self, radius: float) -> float:
        """How far the end bulges out beyond the straight wall."""

    @abstractmethod
    def bottom_cm3(self, radius: float, filled: Floats) -> Floats:
        """The volume as a bottom, filled to `filled` cm above its lowest point."""

    def head_cm3(self, radius: float, filled: Floats) -> Floats:
        """The volume as one head of a lying cylinder, filled to `filled` cm above the wall."""
        raise ValueError(
            f"A {type(self).__name__.lower()} end is known only as a bottom; "
            "describe a lying tank that has such heads by a calibration table."
        )


@dataclass(frozen=True)
class Flat(End):
    """A flat end."""

    def depth_cm(self, radius: float) -> float:
        return 0.0

    def bottom_cm3(self, radius: float, filled: Floats) -> Floats:
        return np.zeros_like(filled)

    def head_cm3(self, radius: float, filled: Floats) -> Floats:
        return np.zeros_like(filled)


@dataclass(frozen=True)
class Cone(End):
    """A cone so many cm deep, its tip on the axis."""

    cone_cm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "cone_cm", _length(self.cone_cm, "depth of the cone"))

    def depth_cm(self, radius: float) -> float:
        return self.cone_cm

    def bottom_cm3(self, radius: float, filled: Floats) -> Floats:
        return math.pi / 3 * (radius / self.cone_cm) ** 2 * filled**3

    def head_cm3(self, radius: float, filled: Floats) -> Floats:
        whole = math.pi * self.cone_cm * radius**2 / 3
        below = np.minimum(filled, 2 * radius - filled)
        lesser = self.cone_cm * radius**2 / 3 * _cone_slice(_half_angle(radius, below))
        return np.where(filled <= radius, lesser, whole - lesser)


@dataclass(frozen=True)
class Dished(End):
    """Half an ellipsoid so many cm deep."""

    dish_cm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "dish_cm", _length(self.dish_cm, "depth of the dish"))

    def depth_cm(self, radius: float) -> float:
        return self.dish_cm

    def bottom_cm3(self, radius: float, filled: Floats) -> Floats:
        return _ellipsoid_bottom(radius, self.dish_cm, filled)

    def head_cm3(self, radius: float, filled: Floats) -> Floats:
        return _ellipsoid_head(radius, self.dish_cm, filled)


@dataclass(frozen=True)
class Elliptical(End):
    """A 2:1 elliptical end: half an ellipsoid, a quarter of the diameter deep."""

    def depth_cm(self, radius: float) -> float:
        return radius / 2

    def bottom_cm3(self, radius: float, filled: Floats) -> Floats:
        return _ellipsoid_bottom(radius, radius / 2, filled)

    def head_cm3(self, radius: float, filled: Floats) -> Floats:
        return _ellipsoid_head(radius, radius / 2, filled)


@dataclass(frozen=True)
class Hemispherical(End):
    """Half a ball."""

    def depth_cm(self, radius: float) -> float:
        return radius

    def bottom_cm3(self, radius: float, filled: Floats) -> Floats:
        return _ellipsoid_bottom(radius, radius, filled)

    def head_cm3(self, radius: float, filled: Floats) -> Floats:
        return _ellipsoid_head(radius, radius, filled)


@dataclass(frozen=True)
class Torispherical(End):
    """A spherical crown rounded into the wall by a knuckle, for the bottom of an upright tank.

    Both radii are given as shares of the diameter; the default is the usual crown of one diameter
    with a knuckle of a tenth (DIN 28011, from memory).
    """

    crown_share: float = 1.0
    knuckle_share: float = 0.1

    def __post_init__(self) -> None:
        object.__setattr__(self, "crown_share", CROWN_SHARE.one(self.crown_share))
        object.__setattr__(self, "knuckle_share", KNUCKLE_SHARE.one(self.knuckle_share))

    def _radii(self, radius: float) -> tuple[float, float, float]:
        """Crown, knuckle, and the circle on which the knuckle's centres lie."""
        knuckle = 2 * radius * self.knuckle_share
        return 2 * radius * self.crown_share, knuckle, radius - knuckle

    def depth_cm(self, radius: float) -> float:
        crown, knuckle, centres = self._radii(radius)
        return crown - math.sqrt((crown - knuckle) ** 2 - centres**2)

    def bottom_cm3(self, radius: float, filled: Floats) -> Floats:
        crown, knuckle, centres = self._radii(radius)
        depth = self.depth_cm(radius)
        # The crown meets the knuckle on the line through both their centres.
        joint = crown - (crown - depth) * crown / (crown - knuckle) if crown > knuckle else depth
        cap = np.minimum(filled, joint)

        def torus(below_wall: Floats) -> Floats:
            flank = np.sqrt(np.maximum(knuckle**2 - below_wall**2, 0))
            angle = np.arcsin(np.clip(below_wall / knuckle, -1, 1))
            return math.pi * (
                (centres**2 + knuckle**2) * below_wall
                - below_wall**3 / 3
                + centres * (below_wall * flank + knuckle**2 * angle)
            )

        return math.pi * cap**2 * (crown - cap / 3) + (
            torus(np.asarray(depth - joint)) - torus(depth - np.maximum(filled, joint))
        )


class Vessel(ABC):
    """Something honey stands in."""

    @property
    @abstractmethod
    def height_cm(self) -> float:
        """The deepest dip there can be: from the lowest point inside to the brim, in cm."""

    @abstractmethod
    def _litres(self, depth: Floats) -> Floats:
        """The litres below each depth; depths are between 0 and `height_cm`."""

    @property
    def capacity_l(self) -> float:
        """The litres it holds, full to the brim."""
        return float(self._litres(np.asarray(self.height_cm)))

    def volume_l(self, depth_cm: Any) -> Any:
        """Return the litres that stand at a dip in cm.

        Raises ValueError for a dip that is negative or deeper than the vessel.
        """
        depth = DEPTH_CM.floats(depth_cm)
        if (depth > self.height_cm * NOISE).any():
            raise ValueError(
                f"A dip of {depth.max():g} cm is deeper than the vessel, "
                f"which is {self.height_cm:g} cm high inside."
            )
        return alike(self._litres(np.minimum(depth, self.height_cm)))

    def depth_cm(self, volume_l: Any) -> Any:
        """Return the dip in cm at which so many litres stand.

        Raises ValueError for a volume that is negative or more than the vessel holds.
        """
        volume = VOLUME_L.floats(volume_l)
        if (volume > self.capacity_l * NOISE).any():
            raise ValueError(
                f"A volume of {volume.max():g} L is more than the vessel holds, "
                f"which is {self.capacity_l:g} L."
            )
        return alike(self._depths(volume))

    def _depths(self, volume: Floats) -> Floats:
        low, high = np.zeros_like(volume), np.full_like(volume, self.height_cm)
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            short = self._litres(middle) < volume
            low, high = np.where(short, middle, low), np.where(short, high, middle)
        return np.where(volume < self.capacity_l, low, self.height_cm)

    def volume(self, depth: pint.Quantity[Any]) -> pint.Quantity[Any]:
        """Return the volume at a dip in any unit of length, as litres; raises as `volume_l`."""
        return quantity(self.volume_l(depth.to("cm").magnitude), "L")

    def depth(self, volume: pint.Quantity[Any]) -> pint.Quantity[Any]:
        """Return the dip, in cm, of a volume in any unit; raises as `depth_cm`."""
        return quantity(self.depth_cm(volume.to("L").magnitude), "cm")


@dataclass(frozen=True)
class UprightCylinder(Vessel):
    """A cylinder that stands on its bottom, open or flat above.

    `wall_cm` is the height of the straight wall; what the bottom bulges comes on top of it.

    >>> tank = UprightCylinder(diameter_cm=100, wall_cm=120, bottom=Cone(30))
    >>> round(tank.volume_l(80), 1), round(tank.depth_cm(471.2), 1)
    (471.2, 80.0)
    """

    diameter_cm: float
    wall_cm: float
    bottom: End = field(default_factory=Flat)

    def __post_init__(self) -> None:
        object.__setattr__(self, "diameter_cm", _length(self.diameter_cm, "inside diameter"))
        object.__setattr__(self, "wall_cm", _length(self.wall_cm, "height of the straight wall"))
        _check_end(self.bottom)

    @property
    def _radius(self) -> float:
        return self.diameter_cm / 2

    @property
    def height_cm(self) -> float:
        return self.bottom.depth_cm(self._radius) + self.wall_cm

    def _litres(self, depth: Floats) -> Floats:
        bottom = self.bottom.depth_cm(self._radius)
        below = self.bottom.bottom_cm3(self._radius, np.minimum(depth, bottom))
        above = math.pi * self._radius**2 * np.maximum(depth - bottom, 0)
        return (below + above) / CM3_PER_L


@dataclass(frozen=True)
class HorizontalCylinder(Vessel):
    """A cylinder that lies level on its side, with two equal heads.

    `length_cm` is that of the straight wall; what the heads bulge comes on top of it.

    >>> tank = HorizontalCylinder(length_cm=200, diameter_cm=100, heads=Elliptical())
    >>> round(tank.volume_l(50), 1), round(tank.depth_cm(916.3), 1)
    (916.3, 50.0)
    """

    length_cm: float
    diameter_cm: float
    heads: End = field(default_factory=Flat)

    def __post_init__(self) -> None:
        object.__setattr__(self, "length_cm", _length(self.length_cm, "length"))
        object.__setattr__(self, "diameter_cm", _length(self.diameter_cm, "inside diameter"))
        _check_end(self.heads)
        self.heads.head_cm3(self.diameter_cm / 2, np.zeros(()))

    @property
    def height_cm(self) -> float:
        return self.diameter_cm

    def _litres(self, depth: Floats) -> Floats:
        radius = self.diameter_cm / 2
        wall = self.length_cm * _segment_cm2(radius, depth)
        return (wall + 2 * self.heads.head_cm3(radius, depth)) / CM3_PER_L


@dataclass(frozen=True)
class CalibrationTable(Vessel):
    """A vessel known by measured rows of depth (cm) and volume (L), joined by straight lines.

    Dips below the first row or above the last are not guessed at.

    >>> tank = CalibrationTable(depths_cm=(0, 10, 50), volumes_l=(0, 60, 380))
    >>> tank.volume_l(20), tank.depth_cm(140)
    (140.0, 20.0)
    """

    depths_cm: tuple[float, ...]
    volumes_l: tuple[float, ...]

    def __post_init__(self) -> None:
        depths, volumes = DEPTH_CM.floats(self.depths_cm), VOLUME_L.floats(self.volumes_l)
        if depths.ndim != 1 or depths.shape != volumes.shape or len(depths) < 2:
            raise ValueError(
                "A calibration table needs two rows or more, each with a depth and a volume."
            )
        if (np.diff(depths) <= 0).any() or (np.diff(volumes) <= 0).any():
            raise ValueError(
                "In a calibration table each row must be deeper and fuller than the last."
            )
        object.__setattr__(self, "depths_cm", tuple(depths.tolist()))
        object.__setattr__(self, "volumes_l", tuple(volumes.tolist()))

    @property
    def height_cm(self) -> float:
        return self.depths_cm[-1]

    def volume_l(self, depth_cm: Any) -> Any:
        depth = DEPTH_CM.floats(depth_cm)
        if (depth < self.depths_cm[0]).any():
            raise ValueError(
                f"A dip of {depth.min():g} cm is below the first row of the calibration table, "
                f"which is at {self.depths_cm[0]:g} cm."
            )
        return super().volume_l(depth)

    def depth_cm(self, volume_l: Any) -> Any:
        volume = VOLUME_L.floats(volume_l)
        if (volume < self.volumes_l[0]).any():
            raise ValueError(
                f"A volume of {volume.min():g} L is below the first row of the calibration table, "
                f"which is at {self.volumes_l[0]:g} L."
            )
        return super().depth_cm(volume)

    def _litres(self, depth: Floats) -> Floats:
        return np.interp(depth, self.depths_cm, self.volumes_l)

    def _depths(self, volume: Floats) -> Floats:
        return np.interp(volume, self.volumes_l, self.depths_cm)


def _check_end(end: Any) -> None:
    if not isinstance(end, End):
        kinds = ", ".join(kind.__name__ for kind in End.__subclasses__())
        raise ValueError(f"An end must be one of {kinds}, not {end!r}.")


def _half_angle(radius: float, filled: Floats) -> Floats:
    """Half the angle that the surface spans, seen from the axis of a lying cylinder."""
    return 2 * np.arcsin(np.sqrt(np.clip(filled / (2 * radius), 0, 1)))


def _segment_cm2(radius: float, filled: Floats) -> Floats:
    """The area of a circle below a level: r²(θ − sin θ cos θ), θ the half angle.

    The same as r² acos((r − h)/r) − (r − h)√(2rh − h²), without its loss of digits near the wall.
    """
    half = _half_angle(radius, np.minimum(filled, 2 * radius - filled))
    lesser = radius**2 / 2 * _less_sine(2 * half)
    return np.where(filled <= radius, lesser, math.pi * radius**2 - lesser)


def _less_sine(angle: Floats) -> Floats:
    """x − sin x, by its series where the difference would lose its digits."""
    square = angle**2
    series = (
        angle
        * square
        / 6
        * (1 - square / 20 * (1 - square / 42 * (1 - square / 72 * (1 - square / 110))))
    )
    return np.where(angle < 0.3, series, angle - np.sin(angle))


def _cone_slice(half: Floats) -> Floats:
    """θ + cos³θ artanh(sin θ) − 2 sin θ cos θ, by its series where it would lose its digits."""
    square = half**2
    series = np.full_like(half, 398 / 70945875)
    for term in (188 / 2027025, 8 / 4725, 2 / 105, 2 / 15, 2 / 5):
        series = term - square * series
    series = half**5 * series
    # At θ = 90° the middle term is 0 × ∞, and its limit is 0: keep the ∞ finite.
    sine, cosine = np.sin(half), np.cos(half)
    exact = half + cosine**3 * np.arctanh(np.minimum(sine, 1 - 1e-15)) - 2 * sine * cosine
    return np.where(half < 0.3, series, exact)


def _ellipsoid_bottom(radius: float, depth: float, filled: Floats) -> Floats:
    return math.pi * radius**2 * filled**2 / depth * (1 - filled / (3 * depth))


def _ellipsoid_head(radius: float, depth: float, filled: Floats) -> Floats:
    """cm³ in one dished head of a lying tank; above the middle, what is missing to a full one.

    So it keeps its digits near the brim, as the segment of the straight part does.
    """
    nearer = np.minimum(filled, 2 * radius - filled)
    lesser = math.pi * depth / 2 * nearer**2 * (1 - nearer / (3 * radius))
    full = 2 / 3 * math.pi * depth * radius**2
    return np.where(filled <= radius, lesser, full - lesser)
