"""Tolerance factors and tests of two batches with a program that is not ours.

Reads problems from standard input as JSON, writes answers to standard output, also
as JSON. The program is scipy: noncentral t for one-sided factors; for two-sided ones
its adaptive quadrature over the mean, another way of writing the integral (over the
chi-square of the spread, with the normal probability about the mean inside); Welch's
t test, F and one-way analysis of variance.

Run by tests/tests/outside/tolerance.rs as `python3 tolerance.py < problems.json`.
"""

import json
import sys

import numpy
import scipy
from scipy import integrate, optimize, stats


def one_sided(n, freedom, share, confidence):
    noncentral = stats.norm.ppf(share) * n**0.5
    return stats.nct.ppf(confidence, freedom, noncentral) / n**0.5


def two_sided(n, freedom, share, confidence):
    # The interval of half width w holds the share where the mean lies within m(w).
    def reach(width):
        inside = lambda m: stats.norm.cdf(m + width) - stats.norm.cdf(m - width) - share
        if inside(0.0) <= 0.0:
            return 0.0
        return optimize.brentq(inside, 0.0, width + 10.0, xtol=1e-14)

    least = stats.norm.ppf(0.5 * (1.0 + share))

    def probability(k):
        # Over s, as the square root of chi-square over its freedom.
        spread = stats.chi(freedom, scale=freedom**-0.5)

        def weighed(s):
            return spread.pdf(s) * (2.0 * stats.norm.cdf(reach(k * s) * n**0.5) - 1.0)

        low = max(least / k, spread.ppf(1e-14))
        high = spread.isf(1e-14)
        if low >= high:
            return 0.0
        edges = numpy.linspace(low, high, 9)
        # The root of the distance to the lower end takes its steepness away.
        first = integrate.quad(
            lambda r: 2.0 * r * weighed(low + r * r),
            0.0,
            (edges[1] - low) ** 0.5,
            epsabs=1e-11,
            epsrel=1e-10,
        )[0]
        return first + sum(
            integrate.quad(weighed, a, b, epsabs=1e-11, epsrel=1e-10)[0]
            for a, b in zip(edges[1:-1], edges[2:])
        )

    # Howe's approximation to start from.
    start = least * (freedom * (1.0 + 1.0 / n) / stats.chi2.isf(confidence, freedom)) ** 0.5
    off = lambda k: probability(k) - confidence
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
