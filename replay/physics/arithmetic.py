"""Exponential and logarithm from plain IEEE arithmetic, so that a trace has the same bytes on any machine.

The C library's `exp`, `log` and `pow` (and numpy's vector versions of them) differ in the last bit between
libraries, versions and even between processors with and without fused multiply-add. Additions, products,
quotients and square roots do not: IEEE 754 fixes their rounding. Everything the simulation computes is made
of those four and of the two functions here, in one fixed order.

The functions are plain Python that numba can compile into a kernel (`register_jitable`); both forms give the
same bits, and a test holds it.
"""

import math

import numpy as np
from numba.extending import register_jitable

LN2_HIGH = 0.6931471803691238  # the leading 33 bits of ln 2: k * LN2_HIGH is exact for |k| < 2**20
LN2_LOW = 1.9082149292705877e-10
INVERSE_LN2 = 1.4426950408889634
SQRT_HALF = 0.7071067811865476
LN10 = 2.302585092994046
EXP_LIMIT = 700.0
LARGEST_POWER = 1020
POWERS_OF_TWO = np.array([2.0**k for k in range(-LARGEST_POWER, LARGEST_POWER + 1)])


@register_jitable
def exp(x: float) -> float:
    """Return e**x for |x| up to 700 (beyond, x is held at that limit); relative error below 4e-16."""
    x = min(max(x, -EXP_LIMIT), EXP_LIMIT)
    k = math.floor(x * INVERSE_LN2 + 0.5)
    r = (x - k * LN2_HIGH) - k * LN2_LOW
    # Taylor series on |r| <= 0.35, even and odd terms apart: the first one left out, r**14/14!, is below 5e-18.
    q = r * r
    even = 1.0 / 479001600.0
    even = even * q + 1.0 / 3628800.0
    even = even * q + 1.0 / 40320.0
    even = even * q + 1.0 / 720.0
    even = even * q + 1.0 / 24.0
    even = even * q + 0.5
    odd = 1.0 / 6227020800.0
    odd = odd * q + 1.0 / 39916800.0
    odd = odd * q + 1.0 / 362880.0
    odd = odd * q + 1.0 / 5040.0
    odd = odd * q + 1.0 / 120.0
    odd = odd * q + 1.0 / 6.0
    odd = odd * q + 1.0
    mantissa: float = (even * q + odd * r) + 1.0
    return mantissa * float(POWERS_OF_TWO[k + LARGEST_POWER])


@register_jitable
def log(x: float) -> float:
    """Return the natural logarithm of x > 0; absolute error below 4e-16 of max(1, |ln x|)."""
    mantissa, exponent = math.frexp(x)
    if mantissa < SQRT_HALF:
        mantissa = mantissa * 2.0
        exponent = exponent - 1
    # ln m = 2 artanh(s), s = (m - 1)/(m + 1), |s| <= 0.1716: the first term left out is below 1e-17.
    s = (mantissa - 1.0) / (mantissa + 1.0)
    q = s * s
    q4 = q * q
    even = 1.0 / 21.0
    even = even * q4 + 1.0 / 17.0
    even = even * q4 + 1.0 / 13.0
    even = even * q4 + 1.0 / 9.0
    even = even * q4 + 1.0 / 5.0
    even = even * q4 + 1.0
    odd = 1.0 / 19.0
    odd = odd * q4 + 1.0 / 15.0
    odd = odd * q4 + 1.0 / 11.0
    odd = odd * q4 + 1.0 / 7.0
    odd = odd * q4 + 1.0 / 3.0
    p = even + q * odd
    return exponent * LN2_HIGH + (exponent * LN2_LOW + 2.0 * s * p)


@register_jitable
def power(x: float, y: float) -> float:
    """Return x**y for x > 0."""
    return exp(y * log(x))
