"""Tolerance factors and tests of two batches with a program that is not ours.

Reads problems from standard input as JSON, writes answers to standard output, also
as JSON. The program is scipy: noncentral t for one-sided factors; for two-sided ones
another way of writing the integral (over the spread, with the probability of the
mean inside), its distributions in it and its search for the root; Welch's
t test, F and one-way analysis of variance.

Run by tests/tests/outside/tolerance.rs as `python3 tolerance.py < problems.json`.
"""

import json
import sys

import numpy
import scipy
from scipy import optimize, special, stats


def one_sided(n, freedom, share, confidence):
    noncentral = stats.norm.ppf(share) * n**0.5
    return stats.nct.ppf(confidence, freedom, noncentral) / n**0.5


# Gauss's rule of 20 points in each of 24 pieces.
PLACES, WEIGHTS = numpy.polynomial.legendre.leggauss(20)
PIECES = 24


def two_sided(n, freedom, share, confidence):
    least = stats.norm.ppf(0.5 * (1.0 + share))
    # The spread s, as the root of chi-square over its freedom.
    spread = stats.chi(freedom, scale=freedom**-0.5)
    bottom, top = spread.ppf(1e-15), spread.isf(1e-15)

    def reach(width):
        # The interval of half width w holds the share where the mean lies within m(w).
        low, high = numpy.zeros_like(width), width + 10.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            inside = special.ndtr(middle + width) - special.ndtr(middle - width) > share
            low, high = numpy.where(inside, middle, low), numpy.where(inside, high, middle)
        return low

    def probability(k):
        low = max(least / k, bottom)
        if low >= top:
            return 0.0
        # Over the root of the distance to the lower end, which takes its steepness away.
        edges = numpy.linspace(0.0, (top - low) ** 0.5, PIECES + 1)
        half = 0.5 * numpy.diff(edges)[:, None]
        root = (edges[:-1, None] + half * (1.0 + PLACES)).ravel()
        weight = (half * WEIGHTS).ravel()
        s = low + root**2
        held = 2.0 * special.ndtr(reach(k * s) * n**0.5) - 1.0
        return numpy.sum(weight * 2.0 * root * spread.pdf(s) * held)

    def off(k):
        return probability(k) - confidence

    # Howe's approximation to start from.
    start = least * (freedom * (1.0 + 1.0 / n) / stats.chi2.isf(confidence, freedom)) ** 0.5
    low, high = 0.98 * start, 1.02 * start
    while off(low) > 0.0:
        low *= 0.95
    while off(high) < 0.0:
        high *= 1.05
    return optimize.brentq(off, low, high, xtol=1e-11, rtol=1e-10)


def batches(a, b, margin, ratio, groups):
    a, b = numpy.array(a), numpy.array(b)
    welch = stats.ttest_ind(a, b, equal_var=False)
    interval = welch.confidence_interval(0.95)
    inner = welch.confidence_interval(0.90)
    above = stats.ttest_ind(a + margin, b, equal_var=False, alternative="greater").pvalue
    below = stats.ttest_ind(a - margin, b, equal_var=False, alternative="less").pvalue
    free = (len(a) - 1, len(b) - 1)
    f = a.var(ddof=1) / b.var(ddof=1)
    spread = stats.f(*free)
    analysis = stats.f_oneway(*groups)
    return [
        welch.df,
        welch.pvalue,
        interval.low,
        interval.high,
        max(above, below),
        inner.low,
        inner.high,
        2.0 * min(spread.cdf(f), spread.sf(f)),
        max(spread.cdf(f / ratio**2), spread.sf(f * ratio**2)),
        (f / spread.isf(0.025)) ** 0.5,
        (f / spread.ppf(0.025)) ** 0.5,
        analysis.statistic,
        analysis.pvalue,
    ]


def main():
    answers = []
    for problem in json.load(sys.stdin):
        if "n" in problem:
            answers.append([two_sided(**problem), one_sided(**problem)])
        else:
            answers.append(batches(**problem))
    answers = [[float(value) for value in answer] for answer in answers]
    json.dump({"program": f"scipy {scipy.__version__}", "answers": answers}, sys.stdout)


main()
