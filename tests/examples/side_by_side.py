"""The other side of side_by_side.rs: the same fits by programs that are not ours.

Reads a problem and 10,000 replicates of it as JSON from the first line of standard
input, then one task a line, and answers each with a line of JSON: the seconds it
took a fit, and what was found. One thread.

* scipy.odr: the ODRPACK of Boggs, Byrd, Rogers and Schnabel (1992, User's
  Reference Guide for ODRPACK Version 2.01, NISTIR 4834) as SciPy carries it.
* odrpack: ODRPACK95 (Zwolak, Boggs and Watson 2007, ACM Transactions on
  Mathematical Software 33:27) as the Python package of that name carries it.

Both references are recalled from memory. Tolerances are the programs' own.
"""

import json
import os
import sys
import time
import warnings

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[threads] = "1"

import numpy
import odrpack

warnings.simplefilter("ignore", DeprecationWarning)
import scipy
import scipy.odr


def cubic(p, z):
    return p[0] + z * (p[1] + z * (p[2] + z * p[3]))


def by_z(p, z):
    return p[1] + z * (2.0 * p[2] + z * 3.0 * p[3])


def by_parameter(p, z):
    return numpy.vstack([numpy.ones_like(z), z, z * z, z * z * z])


FORWARD = scipy.odr.Model(cubic)
ANALYTIC = scipy.odr.Model(cubic, fjacb=by_parameter, fjacd=by_z)


def by_scipy(model, deriv, z, theta, wd, we, start):
    search = scipy.odr.ODR(scipy.odr.Data(z, theta, wd=wd, we=we), model, beta0=start)
    search.set_job(fit_type=0, deriv=deriv)
    return search.run().beta


def by_odrpack(z, theta, wd, we, start):
    found = odrpack.odr_fit(
        lambda z, p: cubic(p, z), z, theta, start, weight_x=wd, weight_y=we
    )
    return found.beta


def main():
    setting = json.loads(sys.stdin.readline())
    problem = {key: numpy.array(value) for key, value in setting["problem"].items()}
    wd, we = problem["u_z"] ** -2.0, problem["u_theta_v"] ** -2.0
    start = numpy.array(setting["start"])
    fitted = numpy.array(setting["fitted"])
    counts = numpy.array(setting["z_asked"])
    replicates = [
        (numpy.array(r["z"]), numpy.array(r["theta_v"])) for r in setting["replicates"]
    ]
    z, theta = problem["z"], problem["theta_v"]
    single = {
        "finite-differences": lambda: by_scipy(FORWARD, 0, z, theta, wd, we, start),
        "analytic": lambda: by_scipy(ANALYTIC, 3, z, theta, wd, we, start),
        "odrpack": lambda: by_odrpack(z, theta, wd, we, start),
    }
    print(json.dumps({"scipy": scipy.__version__, "odrpack": odrpack.__version__}), flush=True)
    for line in sys.stdin:
        task = line.strip()
        if task == "bootstrap":
            began = time.perf_counter()
            # scipy.odr with analytic derivatives is the quickest of the three.
            found = [
                cubic(by_scipy(ANALYTIC, 3, z, theta, wd, we, fitted), counts)
                for z, theta in replicates
            ]
            seconds = (time.perf_counter() - began) / len(replicates)
            found = [list(values) for values in found]
        else:
            repeats = 200
            began = time.perf_counter()
            for _ in range(repeats):
                found = single[task]()
            seconds = (time.perf_counter() - began) / repeats
            found = list(found)
        print(json.dumps({"seconds": seconds, "found": found}), flush=True)


main()
