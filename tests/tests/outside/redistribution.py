"""Fits drainage curves with scipy, for `redistribution.rs`.

Reads problems as JSON from standard input: hours `t` and water contents `theta`.
The model is theta = W (t/48)^-b - e t/24 + s sin(2 pi t/24) + c cos(2 pi t/24),
fitted by `scipy.optimize.curve_fit` with unit weights; its covariance is scaled by
the residual variance, and W's variance is widened by (1 + r)/(1 - r) with r the
correlation of neighbouring residuals (none below nought).
"""

import json
import sys

import numpy as np
import scipy
from scipy.optimize import curve_fit


def model(t, w, b, e, s, c):
    day = 2 * np.pi * t / 24
    return w * (t / 48) ** -b - e * t / 24 + s * np.sin(day) + c * np.cos(day)


def slopes(t, w, b, e, s, c):
    day = 2 * np.pi * t / 24
    power = (t / 48) ** -b
    return np.column_stack(
        [power, -w * power * np.log(t / 48), -t / 24, np.sin(day), np.cos(day)]
    )


def answer(problem):
    t = np.array(problem["t"], dtype=float)
    theta = np.array(problem["theta"])
    start = [theta[-1], 0.05, 0.003, 0.0, 0.0]
    p, covariance = curve_fit(model, t, theta, start, jac=slopes, xtol=1e-14)
    residuals = theta - model(t, *p)
    r = max(0.0, (residuals[1:] * residuals[:-1]).sum() / (residuals**2).sum())
    return {
        "field_capacity": p[0],
        "u": np.sqrt(covariance[0, 0] * (1 + r) / (1 - r)),
        "exponent": p[1],
        "residual": np.sqrt((residuals**2).sum() / (len(t) - len(p))),
    }


print(
    json.dumps(
        {
            "program": f"scipy {scipy.__version__}",
            "answers": [answer(problem) for problem in json.load(sys.stdin)],
        }
    )
)
