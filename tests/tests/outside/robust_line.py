"""Fits straight lines by robust losses with a program that is not ours.

Reads problems from standard input as JSON, writes answers to standard output, also
as JSON. The program is statsmodels' RLM: M-estimation by iteratively reweighted
least squares, with Huber's loss and his proposal 2 for the scale, then Tukey's
biweight at that scale, and the covariance it calls H1 (its documentation refers to
Huber 1981, Robust Statistics; reference recalled from memory).

H1 is a factor times the covariance of least squares without weights. The factor is
given apart, so that it can be set on another matrix.

Run by tests/tests/outside/robust_line.rs as `python3 robust_line.py < problems.json`.
"""

import json
import sys

import numpy
import statsmodels
from statsmodels.robust.norms import HuberT, TukeyBiweight
from statsmodels.robust.robust_linear_model import RLM
from statsmodels.robust.scale import HuberScale

# Where both losses are 95 % as efficient as least squares.
HUBER = 1.345
TUKEY = 4.685
# Stop on nothing coarser than the last digits.
FINELY = {"maxiter": 5000, "tol": 1e-13, "conv": "coefs"}


def answer(design, found):
    unweighted = found.normalized_cov_params
    weights = numpy.asarray(found.weights)
    weighted = numpy.linalg.inv(design.T @ (weights[:, None] * design))
    factor = found.bcov_scaled[0, 0] / unweighted[0, 0]
    return {
        "parameters": list(found.params),
        "scale": float(found.scale),
        "weights": list(weights),
        "covariance": (factor * weights.mean() * weighted).tolist(),
        "h1": found.bcov_scaled.tolist(),
    }


def main():
    answers = []
    for problem in json.load(sys.stdin):
        z, theta = (numpy.array(problem[key]) for key in ("z", "theta"))
        design = numpy.column_stack([numpy.ones_like(z), z])
        huber = RLM(theta, design, M=HuberT(HUBER)).fit(
            scale_est=HuberScale(d=HUBER, tol=1e-15, maxiter=5000), cov="H1", **FINELY
        )
        tukey = RLM(theta, design, M=TukeyBiweight(TUKEY)).fit(
            update_scale=False,
            start_params=huber.params,
            start_scale=huber.scale,
            cov="H1",
            **FINELY,
        )
        answers.append({"huber": answer(design, huber), "tukey": answer(design, tukey)})
    json.dump({"program": f"statsmodels {statsmodels.__version__}", "answers": answers}, sys.stdout)


main()
