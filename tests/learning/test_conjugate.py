"""Beliefs agree with values published for worked examples.

Values marked "own sum" were worked out again by a second program where the book prints fewer
digits; the printed digits agree with them.
"""

import math

import numpy as np
import pytest

from diagnose.learning.conjugate import Beta, Dirichlet, Gamma, beta_below, gamma_below

PUMP = Beta(4.2, 153.1).seen(1, 8)
VALVE_PRIOR = Beta(1.24, 189_075)
KIDNEY = Gamma(20, 430_000)
POLL = Dirichlet((1, 1, 1)).seen((727, 583, 137))


def test_a_pump_that_fails_to_start() -> None:
    """C. Atwood et al. 2003, NUREG/CR-6823; mean and sd also on INL's RADS page, distributions."""
    assert (PUMP.hits, PUMP.misses) == pytest.approx((5.2, 160.1))
    assert (PUMP.mean, PUMP.sd) == pytest.approx((0.0315, 0.0135), abs=5e-5)
    assert PUMP.interval(0.9) == pytest.approx((0.012840, 0.056476), abs=5e-7)  # own sum


def test_the_pump_from_no_knowledge() -> None:
    """The same data with the prior of Jeffreys (own sum)."""
    after = Beta(0.5, 0.5).seen(1, 8)
    assert (after.mean, after.sd) == pytest.approx((0.166667, 0.117851), abs=5e-7)
    assert after.interval(0.9) == pytest.approx((0.022465, 0.396673), abs=5e-7)


def test_a_relief_valve_that_fails_to_open_contradicts_its_prior() -> None:
    """NASA/SP-2009-569 (numbers from memory, own sum): 2 of 285 against one in 150,000."""
    after = VALVE_PRIOR.seen(2, 285)
    assert (after.mean, after.sd) == pytest.approx((1.71102e-5, 9.5055e-6), rel=1e-5)
    assert after.interval(0.9) == pytest.approx((4.980e-6, 3.513e-5), rel=2e-4)
    assert VALVE_PRIOR.mean == pytest.approx(6.558e-6, rel=1e-4)
    assert VALVE_PRIOR.tail(2, 285) < 1e-4


def test_births_with_placenta_previa() -> None:
    """A. Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.4: 0.446, 0.016, 0.415-0.477."""
    after = Beta(1, 1).seen(437, 980)
    assert (after.mean, after.sd) == pytest.approx((0.446029, 0.015854), abs=5e-7)
    assert after.interval(0.95) == pytest.approx((0.415065, 0.477200), abs=1e-6)


def test_rat_tumours() -> None:
    """Gelman et al., section 5.1, prints 0.223 from moments that were not rounded."""
    after = Beta(1.4, 8.6).seen(4, 14)
    assert (after.mean, after.sd) == pytest.approx((0.225, 0.083516), abs=1e-6)
    assert after.mean == pytest.approx(0.223, abs=0.003)


@pytest.mark.parametrize(
    ("people", "deaths", "rate"),
    [
        (1_000, 0, 4.5455e-5),
        (1_000, 1, 4.7727e-5),
        (1_000, 2, 5.0000e-5),
        (1_000_000, 393, 3.9597e-5),
        (1_000_000, 545, 5.4171e-5),
    ],
)
def test_kidney_cancer_in_counties(people: int, deaths: int, rate: float) -> None:
    """Gelman et al., section 2.7 (digits beyond the third are an own sum)."""
    assert KIDNEY.seen(deaths, 10 * people).mean == pytest.approx(rate, rel=2e-5)
    assert KIDNEY.mean == pytest.approx(0.4651163e-4, rel=1e-7)


def test_deaths_in_a_small_county_are_negative_binomial() -> None:
    """Gelman et al., section 2.7: 500 simulations gave 319, 141, 33, 5 (digits: own sum)."""
    chances = [math.exp(KIDNEY.log_predictive(deaths, 10_000)) for deaths in range(5)]
    assert chances == pytest.approx([0.6314, 0.2870, 0.0685, 0.0114, 0.0015], abs=5e-5)


@pytest.mark.parametrize(("share", "deaths"), [(0.25, 390), (0.5, 457), (0.75, 532)])
def test_quartiles_of_deaths_in_a_large_county(share: float, deaths: int) -> None:
    """The first count whose predictive chance reaches a quarter, a half, three (own sum)."""
    assert KIDNEY.at_most(deaths - 1, 1e7) < share <= KIDNEY.at_most(deaths, 1e7)


def test_a_poll_before_an_election() -> None:
    """Gelman et al., section 3.4: 727, 583 and 137 of 1447 (digits: own sum)."""
    assert POLL.counts == (728, 584, 138)
    assert POLL.means == pytest.approx((0.502069, 0.402759, 0.095172), abs=5e-7)
    assert POLL.difference(0, 1) == pytest.approx((0.0993103, 0.0248353), abs=5e-8)
    assert POLL.larger(0, 1) == pytest.approx(0.9999657, abs=5e-8)


def test_the_difference_in_the_poll_lies_where_draws_say() -> None:
    """400,000 draws gave 0.0505 to 0.1479, give or take 0.0003; the shape is nearly normal."""
    mean, sd = POLL.difference(0, 1)
    assert (mean - 1.96 * sd, mean + 1.96 * sd) == pytest.approx((0.0505, 0.1479), abs=6e-4)


def test_shares_of_causes() -> None:
    """An invented example, worked out by a second program."""
    before = Dirichlet((2, 1, 1, 1))
    after = before.seen((7, 2, 0, 1))
    assert after.means == pytest.approx((0.6, 0.2, 0.066667, 0.133333), abs=5e-7)
    assert before.log_sequence((7, 2, 0, 1)) == pytest.approx(-10.715417, abs=5e-7)
    assert after.share(2).mean > 0


@pytest.mark.parametrize("shape", [1, 3, 40, 2000])
@pytest.mark.parametrize("x", [0.5, 3.0, 41.0, 1950.0])
def test_the_gamma_function_below_is_a_sum_of_poisson_chances(shape: int, x: float) -> None:
    terms = (math.exp(n * math.log(x) - x - math.lgamma(n + 1)) for n in range(shape))
    assert gamma_below(shape, x) == pytest.approx(1 - math.fsum(terms), abs=1e-11)


@pytest.mark.parametrize("trials", [1, 8, 300])
@pytest.mark.parametrize("x", [0.001, 0.3, 0.97])
def test_the_beta_function_below_is_a_sum_of_binomial_chances(trials: int, x: float) -> None:
    for hits in range(1, trials + 1, 7):
        terms = (math.comb(trials, n) * x**n * (1 - x) ** (trials - n) for n in range(hits))
        assert beta_below(hits, trials - hits + 1, x) == pytest.approx(
            1 - math.fsum(terms), abs=1e-12
        )


def test_predictive_chances_add_up() -> None:
    belief = Gamma(1.2, 1000)
    chances = [math.exp(belief.log_predictive(count, 6000)) for count in range(200)]
    assert math.fsum(chances) == pytest.approx(1)
    assert belief.at_most(4, 6000) == pytest.approx(math.fsum(chances[:5]))
    assert belief.at_least(5, 6000) == pytest.approx(math.fsum(chances[5:]))


def test_an_interval_holds_what_it_says() -> None:
    belief = Gamma(0.3, 500)
    low, high = belief.interval(0.9)
    held = gamma_below(0.3, 500 * high) - gamma_below(0.3, 500 * low)
    assert held == pytest.approx(0.9, abs=1e-9)


@pytest.mark.parametrize("level", [0.5, 0.9, 0.99])
def test_intervals_of_a_chance_in_closed_form(level: float) -> None:
    """P(X ≤ x) is x for Beta(1, 1), x² for Beta(2, 1), and the arcsine law for Beta(1/2, 1/2)."""
    tails = (1 - level) / 2, (1 + level) / 2
    turned = {
        Beta(1, 1): lambda p: p,
        Beta(2, 1): math.sqrt,
        Beta(1, 3): lambda p: 1 - (1 - p) ** (1 / 3),
        Beta(0.5, 0.5): lambda p: math.sin(math.pi * p / 2) ** 2,
    }
    for belief, quantile in turned.items():
        assert belief.interval(level) == pytest.approx([quantile(p) for p in tails], rel=1e-9)


@pytest.mark.parametrize(
    ("above", "below", "point"),
    [
        (1, 1, 161.4),
        (3, 3, 9.28),
        (3, 5, 5.41),
        (5, 3, 9.01),
        (5, 5, 5.05),
        (7, 3, 8.89),
        (1, 7, 5.59),
    ],
)
def test_halves_agree_with_tables_of_f(above: int, below: int, point: float) -> None:
    """Upper 5 % points of F (M. Abramowitz & I. Stegun 1964, table 26.9; from memory).

    For X of Beta(m/2, n/2), nX / m(1 - X) has the F distribution with m and n degrees of freedom:
    m and n are odd where a prior of Jeffreys has seen whole trials.
    """
    high = Beta(above / 2, below / 2).interval(0.9)[1]
    assert below * high / (above * (1 - high)) == pytest.approx(
        point, abs=0.05 if point > 100 else 0.005
    )


@pytest.mark.parametrize(("hits", "misses"), [(0.5, 20.5), (3.7, 0.5), (7.31, 12.2), (0.5, 0.5)])
def test_an_interval_of_a_chance_holds_what_a_sum_over_angles_says(
    hits: float, misses: float
) -> None:
    """A second route: with x = sin² of an angle the density has no poles at halves."""
    angles = (np.arange(2_000_000) + 0.5) * (math.pi / 2 / 2_000_000)
    density = np.sin(angles) ** (2 * hits - 1) * np.cos(angles) ** (2 * misses - 1)
    low, high = (math.asin(math.sqrt(x)) for x in Beta(hits, misses).interval(0.9))
    below, above = density[angles < low].sum(), density[angles > high].sum()
    assert (below / density.sum(), above / density.sum()) == pytest.approx((0.05, 0.05), abs=2e-6)
