"""Share of a zone: closed forms for normal scatters, quadrature for bent ones, its own error."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from arrowloft.core.chances.edgeworth import normal_share, share_in_zone
from arrowloft.core.chances.quadratic_forms import Cumulants, Forms, cumulants
from arrowloft.core.chances.zones import Zone

SIZES = (1e-4, 1e-3, 0.01, 0.1, 0.5, 1.0, 5.0, 100.0)
ANGLES = np.linspace(0.0, 2.0 * np.pi, 13)

far = st.floats(-3.0, 3.0)
spread = st.floats(0.02, 5.0)


def normal(mean, covariance):
    """A normal scatter: all further cumulants are zero."""
    covariance = np.asarray(covariance, float)
    rows = covariance.shape[-1]
    return Cumulants(
        mean=np.asarray(mean, float),
        covariance=covariance,
        third=np.zeros((2, 2, 2, rows)),
        fourth=np.zeros((2, 2, 2, 2, rows)),
    )


def diagonal(up, right):
    up, right = np.broadcast_arrays(np.asarray(up, float), np.asarray(right, float))
    covariance = np.zeros((2, 2, up.size))
    covariance[0, 0], covariance[1, 1] = up.ravel() ** 2, right.ravel() ** 2
    return covariance


def share(zone, mean, covariance):
    """The probability, found in both ways."""
    found = share_in_zone(zone, normal(mean, covariance))
    assert found.error == pytest.approx(0.0, abs=1e-15)
    assert normal_share(zone, np.asarray(mean), covariance) == pytest.approx(
        found.probability, abs=1e-15
    )
    return found.probability


def strip(half, mean, deviation):
    return special.ndtr((half - mean) / deviation) - special.ndtr((-half - mean) / deviation)


# Normal scatters.


def test_circle_about_the_middle() -> None:
    """Rayleigh: 1 - exp(-r^2 / 2 s^2)."""
    deviation = np.array(SIZES)
    found = share(Zone.circle(0.2), np.zeros((2, deviation.size)), diagonal(deviation, deviation))
    assert found == pytest.approx(-np.expm1(-0.5 * (0.2 / deviation) ** 2), abs=1e-14)


@pytest.mark.parametrize("deviation", SIZES)
def test_circle_aimed_off(deviation) -> None:
    """Non-central chi squared, for aims within, at the edge, a little beyond it and far off."""
    off = np.array([0.5, 1.0 - deviation, 1.0, 1.0 + 2.0 * deviation, 1.0 + 30.0 * deviation])
    distance, turn = (grid.ravel() for grid in np.meshgrid(off, ANGLES))
    mean = distance * np.array([np.sin(turn), np.cos(turn)])
    found = share(Zone.circle(1.0), mean, diagonal(*np.full((2, turn.size), deviation)))
    expected = stats.ncx2.cdf(deviation**-2, 2, (distance / deviation) ** 2)
    assert found == pytest.approx(expected, abs=3e-7)
    if deviation >= 0.1:
        assert found == pytest.approx(expected, abs=1e-13)


@pytest.mark.parametrize("deviation", SIZES)
def test_rectangle(deviation) -> None:
    """The product of two normal probabilities."""
    zone = Zone(half_height=0.3, half_width=1.1, round=False)
    mean = np.array([[0.0, 0.29, -0.3, 0.5, 0.0], [0.0, 1.0, 1.1, -0.2, -7.0]])
    up, right = deviation, 1.7 * deviation
    found = share(zone, mean, diagonal(*np.outer([up, right], np.ones(5))))
    expected = strip(0.3, mean[0], up) * strip(1.1, mean[1], right)
    assert found == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("correlation", [-0.95, -0.5, 0.3, 0.9, 0.99, 0.999])
@pytest.mark.parametrize("deviation", [0.1, 1.0])
def test_correlated_rectangle(correlation, deviation) -> None:
    """SciPy's bivariate normal distribution."""
    zone = Zone(half_height=0.5, half_width=0.8, round=False)
    mean = np.array([[0.0, 0.4, -0.6], [0.0, -0.5, 0.7]])
    covariance = diagonal(*np.outer([deviation, 1.4 * deviation], np.ones(3)))
    covariance[0, 1] = covariance[1, 0] = correlation * 1.4 * deviation**2
    expected = [
        stats.multivariate_normal(mean[:, row], covariance[..., row]).cdf(
            [0.5, 0.8], lower_limit=[-0.5, -0.8]
        )
        for row in range(3)
    ]
    assert share(zone, mean, covariance) == pytest.approx(expected, abs=1e-8)


@given(st.floats(0.0, 7.0), spread, spread, far, far)
def test_a_turned_scatter_about_a_circle(turn, one, other, up, right) -> None:
    """Turned together, aim and scatter keep their share of a circle."""
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    straight = diagonal(one, other)
    turned = np.einsum("ia,jb,abr->ijr", rotation, rotation, straight)
    mean = np.array([[up], [right]])
    found = share(Zone.circle(1.0), rotation @ mean, turned)
    assert found == pytest.approx(share(Zone.circle(1.0), mean, straight), abs=1e-6)


@given(st.floats(0.2, 5.0), st.floats(-0.9, 0.9), far, far)
def test_an_ellipse_is_a_stretched_circle(stretch, correlation, up, right) -> None:
    covariance = diagonal(0.6, 0.9)
    covariance[0, 1] = covariance[1, 0] = correlation * 0.6 * 0.9
    by = np.array([stretch, 1.0])
    ellipse = Zone(half_height=stretch, half_width=1.0)
    wide = covariance * np.outer(by, by)[..., None]
    mean = np.array([[up], [right]])
    found = share(ellipse, mean * by[:, None], wide)
    assert found == pytest.approx(share(Zone.circle(1.0), mean, covariance), abs=1e-12)


def test_a_scatter_along_one_line() -> None:
    """Without any scatter to the side a circle is a strip as wide as its chord."""
    chord = np.sqrt(1.0 - 0.6**2)
    mean = np.array([[0.0, 0.6], [0.6, 0.0]])
    for covariance, row in (
        (diagonal([0.5] * 2, [0.0] * 2), 0),
        (diagonal([0.0] * 2, [0.5] * 2), 1),
    ):
        found = share(Zone.circle(1.0), mean, covariance)
        assert found[row] == pytest.approx(strip(chord, 0.0, 0.5), abs=1e-9)
        assert found[1 - row] == pytest.approx(strip(1.0, 0.6, 0.5), abs=1e-9)


def test_no_scatter_hits_or_misses() -> None:
    mean = np.array([[0.0, 0.69, 0.72, 5.0], [0.0, 0.69, 0.72, 0.0]])
    nothing = np.zeros((2, 2, 4))
    assert share(Zone.circle(1.0), mean, nothing) == pytest.approx([1.0, 1.0, 0.0, 0.0])


def test_far_off_nothing_is_left() -> None:
    found = share(Zone.circle(1.0), np.array([[1e6, 0.0], [0.0, -60.0]]), diagonal([1.0] * 2, 1.0))
    assert found == pytest.approx(0.0, abs=1e-300)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_small_probabilities_keep_their_digits(side) -> None:
    """A strip from 11 to 13 deviations off, on either side."""
    upright = Zone(half_height=1e3, half_width=1.0, round=False)
    found = share(upright, np.array([[0.0], [12.0 * side]]), diagonal(0.5, 1.0))
    assert found == pytest.approx([special.ndtr(-11.0) - special.ndtr(-13.0)], rel=1e-9, abs=0.0)


@given(spread, spread, far, far, st.floats(1.0, 3.0), st.floats(1.0, 3.0), st.booleans())
def test_a_larger_zone_holds_no_less(up, right, high, aside, taller, wider, curved) -> None:
    mean, covariance = np.array([[high], [aside]]), diagonal(up, right)
    small = Zone(half_height=1.0, half_width=0.7, round=curved)
    large = Zone(half_height=taller, half_width=0.7 * wider, round=curved)
    assert share(large, mean, covariance) >= share(small, mean, covariance) - 1e-7


# Bent scatters: one cause by z, z^2 and z^3, and a normal scatter; exact by quadrature over z.

Z, W = np.polynomial.hermite_e.hermegauss(101)
W = W / W.sum()
SLICES, WIDTHS = np.polynomial.legendre.leggauss(160)


def bent(linear, quadratic, cubic, constant, own):
    """The nearly normal scatter of one such cause, one row."""
    forms = Forms(
        constant=np.asarray(constant, float)[:, None],
        linear=np.asarray(linear, float)[:, None, None],
        quadratic=np.asarray(quadratic, float)[:, None, None, None],
        cubic=np.asarray(cubic, float)[:, None, None],
    )
    every = cumulants(forms)
    covariance = every.covariance + diagonal(own[0], own[1])
    return Cumulants(mean=every.mean, covariance=covariance, third=every.third, fourth=every.fourth)


def exact(zone, linear, quadratic, cubic, constant, own):
    up, right = (
        constant[axis] + linear[axis] * Z + quadratic[axis] * Z**2 + cubic[axis] * (Z**3 - 3 * Z)
        for axis in (0, 1)
    )
    if not zone.round:
        return W @ (strip(zone.half_height, up, own[0]) * strip(zone.half_width, right, own[1]))
    turn = 0.5 * np.pi * SLICES
    height, half = zone.half_height * np.sin(turn), zone.half_width * np.cos(turn)
    slices = strip(half, right[:, None], own[1]) * stats.norm.pdf(height, up[:, None], own[0])
    return W @ (slices @ (zone.half_height * np.cos(turn) * 0.5 * np.pi * WIDTHS))


def test_a_skewed_scatter_between_two_lines() -> None:
    """The tails of a chi-squared share in a normal scatter, by quadrature; the normal shape is
    off by ten times as much."""
    wide = Zone(half_height=1.2, half_width=1e3, round=False)
    case = ((0.8, 0.0), (0.08, 0.0), (0.0, 0.0), (0.3, 0.0), (1.0, 1.0))
    scatter, expected = bent(*case), exact(wide, *case)
    found = share_in_zone(wide, scatter)
    assert found.probability == pytest.approx([expected], abs=2e-4)
    plain = normal_share(wide, scatter.mean, scatter.covariance)
    assert abs(plain - expected) > 10.0 * abs(found.probability - expected)


def test_many_chi_squared_variables() -> None:
    """A sum of 60 squares up: SciPy's chi squared; the error falls as the expansion says."""
    for degrees, close in ((60, 4e-4), (600, 1.3e-5)):
        forms = Forms(
            constant=np.array([[-float(degrees)], [0.0]]),
            linear=np.zeros((2, degrees, 1)),
            quadratic=np.stack([np.eye(degrees), np.zeros((degrees, degrees))])[..., None],
            cubic=np.zeros((2, degrees, 1)),
        )
        every = cumulants(forms)
        scatter = Cumulants(
            mean=every.mean,
            covariance=every.covariance + diagonal(0.0, 1.0),
            third=every.third,
            fourth=every.fourth,
        )
        half = 0.8 * np.sqrt(2.0 * degrees)
        low, high = stats.chi2.cdf([degrees - half, degrees + half], degrees)
        found = share_in_zone(Zone(half_height=half, half_width=1e3, round=False), scatter)
        assert found.probability == pytest.approx([high - low], abs=close)
        assert abs(found.probability[0] - (high - low)) <= found.error[0]


def family(bend, count, seed):
    """Bent scatters and zones of all kinds; true and estimated error of each."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        own = np.array([1.0, rng.uniform(0.7, 1.4)])
        part, turn = rng.uniform(0.05, 0.9), rng.normal(0.0, 0.2)
        line = np.sqrt(part / (1.0 - part)) * np.array([np.cos(turn), np.sin(turn)])
        size = np.linalg.norm(line) * bend
        square = size * np.array([rng.choice([-1.0, 1.0]), rng.normal(0.0, 0.3)])
        cube = size * bend * np.array([rng.uniform(-0.5, 1.0), 0.0])
        half = np.exp(rng.uniform(np.log(0.3), np.log(3.0)))
        zone = Zone(
            half_height=half,
            half_width=half * rng.uniform(0.5, 2.0),
            round=bool(rng.integers(2)),
        )
        case = (line, square, cube, rng.normal(0.0, 0.7, 2) - square, own)
        found = share_in_zone(zone, bent(*case))
        yield abs(found.probability[0] - exact(zone, *case)), found.error[0]


@pytest.mark.parametrize(
    ("bend", "beyond", "greatest"), [(0.03, 1e-5, 1e-4), (0.06, 1e-4, 1e-3), (0.12, 1e-3, 1e-2)]
)
def test_the_error_covers(bend, beyond, greatest) -> None:
    """Square to linear effect 0.03, 0.06, 0.12: mostly below the stated error, and never far
    beyond it."""
    true, stated = np.array(list(family(bend, 200, 17))).T
    assert (true <= stated + 1e-9).mean() > 0.75
    assert (true - stated).max() < beyond
    assert true.max() < greatest
    # And it says something: it is not many times too large either.
    assert np.median(stated / true) < 12.0


def test_nothing_like_normal_is_said() -> None:
    """A chi-squared variable of one degree, kurtosis 12, has no expansion."""
    case = ((0.0, 0.0), (1.0, 0.0), (0.0, 0.0), (0.0, 0.0), (0.05, 1.0))
    found = share_in_zone(Zone.circle(1.0), bent(*case))
    assert found.error == pytest.approx(1.0)
    assert 0.0 <= found.probability[0] <= 1.0


@settings(max_examples=60)
@given(st.floats(-0.3, 0.3), st.floats(0.1, 3.0), far, far, st.booleans())
def test_probabilities_stay_within_0_and_1(bend, line, up, right, curved) -> None:
    case = ((line, 0.0), (bend * line, bend), (0.1 * bend, 0.0), (up, right), (0.5, 0.5))
    found = share_in_zone(Zone(half_height=0.8, half_width=1.0, round=curved), bent(*case))
    assert 0.0 <= found.probability[0] <= 1.0
    assert 0.0 <= found.error[0] <= 1.0


def test_rows_do_not_touch_each_other() -> None:
    """A row that needs more slices stands beside one that does not, as each by itself."""
    mean = np.array([[0.0, 0.9999, 0.3], [0.1, 0.01, 0.0]])
    covariance = diagonal([0.4, 1e-4, 0.2], [0.3, 1e-4, 0.6])
    together = share(Zone.circle(1.0), mean, covariance)
    for row in range(3):
        alone = share(Zone.circle(1.0), mean[:, [row]], covariance[..., [row]])
        assert together[row] == pytest.approx(alone[0], rel=1e-14)
