"""Normal and Student-t distributions without tables: probabilities and quantiles. Pure Python.

Student's distribution function is a regularised incomplete beta function, taken by its continued fraction
(Abramowitz & Stegun 26.5.8, evaluated by Lentz's method); the quantile is found by Newton steps on it.
Held against scipy to 1e-9 by the tests.
"""

from functools import lru_cache
from math import erfc, exp, inf, isinf, lgamma, log, pi, sqrt
from statistics import NormalDist

_NORMAL = NormalDist()
_LARGE = 2e4  # degrees of freedom from which the expansion below is good to 1e-12


def normal_cdf(z: float) -> float:
    """Phi(z)."""
    return 0.5 * erfc(-z / sqrt(2.0))


def normal_quantile(probability: float) -> float:
    """z with Phi(z) = probability, 0 < probability < 1."""
    return _NORMAL.inv_cdf(probability)


def t_cdf(t: float, freedom: float) -> float:
    """P(T <= t) of Student's t with `freedom` > 0 degrees of freedom (need not be whole; inf: normal)."""
    if isinf(freedom):
        return normal_cdf(t)
    tail = 0.5 * _incomplete_beta(freedom / 2.0, 0.5, freedom / (freedom + t * t))
    return 1.0 - tail if t > 0.0 else tail


@lru_cache(maxsize=512)
def t_quantile(probability: float, freedom: float) -> float:
    """t with P(T <= t) = probability; raises ValueError outside 0 < probability < 1 or freedom <= 0."""
    if not 0.0 < probability < 1.0 or not freedom > 0.0:
        raise ValueError(f"no Student quantile for probability {probability}, freedom {freedom}")
    if probability < 0.5:
        return -t_quantile(1.0 - probability, freedom)
    z = normal_quantile(probability)
    if freedom > _LARGE:
        return _expansion(z, freedom) if freedom < inf else z
    if probability == 0.5:
        return 0.0
    return _newton(probability, freedom, _start(z, probability, freedom))


def coverage_factor(freedom: float, coverage: float = 0.95) -> float:
    """k so that y +- k u holds the coverage (GUM G.3): two-sided Student quantile."""
    return t_quantile(0.5 + coverage / 2.0, freedom)


def _start(z: float, probability: float, freedom: float) -> float:
    if freedom <= 2.0:
        # The tail goes as t^-freedom: between Cauchy (exact) and 2 degrees of freedom (exact).
        tail = 1.0 - probability
        return sqrt(2.0) * (0.5 - tail) / sqrt(tail * (1.0 - tail))
    return _expansion(z, freedom)


def _expansion(z: float, freedom: float) -> float:
    """Cornish-Fisher expansion in 1/freedom (Abramowitz & Stegun 26.7.5)."""
    z2 = z * z
    g1 = (z2 + 1.0) * z / 4.0
    g2 = ((5.0 * z2 + 16.0) * z2 + 3.0) * z / 96.0
    g3 = (((3.0 * z2 + 19.0) * z2 + 17.0) * z2 - 15.0) * z / 384.0
    return z + g1 / freedom + g2 / freedom**2 + g3 / freedom**3


def _newton(probability: float, freedom: float, t: float) -> float:
    """Newton steps on the logarithm of the tail, which is nearly straight in log t: no overshoot."""
    tail = 1.0 - probability
    density_log = lgamma((freedom + 1.0) / 2.0) - lgamma(freedom / 2.0) - 0.5 * log(freedom * pi)
    for _ in range(60):
        seen = 0.5 * _incomplete_beta(freedom / 2.0, 0.5, freedom / (freedom + t * t))
        density = exp(density_log - (freedom + 1.0) / 2.0 * log(1.0 + t * t / freedom))
        step = log(seen / tail) * seen / (density * t)
        t *= exp(max(-2.0, min(2.0, step)))
        if abs(step) < 1e-14:
            break
    return t


def _incomplete_beta(a: float, b: float, x: float) -> float:
    """Regularised I_x(a, b)."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(1.0 - x))
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _fraction(a, b, x) / a
    return 1.0 - front * _fraction(b, a, 1.0 - x) / b


def _fraction(a: float, b: float, x: float) -> float:
    """Continued fraction of the incomplete beta function, by Lentz's method."""
    c, d = 1.0, 1.0 / (1.0 - (a + b) * x / (a + 1.0))
    total = d
    for m in range(1, 400):
        for term in (
            m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0)),
        ):
            d = 1.0 / (1.0 + term * d)
            c = 1.0 + term / c
            total *= c * d
        if abs(c * d - 1.0) < 1e-16:
            break
    return total
