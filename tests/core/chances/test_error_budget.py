"""Error budget: closed forms without drag, identities, symmetries, and how shares add up."""

from dataclasses import replace

import numpy as np
import pytest

from arrowloft.core.archer.groups import Group
from arrowloft.core.chances.budget_inputs import (
    CLICK_ROUNDING,
    Draw,
    Input,
    Loosed,
    click_input,
    draw_input,
    usual_inputs,
)
from arrowloft.core.chances.error_budget import error_budget, explained
from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.geometry import arrow_line
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import BeyondReach
from arrowloft.core.setup.air import air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.gravity import STANDARD
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.setup_change import held_angle
from arrowloft.core.sight.wind_table import wind_table

SPEED, RADIUS, CLICK = 60.0, 0.86, 1.25e-4
DISTANCES = np.array([18.0, 70.0, 40.0])
AIR = air(temperature=288.15, pressure=101_325.0, relative_humidity=0.5)[0]
WINDY = {
    "wind_speed": 5.0,
    "wind_from": 1.2,
    "slope": 0.3,
    "tip_lead": 0.3,
    "launch_forward": 0.9,
    "peep_height": 0.115,
}


def vacuum(flow, arrow):
    return np.zeros(flow.airspeed.shape)


def steady(flow, arrow):
    return 2.0 * cross_section(arrow) + np.zeros(flow.airspeed.shape)


def shot_of(drag=vacuum, **changes):
    """From the eye itself, level, in still air."""
    values = {
        "launch_speed": SPEED,
        "arrow": Arrow(mass=0.02, shaft_diameter=5.5e-3),
        "drag": drag,
        "air": AIR,
        "peep_height": 0.0,
        "kinks": (),
    }
    return Shot(**{**values, **changes})


def budget_of(shot, distances=DISTANCES, mass_speed=None, **scatter):
    inputs = usual_inputs(shot, RADIUS, mass_speed)
    inputs["click"] = click_input(RADIUS, CLICK)
    given = {name: replace(inputs[name], scatter=value) for name, value in scatter.items()}
    return error_budget(shot, distances, inputs | given)


def per_unit(budget, name):
    row = budget.names.index(name)
    return budget.up[row], budget.right[row]


def drop(angle):
    """Below the line of departure at the target; without drag the mark lies on it."""
    return DISTANCES * np.tan(angle)


# --- without drag, from the eye: up = D tan(a) - g D^2 / (2 v^2 cos^2(a)) -------------------


@pytest.fixture(scope="module")
def thrown():
    return budget_of(shot_of())


@pytest.fixture(scope="module")
def angle():
    return 0.5 * np.arcsin(STANDARD * DISTANCES / SPEED**2)


def test_speed_in_a_vacuum(thrown, angle):
    up, right = per_unit(thrown, "speed")
    assert up == pytest.approx(2.0 * drop(angle) / SPEED, rel=1e-8)
    assert right == pytest.approx(np.zeros(3), abs=1e-12)


def test_range_is_the_slope_of_the_descent(thrown, angle):
    """Without drag the descent mirrors the launch."""
    assert per_unit(thrown, "range")[0] == pytest.approx(-np.tan(angle), rel=1e-8)


def test_angles_up_in_a_vacuum(thrown, angle):
    """d up / d tan(a) = D - g D^2 tan(a) / v^2, and by the pin d tan(a) = x / r."""
    tangent = np.tan(angle)
    per_tangent = DISTANCES - STANDARD * DISTANCES**2 / SPEED**2 * tangent
    up = per_unit(thrown, "aim_up")[0]
    assert up == pytest.approx(per_tangent * (1.0 + tangent**2), rel=1e-9)
    assert per_unit(thrown, "click")[0] == pytest.approx(per_tangent * CLICK / RADIUS, rel=1e-9)
    # The eye is the origin: raised by x the arrow starts x lower across its own line, which
    # moves its path ahead by x sin(a) and down by x cos(a); the path falls by tan(a).
    start = np.sin(angle) * tangent - np.cos(angle)
    found = per_unit(thrown, "peep_height")[0]
    assert found == pytest.approx(per_tangent / RADIUS + start, rel=1e-8)


def test_sideways_in_a_vacuum(thrown, angle):
    for name in ("aim_right", "torque"):
        assert per_unit(thrown, name)[1] == pytest.approx(DISTANCES, rel=1e-9)
    right = DISTANCES * np.cos(angle) / RADIUS - 1.0
    assert per_unit(thrown, "anchor_sideways")[1] == pytest.approx(right, rel=1e-9)


def test_roll_moves_by_the_drop_and_not_in_height(thrown, angle):
    up, right = per_unit(thrown, "roll")
    assert right == pytest.approx(drop(angle), rel=1e-8)
    assert up == pytest.approx(np.zeros(3), abs=1e-9)


def test_slope_in_a_vacuum(thrown, angle):
    """up = D tan(a) - h, h from s = v t cos(a) - g t^2 sin(f) / 2 = D: d up / d f at f = 0."""
    time = DISTANCES / (SPEED * np.cos(angle))
    longer = 0.5 * STANDARD * time**2 / (SPEED * np.cos(angle))
    rising = SPEED * np.sin(angle) - STANDARD * time
    assert per_unit(thrown, "slope")[0] == pytest.approx(rising * longer, rel=1e-7)


def test_without_air_nothing_of_it_matters(thrown):
    for name in ("drag", "mass", "wind_along", "wind_across", "temperature", "pressure"):
        assert np.abs(per_unit(thrown, name)).max() < 1e-11


def test_mass_acts_through_the_launch_speed_alone_in_a_vacuum(thrown):
    """m v^2 kept: dv/dm = -v / 2m."""

    def speeds(mass):
        return SPEED * np.sqrt(0.02 / mass)

    found = per_unit(budget_of(shot_of(), mass_speed=speeds), "mass")[0]
    slower = -SPEED / (2.0 * 0.02)
    assert found == pytest.approx(per_unit(thrown, "speed")[0] * slower, rel=1e-8)


def test_draw_length_moves_speed_pin_and_start(thrown, angle):
    """The pin r ahead of the eye: d tan(a) / dx = -tan(a) / r; the start x farther ahead."""
    draw = Draw(speed=lambda length: SPEED * length / 0.7, length=0.7, carries=True)
    shot = shot_of()
    found = error_budget(shot, DISTANCES, {"draw": draw_input(RADIUS, draw)}).up[0]
    held = error_budget(
        shot, DISTANCES, {"draw": draw_input(RADIUS, replace(draw, carries=False))}
    ).up[0]
    tangent = np.tan(angle)
    per_tangent = DISTANCES - STANDARD * DISTANCES**2 / SPEED**2 * tangent
    faster = per_unit(thrown, "speed")[0] * SPEED / 0.7
    assert held == pytest.approx(faster - per_tangent * tangent / RADIUS, rel=1e-7)
    # A start by dx along the arrow's line: the whole path moves ahead and up with it.
    moved = np.sin(angle) + np.cos(angle) * tangent
    assert found - held == pytest.approx(moved, rel=1e-5)


# --- with drag ------------------------------------------------------------------------------


def test_lighter_thicker_air_and_drag_are_one_thing():
    """With a constant coefficient all act through rho CdA / m alone, the speed kept."""
    found = budget_of(shot_of(steady, **WINDY))
    drag = np.array(per_unit(found, "drag"))
    assert np.array(per_unit(found, "mass")) * 0.02 == pytest.approx(-drag, rel=1e-6)

    def density(**state):
        given = {"temperature": AIR.temperature, "pressure": AIR.pressure, **state}
        return float(air(relative_humidity=0.5, **given)[0].density)

    for name, step in (("temperature", 0.01), ("pressure", 1.0)):
        now = getattr(AIR, name)
        share = density(**{name: now + step}) - density(**{name: now - step})
        share /= 2.0 * step * AIR.density
        assert np.array(per_unit(found, name)) == pytest.approx(drag * share, rel=1e-6)


def test_range_is_the_slope_of_the_path_at_the_target():
    """Where the tip is the balance point, its path's."""
    shot = shot_of(steady, slope=-0.4)
    found = per_unit(budget_of(shot), "range")[0]
    assert found == pytest.approx(np.tan(aim(shot, DISTANCES).descent_angle), rel=1e-7)


def test_aiming_aside_on_a_slope_turns_all_about_the_vertical():
    """In still air the impact goes with the line of sight exactly; a mere yaw does not."""
    found = budget_of(shot_of(steady, slope=0.6, peep_height=0.1, launch_forward=0.8))
    assert per_unit(found, "aim_right")[1] == pytest.approx(DISTANCES, rel=1e-9)
    assert np.abs(per_unit(found, "torque")[1] / DISTANCES - 1.0).max() > 0.01


def test_the_eye_moved_up_is_a_set_up_with_another_peep_height():
    shot, more = shot_of(steady, **WINDY), 1e-4
    aimed = aim(shot, DISTANCES)
    hit = [
        impacts(higher, held_angle(shot, higher, RADIUS, aimed.launch_angle), DISTANCES)
        for higher in (shot.with_(peep_height=0.115 + x) for x in (-more, more))
    ]
    up, right = per_unit(budget_of(shot), "peep_height")
    assert up == pytest.approx((hit[1].up - hit[0].up) / (2.0 * more), rel=1e-5)
    assert right == pytest.approx((hit[1].right - hit[0].right) / (2.0 * more), abs=1e-4)


def test_winds_add_to_the_set_ups_own():
    """Cross wind in still air drifts as the wind table says; a head wind's derivative is the
    difference of two winds."""
    shot = shot_of(steady)
    across = per_unit(budget_of(shot), "wind_across")[1]
    table = wind_table(shot, DISTANCES, np.array([0.01]), np.array([1.5 * np.pi]))
    assert across == pytest.approx(table.drift / 0.01, rel=1e-5)
    windy = shot_of(steady, wind_speed=5.0, wind_from=0.0)
    along = per_unit(budget_of(windy), "wind_along")[0]
    held = aim(windy, DISTANCES).launch_angle
    less, more = (
        impacts(windy.with_(wind_speed=5.0 - change), held, DISTANCES).up for change in (-0.1, 0.1)
    )
    assert along == pytest.approx((more - less) / 0.2, rel=1e-4)


def test_mirrored_wind_mirrors_every_shift():
    def found(comes_from):
        return budget_of(shot_of(steady, **WINDY | {"wind_from": comes_from}))

    one, other = found(1.2), found(-1.2)
    across = ("anchor_sideways", "torque", "roll", "aim_right", "wind_across")
    sign = np.array([[-1.0 if name in across else 1.0] for name in one.names])
    size = np.hypot(one.up, one.right).max(axis=1, keepdims=True)
    assert np.abs(one.up - sign * other.up).max() == pytest.approx(0.0, abs=1e-6 * size.max())
    assert (np.abs(one.up - sign * other.up) <= 1e-6 * size).all()
    assert (np.abs(one.right + sign * other.right) <= 1e-6 * size).all()


def test_the_frame_of_an_eye_moved_aside():
    """The eye, the pin and the flight's origin lie where the frame puts them."""
    shot = shot_of(slope=0.2, peep_height=0.1)
    change = usual_inputs(shot, RADIUS, None)["anchor_sideways"].change
    aside, held = (
        np.array([0.01]),
        Loosed(shot=shot, launch_angle=np.array([0.1]), distance=np.array([30.0])),
    )
    moved = change(held, aside)
    line, up = arrow_line(moved.launch_angle, moved.yaw, moved.shot.roll)
    right = np.cross(line, up, axis=0)
    # The bow stays level: its right has no part along the vertical.
    assert right[0] * np.sin(0.2) + right[1] * np.cos(0.2) == pytest.approx([0.0], abs=1e-15)
    # The pin lies on the line of sight, but for what is of second order: 1e-4 radians of it.
    pin = RADIUS * line - RADIUS * np.tan(0.1) * up - aside * right
    assert pin[1:, 0] == pytest.approx([0.0, 0.0], abs=2e-5)
    origin = -aside * right
    assert [30.0 - moved.distance[0], moved.right[0]] == pytest.approx(
        origin[[0, 2], 0].tolist(), abs=1e-14
    )


# --- errors, scatter, shares ----------------------------------------------------------------


def test_a_law_with_kinks_within_the_step_is_estimated_as_uncertain():
    """Drag that doubles over a tenth of a metre a second: the estimate says so."""
    per_speed = AIR.density * 5.5e-3 / AIR.viscosity
    low, high = 60.1 * per_speed, 60.2 * per_speed

    def ramp(flow, arrow):
        share = np.clip((flow.reynolds(arrow.shaft_diameter) - low) / (high - low), 0.0, 1.0)
        return 1.5 * (1.0 + share) * cross_section(arrow)

    rough = budget_of(shot_of(ramp, kinks=(low, high)))
    fine = budget_of(shot_of(steady))
    row = rough.names.index("speed")
    assert (rough.error[row] > 1e-3 * np.abs(rough.up[row])).all()
    assert (fine.error[row] < 1e-6 * np.abs(fine.up[row])).all()
    assert rough.relative_error > 1e-3 > 1e-4 > fine.relative_error


def test_shares_are_those_of_independent_variances():
    budget = budget_of(shot_of(steady), speed=0.12, roll=0.02, aim_up=1e-3, range=0.5)
    known = [budget.names.index(name) for name in ("speed", "roll", "aim_up", "range", "click")]
    squares = (budget.up[known] ** 2 + budget.right[known] ** 2) * np.array(
        [[0.12], [0.02], [1e-3], [0.5], [CLICK_ROUNDING]]
    ) ** 2
    assert budget.share[known] == pytest.approx(squares / squares.sum(axis=0), rel=1e-12)
    assert np.hypot(budget.total_up, budget.total_right) == pytest.approx(
        np.sqrt(squares.sum(axis=0)), rel=1e-12
    )
    for row in set(range(len(budget.names))) - set(known):
        assert np.isnan(budget.share[row]).all()
        assert not budget.rank[row].any()
    for column in range(3):
        order = sorted(known, key=lambda row: -budget.share[row, column])
        assert [int(budget.rank[row, column]) for row in order] == [1, 2, 3, 4, 5]
    names = [name for name, _ in budget.worth_fixing()]
    shares = [share for _, share in budget.worth_fixing()]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(1.0)
    assert set(names) == {budget.names[row] for row in known}


def test_clicks_are_rounded_evenly():
    """Standard deviation of an even spread over one click."""
    spread = np.random.default_rng(1).uniform(-0.5, 0.5, 200_000).std()
    assert pytest.approx(spread, rel=5e-3) == CLICK_ROUNDING
    budget = budget_of(shot_of())
    assert budget.scatter[budget.names.index("click")] == CLICK_ROUNDING


def test_no_scatter_at_all_leaves_no_share():
    budget = budget_of(shot_of(steady), click=0.0)
    assert budget.share[budget.names.index("click")] == pytest.approx(np.zeros(3))
    assert not budget.total_up.any()
    assert not budget.bent.any()


def test_a_scatter_too_large_for_a_straight_line_is_told():
    """Roll is bent by 1 - cos: half the angle. A tenth of it is passed at about 0.2 rad."""
    for scatter, told in ((0.15, False), (0.25, True)):
        budget = budget_of(shot_of(steady), roll=scatter)
        row = budget.names.index("roll")
        assert budget.bent[row].tolist() == [told] * 3
        assert not np.delete(budget.bent, row, axis=0).any()


def test_only_what_varies_from_arrow_to_arrow_explains_a_group():
    budget = budget_of(shot_of(steady), aim_up=1e-3, aim_right=5e-4, range=2.0)
    group = Group(distance=40.0, vertical=0.06, sideways=0.01)
    found = explained(budget, group)
    assert found.up == pytest.approx(1.5e-3 * DISTANCES)
    up = budget.sd_up[budget.names.index("aim_up")]
    right = budget.sd_right[budget.names.index("aim_right")]
    assert found.left_up == pytest.approx(np.sqrt(found.up**2 - up**2))
    # 0.5 mrad of aim explain more than 0.25 mrad of group.
    assert found.left_right.tolist() == [0.0, 0.0, 0.0]
    whole = found.up**2 + found.right**2
    assert found.share == pytest.approx((up**2 + found.right**2) / whole)
    assert found.excess == pytest.approx((right / found.right) ** 2)


def test_refusals_count_the_distances():
    with pytest.raises(TooNear) as near:
        budget_of(shot_of(steady, launch_forward=0.9), np.array([20.0, 0.95]))
    assert near.value.lanes == (1,)
    with pytest.raises(BeyondReach) as beyond:
        budget_of(shot_of(steady), np.array([20.0, 900.0, 30.0]))
    assert beyond.value.lanes == (1,)


def test_near_the_reach_what_does_not_arrive_is_no_number():
    """A slope so steep that the arrow stops before the plane when it is a little slower."""
    shot = shot_of(steady, launch_speed=20.0, slope=1.0)
    far = np.array([4.0, 21.3])
    change = Input(change=lambda held, x: held.of(launch_speed=20.0 + x), step=3.0)
    budget = error_budget(shot, far, {"speed": change})
    assert np.isfinite(budget.up[0, 0])
    assert np.isnan(budget.up[0, 1])
