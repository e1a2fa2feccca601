"""The cost of the core: a table against stepping and shooting, rows, lanes, memory."""

import tracemalloc

import numpy as np
from figures import at_least, at_most, seconds, seen
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from setups import plain_shot

from arrowloft.core.aim import aim
from arrowloft.core.distances import aim_at_distances
from arrowloft.core.marks import mark_table
from arrowloft.core.sight import Sight, Thread

YARD = 0.9144
ROWS = np.linspace(10.0, 90.0, 81) * YARD
SIGHT = Sight(radius=0.84, zero_distance=20.0 * YARD, elevation=Thread(travel_per_turn=0.00125))


def figures():
    shot = plain_shot()
    rival, angles = _rival_table(shot, ROWS)
    ours = seconds(lambda: aim_at_distances(shot, ROWS), 200)
    difference = np.abs(aim_at_distances(shot, ROWS).aimed.launch_angle - angles).max()
    yield seen("81 rows by solve_ivp + brentq", rival * 1e3, " ms")
    yield seen("81 rows in the core, with sensitivities", ours * 1e3, " ms")
    yield at_most("their angles differ by", difference, 1e-9, " rad")
    yield at_least("81 rows: solve_ivp + brentq / core", rival / ours, 250.0)
    yield _growth(shot)
    yield from _many(shot)


def _rival_table(shot, distances):
    """The same angles by the usual way, at an accuracy of 1e-10 rad: time and angles."""
    area = float(shot.drag(_flow(shot), shot.arrow)[0])
    factor = 0.5 * float(shot.air.density) * area / shot.arrow.mass

    def rate(_, y):
        pull = factor * np.hypot(y[2], y[3])
        return (y[2], y[3], -pull * y[2], -pull * y[3] - shot.gravity)

    def height(angle, distance):
        cosine, sine = np.cos(angle), np.sin(angle)
        forward, peep, v = shot.launch_forward, shot.peep_height, shot.launch_speed
        start = (
            forward * cosine + peep * sine,
            forward * sine - peep * cosine,
            v * cosine,
            v * sine,
        )

        def arrival(_, y):
            return y[0] + shot.tip_lead * y[2] / np.hypot(y[2], y[3]) - distance

        arrival.terminal = True
        flown = solve_ivp(rate, (0.0, 5.0), start, "DOP853", events=arrival, rtol=1e-10, atol=1e-10)
        y = flown.y_events[0][0]
        return y[1] + shot.tip_lead * y[3] / np.hypot(y[2], y[3])

    def solved():
        return [brentq(height, 0.0, 0.3, args=(d,), xtol=1e-11, rtol=1e-11) for d in distances]

    angles = []
    spent = seconds(lambda: angles.append(solved()), 3)
    return spent, np.array(angles[-1])


def _flow(shot):
    from arrowloft.core.flow import Flow

    air = shot.air
    return Flow(np.array([shot.launch_speed]), air.density, air.viscosity, air.speed_of_sound)


def _growth(shot):
    few = np.linspace(10.0, 90.0, 20) * YARD
    many = np.linspace(10.0, 90.0, 1000) * YARD
    pairs = [
        (
            seconds(lambda: mark_table(shot, SIGHT, many), 40),
            seconds(lambda: mark_table(shot, SIGHT, few), 40),
        )
        for _ in range(5)
    ]
    return at_most("1,000 rows / 20 rows", float(np.median([a / b for a, b in pairs])), 1.5)


def _many(shot):
    rng = np.random.default_rng(7)
    distance = rng.uniform(18.0, 90.0, 100_000)
    # Every lane its own arrow and bow, as in a study of many set-ups.
    lanes = shot.with_(
        launch_speed=rng.uniform(60.0, 95.0, distance.size),
        drag_scale=rng.uniform(0.8, 1.2, distance.size),
    )
    spent = seconds(lambda: aim(lanes, distance), 5)
    yield at_least("100,000 aimed flights, a second a core", distance.size / spent, 500_000.0)
    tracemalloc.start()
    aimed = aim(lanes, distance)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    result = sum(np.asarray(value).nbytes for value in vars(aimed).values())
    yield at_most("peak memory / result, 100,000 flights", peak / result, 3.0)
