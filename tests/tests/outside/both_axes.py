"""Solves curve fits with errors on both axes by two programs that are not ours.

Reads problems from standard input as JSON and writes what each program makes of
them to standard output, also as JSON:

* scipy.odr: the ODRPACK of Boggs, Byrd, Rogers and Schnabel (1992, User's
  Reference Guide for ODRPACK Version 2.01, NISTIR 4834) as SciPy carries it;
  it is announced to leave SciPy with version 1.19.
* odrpack: ODRPACK95 (Zwolak, Boggs and Watson 2007, ACM Transactions on
  Mathematical Software 33:27) as the Python package of that name carries it.

Both references are recalled from memory. The curves are written out here anew,
and derivatives are left to the programs' own finite differences.

Run by tests/tests/outside/both_axes.rs as `python3 both_axes.py < problems.json`.
"""

import json
import sys
import warnings

import numpy
import odrpack

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)
    import scipy
    import scipy.interpolate
    import scipy.odr



def two_segment(z, p):
    return p[0] + numpy.where(z < p[3], p[1], p[2]) * (z - p[3])


def inverted_logistic(z, p):
    # The count levels off at the roots of 1 + e z - s z^2.
    low, high = sorted(numpy.roots([-p[3], p[2], 1.0]).real)
    width = p[1] * (-low * high) / (high - low)
    return p[0] + width * (numpy.log((z - low) / (high - z)) - numpy.log(-low / high))


def monotone_spline(z, p):
    # Slopes of the control polygon, of mean 1 over its length, then its corners.
    slopes = numpy.exp(numpy.concatenate([[0.0], numpy.cumsum(p[2:5])]))
    gaps = numpy.array([1.0, 2.0, 2.0, 1.0]) / 3.0
    slopes *= 2.0 / (slopes @ gaps)
    corners = numpy.concatenate([[0.0], numpy.cumsum(slopes * gaps)])
    knots = [-1.0] * 4 + [0.0] + [1.0] * 4
    spline = scipy.interpolate.BSpline(knots, corners, 3)
    return p[0] + p[1] * (spline(z) - spline(0.0))


# The count z is dimensionless: count/origin is 1 + z for the hyperbolic curve and
# the power curve.
CURVES = {
    "straight-line": lambda z, p: p[0] + p[1] * z,
    "hyperbolic": lambda z, p: p[0] + p[1] * (1 / (1 + z) - 1),
    "quadratic": lambda z, p: p[0] + p[1] * z + p[2] * z**2,
    "exponential": lambda z, p: p[0] + p[1] * numpy.expm1(p[2] * z) / p[2],
    "power": lambda z, p: p[0] + p[1] * numpy.expm1(p[2] * numpy.log1p(z)) / p[2],
    "cubic": lambda z, p: p[0] + p[1] * z + p[2] * z**2 + p[3] * z**3,
    "two-segment": two_segment,
    "inverted-logistic": inverted_logistic,
    "monotone-spline": monotone_spline,
}

MOST_STEPS = 1000
# Stop on nothing coarser than the last digits.
SUM_OF_SQUARES_TOLERANCE = 1e-14
PARAMETER_TOLERANCE = 1e-12


def answer(found, settled):
    """Both programs scale standard errors by the residual variance; undo it."""
    return {
        "parameters": list(found.beta),
        "standard_errors": list(found.sd_beta / numpy.sqrt(found.res_var)),
        "sum_of_squares": float(found.sum_square),
        "settled": bool(settled),
    }


def by_scipy(curve, z, u_z, theta, u_theta, start):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        data = scipy.odr.Data(z, theta, wd=u_z**-2.0, we=u_theta**-2.0)
        model = scipy.odr.Model(lambda p, z: curve(z, p))
        search = scipy.odr.ODR(
            data,
            model,
            beta0=start,
            maxit=MOST_STEPS,
            sstol=SUM_OF_SQUARES_TOLERANCE,
            partol=PARAMETER_TOLERANCE,
        )
        # An explicit model, and central differences.
        search.set_job(fit_type=0, deriv=1)
        found = search.run()
    # 1, 2 and 3: sums of squares, parameters, or both converged.
    return answer(found, found.info in (1, 2, 3))


def by_odrpack(curve, z, u_z, theta, u_theta, start):
    found = odrpack.odr_fit(
        curve,
        z,
        theta,
        start,
        weight_x=u_z**-2.0,
        weight_y=u_theta**-2.0,
        diff_scheme="central",
        maxit=MOST_STEPS,
        sstol=SUM_OF_SQUARES_TOLERANCE,
        partol=PARAMETER_TOLERANCE,
    )
    return answer(found, found.success)


def main():
    answers = []
    for problem in json.load(sys.stdin):
        columns = [numpy.array(problem[key]) for key in ("z", "u_z", "theta", "u_theta", "start")]
        curve = CURVES[problem["curve"]]
        answers.append(
            {
                f"scipy.odr {scipy.__version__}": by_scipy(curve, *columns),
                f"odrpack {odrpack.__version__}": by_odrpack(curve, *columns),
            }
        )
    json.dump(answers, sys.stdout)


main()
