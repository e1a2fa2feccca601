"""The cost of the core: a table against stepping and shooting, rows, lanes, memory."""

import tracemalloc

import chances
import numpy as np
from figures import at_least, at_most, seconds, seen
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from setups import plain_shot

from arrowloft.core.archer.landed import Landed
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.distances import aim_at_distances
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.learning.corrected_marks import corrected_marks
from arrowloft.core.learning.observations import End
from arrowloft.core.learning.range_session import Aims, learn, range_session
from arrowloft.core.learning.unknowns import Prior
from arrowloft.core.level.cant import Allowance, cant_table
from arrowloft.core.overshoot.carry import Target, farthest_carry, gross_area
from arrowloft.core.overshoot.terrain import Terrain
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.sight import Sight, Thread
from arrowloft.core.sight.slopes import slope_table
from arrowloft.core.sight.wind_table import wind_table

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
    yield from _grids(shot)
    yield from _calibrations(shot)
    yield from chances.cost()
    yield from _ground(shot)


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
    from arrowloft.core.setup.flow import Flow

    air = shot.air
    return Flow(np.array([shot.launch_speed]), air.density, air.viscosity, air.speed_of_sound)


def _growth(shot):
    few = np.linspace(10.0, 90.0, 20) * YARD
    many = np.linspace(10.0, 90.0, 1000) * YARD
    grown = _ratio(lambda: mark_table(shot, SIGHT, many), lambda: mark_table(shot, SIGHT, few))
    return at_most("1,000 rows / 20 rows", grown, 1.5)


def _ratio(call, other, repeats=40):
    """Time of a call over that of another: the median of five turns, each taking both."""
    pairs = [(seconds(call, repeats), seconds(other, repeats)) for _ in range(5)]
    return float(np.median([a / b for a, b in pairs]))


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


def _grids(shot):
    """Tables of two and three ways, as multiples of the time of an 81-row mark table."""
    eighty, cants = ROWS[:80], np.radians(np.linspace(-8.0, 8.0, 9))
    windy = shot.with_(wind_speed=3.0, wind_from=1.0)
    slopes = np.radians(np.linspace(-40.0, 40.0, 9))
    speeds, ways = np.array([2.0, 4.0, 8.0]), np.radians([0.0, 90.0, 180.0, 270.0])

    def marks(of):
        return lambda: mark_table(of, SIGHT, ROWS)

    def canted(of):
        return lambda: cant_table(of, eighty, cants, Allowance(radius=0.05))

    yield at_most("80 distances x 9 cants / 81 marks", _ratio(canted(shot), marks(shot)), 4.0)
    in_wind = _ratio(canted(windy), marks(windy))
    yield at_most("80 distances x 9 cants / 81 marks, in wind", in_wind, 4.0)
    hills = _ratio(lambda: slope_table(shot, eighty, slopes, SIGHT), marks(shot), 10)
    yield seen("80 distances x 9 slopes / 81 marks", hills)
    winds = _ratio(lambda: wind_table(shot, eighty, speeds, ways, SIGHT), marks(shot), 10)
    yield seen("80 distances x 3 speeds x 4 directions / 81 marks", winds)
    rolled = shot.with_(roll=np.tile(cants, 8000)[:72000])
    angle = np.repeat(aim(shot, np.linspace(18.0, 90.0, 8000)).launch_angle, 9)
    planes = np.repeat(np.linspace(18.0, 90.0, 8000), 9)
    spent = seconds(lambda: impacts(rolled, angle, planes), 3)
    yield seen("rolled arrows flown to a plane, a second a core", planes.size / spent)


def _calibrations(shot):
    """Six ends and the 81 marks corrected by them, as multiples of an 81-row mark table."""
    planes = np.array([20.0, 40.0, 60.0, 20.0, 50.0, 70.0]) * YARD
    marks = mark_table(shot, SIGHT, planes).travel
    landed = np.array([10.0, -50.0, 30.0, -2.0, 40.0, 100.0]) * 1e-3
    ends = [
        End(
            shot=shot,
            landed=Landed(distance=float(plane), up=float(up), arrows=6),
            travel=float(travel),
        )
        for plane, up, travel in zip(planes, landed, marks, strict=True)
    ]
    prior = Prior(
        speed=shot.launch_speed,
        speed_uncertainty=0.006,
        drag_uncertainty=0.2,
        peep_height=shot.peep_height,
        peep_height_uncertainty=3e-3,
        radius=SIGHT.radius,
        radius_uncertainty=2e-3,
        zero_uncertainty=5e-4,
        windage_uncertainty=5e-3,
    )
    aims = Aims(
        distances=ROWS,
        tolerance=0.01 * ROWS / (10.0 * YARD),
        confidence=0.95,
        butts=np.arange(20.0, 75.0, 5.0) * YARD,
        arrows=6,
    )

    def corrected():
        learned = learn(shot, SIGHT, prior, ends)
        return corrected_marks(learned.judged.calibration, shot, SIGHT, ROWS)

    def plain():
        return mark_table(shot, SIGHT, ROWS)

    yield at_most("6 ends fitted, 81 marks corrected / 81 marks", _ratio(corrected, plain, 10), 15)
    whole = _ratio(lambda: range_session(learn(shot, SIGHT, prior, ends), aims), plain, 10)
    yield seen("the same with judgement, corrections and advice / 81 marks", whole)


def _ground(shot):
    """The farthest carry, and one area with all its arcs."""
    terrain = Terrain.under(1.6)
    marks = seconds(lambda: mark_table(shot, SIGHT, ROWS), 50)
    farthest = farthest_carry(shot, terrain)
    target = Target(
        elevation=float(aim(shot, 50.0).launch_angle[0]),
        distance=50.0,
        slant=50.0,
        slope=0.0,
        half_width=0.65,
        half_height=0.65,
    )
    carried = seconds(lambda: farthest_carry(shot, terrain), 10)
    high, aside, top = np.radians(10.0), np.radians(5.0), farthest.elevation
    area = seconds(lambda: gross_area(shot, target, terrain, high, aside, farthest=top), 10)
    yield seen("the farthest carry / 81 marks", carried / marks)
    yield seen("an area behind the target / 81 marks", area / marks)
