"""Plane geometry: tangents touch, fabrics close, paths keep their lengths."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thinstock.machine.geometry import (
    Arc,
    Circle,
    Line,
    Path,
    Point,
    Pose,
    Turtle,
    belt,
    circle_path,
    on_roll,
    polyline,
    roll_on,
    sector,
    tangent,
    turn_between,
)

places = st.tuples(st.floats(-5, 5), st.floats(-5, 5))
radii = st.floats(0.05, 1.0)
sides = st.sampled_from([1.0, -1.0])


@given(places, radii, sides, radii, sides, st.floats(2.1, 9), st.floats(-3, 3))
def test_a_tangent_touches_both_rolls_at_a_right_angle_to_their_radii(at, r, side, q, turn, apart, angle):
    a = Circle(Point(*at), r)
    b = Circle(a.centre.beside(angle, apart), q)
    line = tangent(a, side, b, turn)
    for circle, end, s in ((a, line.start, side), (b, line.end, turn)):
        assert circle.centre.distance(end) == pytest.approx(circle.radius, abs=1e-9)
        away = circle.centre.angle_to(end)
        assert math.cos(away - line.heading) == pytest.approx(0.0, abs=1e-7)
        # the roll lies on the side it is turned by
        assert math.sin(circle.centre.angle_to(end) - line.heading) * s < 0


def test_rolls_that_touch_share_a_tangent_of_no_length():
    line = tangent(Circle(Point(0, 0), 1.0), 1.0, Circle(Point(3, 0), 2.0), -1.0)
    assert line.length == pytest.approx(0.0, abs=1e-7)
    assert line.start.distance(Point(1, 0)) < 1e-7


def test_rolls_that_overlap_are_refused_with_a_remedy():
    with pytest.raises(ValueError, match="Move them apart"):
        tangent(Circle(Point(0, 0), 1.0), 1.0, Circle(Point(1.5, 0), 1.0), -1.0)


@given(st.lists(radii, min_size=3, max_size=7), st.floats(4, 8))
def test_a_fabric_round_a_ring_of_rolls_closes_and_turns_once(sizes, ring):
    count = len(sizes)
    rolls = [
        (Circle(Point(ring * math.cos(2 * math.pi * i / count), ring * math.sin(2 * math.pi * i / count)), r), 1.0)
        for i, r in enumerate(sizes)
    ]
    path = belt(rolls)
    assert path.gap() < 1e-9
    assert path.start.distance(path.end) < 1e-9
    assert math.fsum(p.turn for p in path.pieces if isinstance(p, Arc)) == pytest.approx(2 * math.pi)
    headings = [(p.at(0.0).heading, p.at(p.length).heading) for p in path.pieces]
    for (_, out), (into, _) in itertools.pairwise([*headings, headings[0]]):
        assert math.cos(out - into) == pytest.approx(1.0, abs=1e-9)


def test_a_fabric_over_an_outside_roll_bends_the_other_way_there():
    rolls = [
        (Circle(Point(0, 0), 0.5), 1.0),
        (Circle(Point(4, 0), 0.5), 1.0),
        (Circle(Point(2, 0.2), 0.2), -1.0),
    ]
    path = belt(rolls)
    assert path.gap() < 1e-9 and path.start.distance(path.end) < 1e-9
    assert on_roll(path, rolls[2][0]).turn < 0 < on_roll(path, rolls[0][0]).turn


def test_the_turtle_walks_the_first_former_of_the_trade():
    turtle = Turtle(0.0, 0.0, math.pi)
    turtle.turn(0.45, -math.pi)  # up round the breast roll
    assert turtle.pose.point.distance(Point(0.0, 0.9)) < 1e-12
    turtle.straight(8.0)
    turtle.turn(0.40, -math.radians(60.0))
    assert turtle.pose.heading == pytest.approx(math.radians(-60.0))
    assert turtle.walked == pytest.approx(0.45 * math.pi + 8.0 + 0.40 * math.pi / 3)
    assert turtle.path().gap() < 1e-12


@given(st.floats(0.1, 3), st.floats(-6, 6).filter(lambda t: abs(t) > 0.05), st.floats(0, 1), st.floats(0, 1))
def test_a_part_of_a_path_starts_and_ends_where_it_is_cut(radius, turn, a, b):
    turtle = Turtle(1.0, -2.0, 0.7)
    turtle.straight(1.3)
    turtle.turn(radius, turn)
    turtle.straight(0.4)
    path = turtle.path()
    start, end = sorted((a * path.length, b * path.length))
    cut = path.part(start, end)
    if end - start > 1e-9:
        assert cut.length == pytest.approx(end - start, abs=1e-9)
        assert cut.start.distance(path.at(start).point) < 1e-9
        assert cut.end.distance(path.at(end).point) < 1e-9
    assert path.reversed().length == pytest.approx(path.length)
    assert path.reversed().start.distance(path.end) < 1e-12


@given(st.floats(-0.2, 0.2), st.floats(0, 1))
def test_a_path_beside_another_keeps_its_distance(left, share):
    turtle = Turtle(0.0, 0.0, 0.2)
    turtle.straight(1.0)
    turtle.turn(0.6, 1.9)
    turtle.turn(0.5, -1.2)
    path = turtle.path()
    beside = path.beside(left)
    assert beside.gap() < 1e-9
    here = path.at(share * path.length)
    assert beside.at(beside.nearest(here.point)).point.distance(here.point) == pytest.approx(abs(left), abs=1e-9)


@given(places)
def test_the_nearest_place_of_a_path_is_nearer_than_any_of_its_points(at):
    turtle = Turtle(0.0, 0.0, 0.0)
    turtle.straight(2.0)
    turtle.turn(0.7, 4.0)
    turtle.straight(1.0)
    path, place = turtle.path(), Point(*at)
    found = path.at(path.nearest(place)).point.distance(place)
    assert found <= min(p.distance(place) for p in path.points(0.01)) + 1e-9


def test_places_beyond_the_ends_go_straight_on():
    path = polyline([(0, 0), (1, 0), (1, 2)])
    assert path.at(-1.0).point == Point(-1.0, 0.0)
    assert path.at(4.0).point.distance(Point(1.0, 3.0)) < 1e-12


@given(st.floats(-3, 3), st.floats(-3, 3), sides)
def test_a_turn_leads_from_one_heading_to_the_other_on_its_side(before, after, side):
    turn = turn_between(before, after, side)
    assert turn * side >= 0 and abs(turn) < 2 * math.pi
    assert math.cos(before + turn - after) == pytest.approx(1.0, abs=1e-9)


def test_a_roll_on_a_path_touches_it_on_its_side():
    pose = Pose(Point(1.0, 2.0), 0.3)
    for side in (1.0, -1.0):
        circle = roll_on(pose, 0.4, side)
        assert circle.centre.distance(pose.point) == pytest.approx(0.4)
        across = (circle.centre.x - 1.0) * -math.sin(0.3) + (circle.centre.y - 2.0) * math.cos(0.3)
        assert across == pytest.approx(side * 0.4)


def test_outlines_of_rings_and_circles_close():
    for path in (sector(Point(0, 0), 0.5, 0.9, 0.2, 1.1), sector(Point(0, 0), 0.0, 0.9, 0.2, -1.1),
                 circle_path(Circle(Point(2, 1), 0.3))):  # fmt: skip
        assert path.gap() < 1e-12 and path.start.distance(path.end) < 1e-12
    assert isinstance(Path((Line(Point(0, 0), Point(1, 0)),)).part(0.5, 0.5).pieces[0], Line)
