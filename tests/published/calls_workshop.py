"""Adaptors that build models for the printed values of strip plans and tightening."""

from __future__ import annotations

import itertools

from driveout.workshop.access import AccessItem, least_release
from driveout.workshop.pattern import circle_order
from driveout.workshop.threads import (
    assembly_preload,
    assembly_torque,
    inch_stress_area,
    preload_from_angle,
    proof_load,
    read_thread,
)


def preload_kn(size: str, property_class: str, friction: float) -> float:
    return assembly_preload(read_thread(size), property_class, friction) / 1000


def torque_nm(size: str, property_class: str, friction: float) -> float:
    return assembly_torque(read_thread(size), property_class, friction)


def proof_n(size: str, property_class: str) -> float:
    return proof_load(read_thread(size), property_class)


def stress_area_mm2(size: str) -> float:
    return read_thread(size).stress_area


def inch_area(diameter: float, threads: int) -> float:
    return inch_stress_area(diameter, threads)


def circle(count: int) -> str:
    return " ".join(str(number) for number in circle_order(count))


def turned_kn(size: str, degrees: float, length_mm: float, give: float) -> float:
    return preload_from_angle(degrees, read_thread(size), length_mm, give) / 1000


def _blocking(points: list[str], lines: set[frozenset[str]]) -> float:
    """Least number of points that meet every line: one target that needs one point of each line."""
    items = {point: AccessItem(point, 1.0) for point in points}
    items["target"] = AccessItem(
        "target", 0.0, tuple(tuple((point,) for point in sorted(line)) for line in sorted(lines, key=sorted))
    )
    release = least_release(items, ["target"])
    assert release.is_proven
    return release.cost


def affine_geometry(dimension: int) -> float:
    points = list(itertools.product(range(3), repeat=dimension))
    lines = {
        frozenset(str(p) for p in (a, b, tuple((-x - y) % 3 for x, y in zip(a, b, strict=True))))
        for a, b in itertools.combinations(points, 2)
    }
    return _blocking([str(point) for point in points], lines)


def projective_geometry(dimension: int) -> float:
    points = range(1, 2 ** (dimension + 1))
    lines = {frozenset(str(p) for p in (a, b, a ^ b)) for a in points for b in points if a < b}
    return _blocking([str(point) for point in points], lines)
