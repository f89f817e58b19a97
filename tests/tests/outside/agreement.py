"""Works out measures of agreement by programs that are not ours.

Reads problems from standard input as JSON, each with references `x`, readings `y`,
the cluster of each pair, and writes what NumPy, SciPy and statsmodels make of them to
standard output, also as JSON.

What a library has a function for is left to it (pearsonr, ttest_1samp, nct, binomtest,
OLS with HC2 errors). Lin's variance is worked out by the delta method on the moments of
a bivariate normal sample, with derivatives by complex steps, and so knows nothing of
the published formula. Errors that allow for clusters, and their degrees of freedom, are
written out from their definition with whole matrices.

Run by tests/tests/outside/agreement.rs as `python3 agreement.py < problems.json`.
"""

import json
import sys

import numpy
import scipy
import scipy.stats
import statsmodels
import statsmodels.api


def moments(x, y):
    d = y - x
    r = scipy.stats.pearsonr(x, y).statistic
    return {
        "bias": d.mean(),
        "rmse": numpy.sqrt(numpy.mean(d**2)),
        "unbiased_rmse": numpy.std(d),
        "mean_absolute_error": numpy.mean(numpy.abs(d)),
        "r_squared": r * r,
        "nash_sutcliffe": 1.0 - numpy.sum(d**2) / numpy.sum((x - x.mean()) ** 2),
    }


def concordance(mx, my, sxx, syy, sxy):
    return 2.0 * sxy / (sxx + syy + (mx - my) ** 2)


def lin(x, y):
    """Concordance and its interval, variance by the delta method."""
    n = len(x)
    (sxx, sxy), (_, syy) = numpy.cov(x, y, ddof=0)
    at = [x.mean(), y.mean(), sxx, syy, sxy]
    # Covariance of the moments of n normal pairs, times n.
    v = numpy.zeros((5, 5))
    v[:2, :2] = [[sxx, sxy], [sxy, syy]]
    v[2:, 2:] = [
        [2 * sxx**2, 2 * sxy**2, 2 * sxx * sxy],
        [2 * sxy**2, 2 * syy**2, 2 * syy * sxy],
        [2 * sxx * sxy, 2 * syy * sxy, sxx * syy + sxy**2],
    ]
    gradient = numpy.zeros(5)
    for i in range(5):
        moved = [complex(value) for value in at]
        moved[i] += 1e-200j
        gradient[i] = numpy.arctanh(concordance(*moved)).imag / 1e-200
    # Lin divides by n - 2.
    error = numpy.sqrt(gradient @ v @ gradient / (n - 2))
    c = concordance(*at)
    half = scipy.stats.norm.ppf(0.975) * error
    s = n / (n - 1)
    return {
        "value": c,
        "value_n_minus_1": concordance(*at[:2], sxx * s, syy * s, sxy * s),
        "low": numpy.tanh(numpy.arctanh(c) - half),
        "high": numpy.tanh(numpy.arctanh(c) + half),
    }


def clustered(design, y, cluster, last, common):
    """The last coefficient with Bell and McCaffrey's error and degrees of freedom."""
    n = len(y)
    inverse = numpy.linalg.inv(design.T @ design)
    rest = numpy.eye(n) - design @ inverse @ design.T
    beta = inverse @ design.T @ y
    e = rest @ y
    groups = [numpy.flatnonzero(cluster == g) for g in numpy.unique(cluster)]
    ratio = 0.0
    if common and len(groups) < n:
        means = numpy.array([e[g].mean() for g in groups])
        sizes = numpy.array([len(g) for g in groups])
        within = sum(((e[g] - e[g].mean()) ** 2).sum() for g in groups) / (n - len(groups))
        between = (sizes * means**2).sum() / (len(groups) - 1)
        size = (n - (sizes**2).sum() / n) / (len(groups) - 1)
        ratio = max(0.0, (between - within) / size) / within
    omega = numpy.eye(n) + ratio * (cluster[:, None] == cluster[None, :])
    variance, columns = 0.0, []
    for g in groups:
        values, vectors = numpy.linalg.eigh(rest[numpy.ix_(g, g)])
        root = vectors @ numpy.diag(values**-0.5) @ vectors.T
        c = root @ design[g] @ inverse[:, last]
        variance += (c @ e[g]) ** 2
        columns.append(rest[:, g] @ c)
    g = numpy.array(columns).T
    k = g.T @ omega @ g
    return {
        "value": beta[last],
        "error": numpy.sqrt(variance),
        "freedom": numpy.trace(k) ** 2 / numpy.trace(k @ k),
    }


def line(x, y, cluster):
    design = numpy.column_stack([numpy.ones_like(x), x])
    found = clustered(design, y, cluster, 1, False)
    if len(numpy.unique(cluster)) == len(x):
        # Where each pair is alone, a library has the same error.
        fitted = statsmodels.api.OLS(y, design).fit(cov_type="HC2")
        found["value"], found["error"] = fitted.params[1], fitted.bse[1]
    return found


def answer(problem):
    x, y = numpy.array(problem["x"]), numpy.array(problem["y"])
    cluster = numpy.array(problem["cluster"])
    n, d = len(x), y - x
    alone = len(numpy.unique(cluster)) == n
    mean = clustered(numpy.ones((n, 1)), d, cluster, 0, True)
    told = {
        "measures": moments(x, y),
        "lin": lin(x, y),
        "mean": mean,
        "slope": line(x, y, cluster),
        "difference_on_mean": line((x + y) / 2, d, cluster),
    }
    t = scipy.stats.t(mean["freedom"])
    mean["p"] = 2 * t.sf(abs(mean["value"]) / mean["error"])
    if alone:
        test = scipy.stats.ttest_1samp(d, 0.0)
        mean["p"], mean["freedom"] = test.pvalue, float(test.df)
        s, root = numpy.std(d, ddof=1), numpy.sqrt(n)
        limit = scipy.stats.nct(n - 1, 1.96 * root)
        told["upper_limit"] = [
            d.mean() + limit.ppf(p) * s / root for p in (0.025, 0.975)
        ]
        z = scipy.stats.norm.ppf(0.9)
        told["one_sided"] = d.mean() + scipy.stats.nct(n - 1, z * root).ppf(0.95) * s / root
        within = int(numpy.sum(numpy.abs(d) <= problem["target"]))
        bounds = scipy.stats.binomtest(within, n).proportion_ci(0.9, method="exact")
        told["counted"] = [bounds.low, bounds.high]
    return told


def main():
    program = f"SciPy {scipy.__version__}, statsmodels {statsmodels.__version__}"
    answers = [answer(problem) for problem in json.load(sys.stdin)]
    json.dump({"program": program, "answers": answers}, sys.stdout, default=float)


main()
