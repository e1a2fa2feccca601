"""Effects of what is off at a shot: closed forms without drag, wind, movement, unknown rows."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import plain_shot, vacuum

from arrowloft.core.chances.aim_errors import AimErrors, Movement
from arrowloft.core.chances.effects import effects
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import BeyondReach, reach
from arrowloft.core.sight.wind_table import wind_table

UP, RIGHT = 0, 1
G, SPEED = 9.80665, 60.0
Z, W = np.polynomial.hermite_e.hermegauss(20)
W = W / W.sum()
LEFT_WIND = np.array([1.5 * np.pi])


def bare(**changes):
    """No drag, loosed from the eye."""
    eye = {"peep_height": 0.0, "launch_forward": 0.0, "tip_lead": 0.0}
    return plain_shot(**{"launch_speed": SPEED, "drag": vacuum, **eye, **changes})


def mark(distance, slope=0.0):
    """sin(2 a + slope) = g d cos^2(slope) / v^2 + sin(slope): the angle to the line of sight."""
    sine = G * distance * np.cos(slope) ** 2 / SPEED**2 + np.sin(slope)
    return 0.5 * (np.arcsin(sine) - slope)


def landed(distance, z, errors, slope=0.0):
    """Impact from the target without drag; z: {cause: deviations off}, floats or arrays."""

    def off(name, size):
        return z.get(name, 0.0) * size

    move = errors.movement
    guess = distance + off("range", np.hypot(errors.range, errors.range_share * distance))
    angle = mark(guess, slope) + off("mark", 0.0 if errors.mark_angles is None else 2e-3)
    roll, speed = off("roll", errors.roll), SPEED + off("speed", errors.speed)
    away = move.away + off("movement_along", move.scatter)
    right = move.right + off("movement_across", move.scatter)
    # speed cos(angle) t - g sin(slope) t^2 / 2 = distance + away cos(slope) (t - delay)
    chased, fall = away * np.cos(slope), 0.5 * G * np.sin(slope)
    b, c = speed * np.cos(angle) - chased, distance - chased * move.delay
    time = 2.0 * c / (b + np.sqrt(b * b - 4.0 * fall * c))
    rise = speed * np.sin(angle) * time
    up = rise * np.cos(roll) - 0.5 * G * np.cos(slope) * time**2
    up = up + away * np.sin(slope) * (time - move.delay)
    return np.array(np.broadcast_arrays(up, rise * np.sin(roll) - right * (time - move.delay)))


def projected(distance, errors, cause, slope=0.0):
    """Coefficients of 1, z, z^2 - 1, z^3 - 3 z of one cause, each (2,), by quadrature."""
    place = landed(distance, {cause: Z}, errors, slope)
    powers = (1.0 + 0.0 * Z, Z, (Z**2 - 1.0) / 2.0, (Z**3 - 3.0 * Z) / 6.0)
    return [place @ (W * power) for power in powers]


def each_cause():
    """Large errors, one at a time."""
    marks = {"mark_distances": np.array([10.0, 90.0]), "mark_angles": np.array([2e-3, 2e-3])}
    return {
        "speed": AimErrors(speed=1.5),
        "roll": AimErrors(roll=0.1),
        "range": AimErrors(range=3.0, range_share=0.06),
        "mark": AimErrors(**marks),
    }


@pytest.mark.parametrize("cause", each_cause())
@pytest.mark.parametrize("slope", [0.0, 0.5, -0.7])
def test_one_cause_without_drag(cause, slope) -> None:
    """The closed form projected on Hermite's polynomials, to their third order."""
    errors, distances = each_cause()[cause], np.array([20.0, 45.0, 80.0])
    found = effects(bare(slope=slope), distances, errors)
    assert found.causes == (cause,) and found.known.all()
    for row, distance in enumerate(distances):
        mean, line, square, cube = projected(distance, errors, cause, slope)
        forms = found.forms
        scale = np.abs(line).max()
        spread = forms.constant[:, row] + forms.quadratic[:, 0, 0, row]
        assert spread == pytest.approx(mean, abs=1e-5 * scale)
        assert forms.linear[:, 0, row] == pytest.approx(line, abs=2e-5 * scale)
        assert forms.quadratic[:, 0, 0, row] == pytest.approx(square, abs=1e-5 * scale)
        assert forms.cubic[:, 0, row] == pytest.approx(cube, abs=4e-5 * scale)


def test_speed_to_second_order() -> None:
    """Level: y = d tan a - g d^2 / (2 v^2 cos^2 a) rises by g d^2 / (v^3 cos^2 a) per m/s."""
    distance, error = 50.0, 0.3
    found = effects(bare(), np.array([distance]), AimErrors(speed=error)).forms
    share = G * distance**2 / (SPEED**3 * np.cos(mark(distance)) ** 2)
    assert found.linear[UP, 0, 0] == pytest.approx(share * error, rel=2e-4)
    assert found.quadratic[UP, 0, 0, 0] == pytest.approx(-1.5 * share * error**2 / SPEED, rel=2e-3)


def test_roll_to_second_order() -> None:
    """A rolled bow carries the rise d tan a to the side, and lowers it by half roll squared."""
    distance, error = 50.0, 0.02
    found = effects(bare(), np.array([distance]), AimErrors(roll=error)).forms
    rise = distance * np.tan(mark(distance))
    assert found.linear[:, 0, 0] == pytest.approx([0.0, rise * error], rel=1e-3, abs=1e-9)
    assert found.quadratic[:, 0, 0, 0] == pytest.approx([-0.5 * rise * error**2, 0.0], abs=3e-7)


def test_two_causes_together() -> None:
    """Half of the mixed derivative, projected by quadrature over both."""
    marks = {"mark_distances": np.array([10.0]), "mark_angles": np.array([2e-3])}
    errors = AimErrors(speed=1.0, roll=0.05, range=2.0, **marks)
    distance = 50.0
    found = effects(bare(), np.array([distance]), errors)
    assert found.causes == ("speed", "roll", "range", "mark")
    one, other = np.meshgrid(Z, Z)
    weight = np.outer(W, W)
    for first, second in itertools.combinations(range(4), 2):
        z = {found.causes[first]: one, found.causes[second]: other}
        place = landed(distance, z, errors)
        expected = 0.5 * np.einsum("cij,ij->c", place, weight * one * other)
        mixed = found.forms.quadratic[:, first, second, 0]
        assert mixed == pytest.approx(expected, abs=3e-6)
        assert np.array_equal(mixed, found.forms.quadratic[:, second, first, 0])
    assert np.abs(found.forms.quadratic[RIGHT, 1, 2]) > 1e-3  # roll and a wrong guess


def at(found, cause, z, row=0):
    """The forms and what is of fourth order, one cause z deviations off, (2,)."""
    forms, one = found.forms, found.causes.index(cause)
    return (
        forms.constant[:, row]
        + forms.linear[:, one, row] * z
        + forms.quadratic[:, one, one, row] * z**2
        + forms.cubic[:, one, row] * (z**3 - 3.0 * z)
        + found.quartic[:, one, row] * (z**4 - 6.0 * z**2 + 3.0)
    )


@pytest.mark.parametrize("z", [-2.0, -1.0, 1.0, 2.0])
def test_a_wind_guessed_wrong(z) -> None:
    """In still air it drifts as the wind table has it."""
    distances = np.array([30.0, 70.0])
    errors = AimErrors(wind_across=1.5, wind_along=2.0)
    found = effects(plain_shot(), distances, errors)
    across = wind_table(
        plain_shot(), distances, np.array([abs(z) * 1.5]), LEFT_WIND + np.pi * (z < 0.0)
    )
    along = wind_table(
        plain_shot(), distances, np.array([abs(z) * 2.0]), np.array([np.pi * (z > 0.0)])
    )
    for row in (0, 1):
        place = at(found, "wind_across", z, row)
        assert place == pytest.approx([across.up[row], across.drift[row]], abs=5e-7)
        assert at(found, "wind_along", z, row) == pytest.approx([along.up[row], 0.0], abs=5e-7)
    assert np.sign(found.forms.linear[RIGHT, 1]) == pytest.approx(1.0)  # to the right, from left


def test_the_wind_that_is_not_allowed_for() -> None:
    """Its drift stays in the mean; allowed for, nothing does."""
    windy, distances = plain_shot(wind_speed=4.0, wind_from=0.5 * np.pi), np.array([30.0, 60.0])
    plain = effects(windy, distances, AimErrors(), wind_allowed=False).forms.constant
    table = wind_table(plain_shot(), distances, np.array([4.0]), LEFT_WIND - np.pi)
    assert plain[RIGHT] == pytest.approx(table.drift, rel=1e-3)
    assert (plain[RIGHT] < -0.01).all()
    assert plain[RIGHT] == pytest.approx(aim(windy, distances).drift, abs=5e-7)
    assert plain[UP] == pytest.approx(0.0, abs=1e-6)
    allowed = effects(windy, distances, AimErrors()).forms.constant
    assert allowed == pytest.approx(0.0, abs=1e-6)


def test_a_wind_beside_the_shots_own() -> None:
    """Guessed wrong by z, the wind is the shot's own and z deviations more."""
    windy = plain_shot(wind_speed=3.0, wind_from=1.5 * np.pi)
    found = effects(windy, np.array([50.0]), AimErrors(wind_across=1.0), wind_allowed=False)
    stronger = aim(windy.with_(wind_speed=5.0), 50.0)
    assert at(found, "wind_across", 2.0)[RIGHT] == pytest.approx(stronger.drift[0], rel=1e-4)


@pytest.mark.parametrize("slope", [0.0, 0.6])
@pytest.mark.parametrize("movement", [{"away": 3.0}, {"away": -4.0, "delay": 0.2}, {"right": 2.0}])
def test_a_target_that_moves(movement, slope) -> None:
    """Where it then is, in closed form."""
    errors = AimErrors(movement=Movement(**movement))
    distances = np.array([20.0, 50.0])
    found = effects(bare(slope=slope), distances, errors)
    assert found.causes == ()
    for row, distance in enumerate(distances):
        expected = landed(distance, {}, errors, slope)
        assert found.forms.constant[:, row] == pytest.approx(expected, abs=5e-4)
    sign = np.sign(found.forms.constant[:, 0])
    if "right" in movement:
        assert sign[RIGHT] == -1.0  # the arrow is left behind on its left
    elif slope == 0.0:
        assert sign[UP] == -np.sign(movement["away"])


@pytest.mark.parametrize("slope", [0.0, 0.5])
@pytest.mark.parametrize("away", [-6.0, 6.0])
def test_a_slower_arrow_chases_longer(away, slope) -> None:
    """Speed and a moving target together: the way follows from each arrow's own time."""
    errors = AimErrors(speed=1.5, movement=Movement(away=away))
    found = effects(bare(slope=slope), np.array([50.0]), errors)
    _, line, square, _ = projected(50.0, errors, "speed", slope)
    still = projected(50.0, AimErrors(speed=1.5), "speed", slope)[1]
    assert found.forms.linear[UP, 0, 0] == pytest.approx(line[UP], rel=2e-3)
    assert abs(line[UP] - still[UP]) > 0.02 * abs(line[UP])
    assert found.forms.quadratic[UP, 0, 0, 0] == pytest.approx(square[UP], rel=0.02)


@pytest.mark.parametrize("z", [-2.0, 1.0])
def test_a_wrong_guess_allows_for_the_wrong_drift(z) -> None:
    """The sight is set aside for the guess, and the arrow flown to where the target is."""
    windy = plain_shot(wind_speed=5.0, wind_from=0.5 * np.pi)
    found = effects(windy, np.array([50.0]), AimErrors(range=5.0))
    mark_of_guess = aim(windy, 50.0 + 5.0 * z, windage=True)
    met = impacts(windy, mark_of_guess.launch_angle, 50.0, yaw=mark_of_guess.yaw)
    assert at(found, "range", z) == pytest.approx([met.up[0], met.right[0]], abs=5e-7)
    assert np.sign(met.right[0]) == np.sign(z) and abs(met.right[0]) > 5e-3


def test_a_target_that_moves_as_it_likes() -> None:
    errors = AimErrors(movement=Movement(scatter=1.5, delay=0.1))
    found = effects(bare(), np.array([50.0]), errors)
    assert found.causes == ("movement_along", "movement_across")
    along, across = (projected(50.0, errors, cause) for cause in found.causes)
    assert found.forms.linear[:, 0, 0] == pytest.approx(along[1], abs=2e-5)
    assert found.forms.linear[:, 1, 0] == pytest.approx(across[1], rel=1e-3, abs=1e-9)
    assert found.forms.linear[RIGHT, 1, 0] == pytest.approx(-1.5 * (found.time[0] - 0.1), rel=1e-3)


def test_it_moves_aside_as_long_as_each_arrow_lets_it() -> None:
    """With a cause that changes the time, projected by quadrature over both: -s E[t] of the
    movement alone, and half of -s t' of the two together."""
    errors = AimErrors(speed=2.0, movement=Movement(scatter=2.0, delay=0.1))
    found = effects(bare(), np.array([50.0]), errors)
    at = {name: found.causes.index(name) for name in found.causes}
    across = at["movement_across"]
    one, other = np.meshgrid(Z, Z)
    weight = np.outer(W, W)
    for cause in ("speed", "movement_along"):
        _, right = landed(50.0, {cause: one, "movement_across": other}, errors)
        both = 0.5 * np.sum(weight * right * one * other)
        mixed = found.forms.quadratic[RIGHT, at[cause], across, 0]
        assert mixed == pytest.approx(both, rel=4e-3)
        assert mixed == found.forms.quadratic[RIGHT, across, at[cause], 0]
        assert abs(both) > 5e-3
    assert not found.forms.quadratic[UP, :, across].any()
    # E[t], by quadrature over the two causes that change it.
    _, right = landed(50.0, {"speed": one, "movement_along": other, "movement_across": 1.0}, errors)
    line = found.forms.linear[RIGHT, across, 0]
    assert line == pytest.approx(np.sum(weight * right), rel=2e-4)
    assert line != pytest.approx(-2.0 * (found.time[0] - 0.1), rel=2e-3)


@pytest.mark.parametrize(
    "movement", [Movement(away=1.0), Movement(right=1.0), Movement(scatter=1.0)], ids=str
)
def test_rows_in_which_it_begins_to_move_as_arrows_arrive(movement) -> None:
    """Without drag an arrow flies 40 m for 0.67 s; 2 deviations too fast, 0.02 s less."""
    distances = np.array([30.0, 40.0, 50.0])
    still = AimErrors(speed=1.0)
    time = effects(bare(), distances, still).time
    for delay, begins in ((0.0, False), (0.58, False), (time[1] - 0.01, True), (time[1], True)):
        errors = replace(still, movement=replace(movement, delay=delay))
        found = effects(bare(), distances, errors)
        assert found.begins.tolist() == [False, begins and delay > 0.0, False]
        assert found.rows(slice(1, 3)).begins.tolist() == found.begins[1:].tolist()
    late = replace(still, movement=replace(movement, delay=9.0))
    assert not effects(bare(), distances, late).begins.any()
    stands = replace(still, movement=Movement(delay=float(time[1])))
    assert not effects(bare(), distances, stands).begins.any()


def test_a_target_that_moves_too_late() -> None:
    errors = AimErrors(movement=Movement(away=5.0, right=5.0, scatter=2.0, delay=10.0))
    found = effects(plain_shot(), np.array([30.0]), errors)
    assert found.forms.constant == pytest.approx(0.0, abs=1e-6)
    assert found.forms.linear == pytest.approx(0.0, abs=1e-12)


def test_what_is_not_off_is_no_cause() -> None:
    some = AimErrors(speed=0.5, mark_distances=np.array([20.0]), mark_angles=np.array([0.0]))
    assert effects(plain_shot(), np.array([30.0]), some).causes == ("speed",)
    nothing = effects(plain_shot(), np.array([30.0]), AimErrors())
    assert nothing.causes == () and nothing.forms.linear.shape == (2, 0, 1)
    assert nothing.time == pytest.approx(aim(plain_shot(), 30.0).time)


def test_deviations_at_distances() -> None:
    """The guess's parts add in squares; a mark's error lies on straight lines between."""
    errors = AimErrors(
        range=3.0,
        range_share=0.1,
        mark_distances=np.array([20.0, 40.0]),
        mark_angles=np.array([1e-3, 3e-3]),
    )
    speed, _, guess, _, _, angle, _ = errors.deviations(np.array([10.0, 30.0, 40.0, 90.0]))
    assert not speed.any()
    assert guess == pytest.approx([np.sqrt(10.0), np.sqrt(18.0), 5.0, np.sqrt(90.0)])
    assert angle == pytest.approx([1e-3, 2e-3, 3e-3, 3e-3])


def test_rows_without_a_mark_are_unknown() -> None:
    """A guess that may be too near to be shot, or beyond reach; the rows between are not harmed."""
    shot = bare()
    farthest = float(reach(shot, np.ones(1, dtype=bool)).distance[0])
    errors = AimErrors(range=3.0, speed=0.5)
    distances = np.array([5.0, 40.0, farthest - 4.0])
    found = effects(shot, distances, errors)
    assert found.known.tolist() == [False, True, False]
    assert not found.forms.linear[..., [0, 2]].any() and not found.quartic[..., [0, 2]].any()
    alone = effects(shot, distances[1:2], errors)
    assert found.forms.linear[..., 1] == pytest.approx(alone.forms.linear[..., 0], abs=1e-8)
    part = found.rows(slice(1, 2))
    assert part.known.tolist() == [True] and part.causes == found.causes
    assert part.forms.linear[..., 0] == pytest.approx(found.forms.linear[..., 1])
    assert part.time == pytest.approx(found.time[1:2])


def test_a_target_beyond_reach_is_refused() -> None:
    with pytest.raises(BeyondReach) as caught:
        effects(bare(), np.array([30.0, 1000.0]), AimErrors(speed=0.5))
    assert caught.value.lanes == (1,)
