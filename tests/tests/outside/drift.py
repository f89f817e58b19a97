"""Filters spot checks one after the other, by a program that is not ours.

Reads problems from standard input as JSON, writes answers to standard output, also
as JSON. The filter is that of Kalman in its textbook form, written here with numpy:
state (errors of the parameters of the curve, offset and gain of the drift), a step in
time before each check, then one check at a time. Ours conditions on all checks at once
and has no state.

Run by tests/tests/outside/drift.rs as `python3 drift.py < problems.json`.
"""

import json
import sys

import numpy

YEAR_S = 31_557_600.0


class Curve:
    """theta_v = p0 + p1 z + p2 z^2 of a count brought to the reference temperature."""

    def __init__(self, problem):
        self.parameters = numpy.array(problem["parameters"])
        self.origin, self.unit = problem["origin"], problem["unit"]
        self.coefficient, self.reference_c = problem["coefficient"], problem["reference_c"]
        self.low, self.high = problem["domain"]
        ends = [self.theta(self.low, self.reference_c), self.theta(self.high, self.reference_c)]
        self.middle, self.half = sum(ends) / 2.0, abs(ends[1] - ends[0]) / 2.0

    def z(self, count, celsius):
        return (count - self.coefficient * (celsius - self.reference_c) - self.origin) / self.unit

    def theta(self, count, celsius):
        return float(numpy.polynomial.polynomial.polyval(self.z(count, celsius), self.parameters))

    def slope(self, count, celsius):
        """d theta_v / d count."""
        z = self.z(count, celsius)
        return (self.parameters[1] + 2.0 * self.parameters[2] * z) / self.unit

    def row(self, count, celsius):
        """What each entry of the state does to the departure."""
        z = self.z(count, celsius)
        share = (self.theta(count, celsius) - self.middle) / self.half
        warmth = -self.slope(count, celsius) * (celsius - self.reference_c)
        return numpy.array([1.0, z, z * z, warmth, 1.0, share])


def filtered(curve, problem, rate):
    covariance = numpy.zeros((6, 6))
    covariance[:4, :4] = numpy.array(problem["covariance"])
    state, time, scores = numpy.zeros(6), 0.0, []
    steps = numpy.diag([0.0, 0.0, 0.0, 0.0, 1.0, problem["at_the_ends"] ** 2])
    for check in problem["checks"]:
        now = check["seconds"] / YEAR_S
        covariance = covariance + rate**2 * (now - time) * steps
        time = now
        count, celsius = check["count"], check["celsius"]
        row = curve.row(count, celsius)
        reading = check["count_u"] ** 2 + (curve.coefficient * problem["temperature_u"]) ** 2
        noise = (
            problem["scatter"] ** 2
            + check["theta_u"] ** 2
            + curve.slope(count, celsius) ** 2 * reading
        )
        error = check["theta"] - curve.theta(count, celsius) - row @ state
        variance = row @ covariance @ row + noise
        gain = covariance @ row / variance
        state = state + gain * error
        # Joseph's form keeps it symmetric.
        left = numpy.eye(6) - numpy.outer(gain, row)
        covariance = left @ covariance @ left.T + noise * numpy.outer(gain, gain)
        scores.append(float(error / numpy.sqrt(variance)))
    return scores, state, covariance


def answer(problem):
    curve = Curve(problem)
    scores, _, _ = filtered(curve, problem, 0.0)
    _, state, covariance = filtered(curve, problem, problem["rate"])
    grid = numpy.linspace(curve.low, curve.high, 15)
    rows = numpy.array([curve.row(count, curve.reference_c) for count in grid])
    theta = numpy.array([curve.theta(count, curve.reference_c) for count in grid])
    departures = rows @ state
    between = rows @ covariance @ rows.T
    # The slope of the line of least squares is linear in the departures.
    slope = numpy.array([numpy.polyfit(theta, unit, 1)[0] for unit in numpy.eye(15)])
    middle = curve.row(problem["middle_count"], curve.reference_c)
    return {
        "scores": scores,
        "after": list((theta + departures)[[0, 3, 7, 10, 14]]),
        "after_u": list(numpy.sqrt(between.diagonal())[[0, 3, 7, 10, 14]]),
        "offset": [float(middle @ state), float(numpy.sqrt(middle @ covariance @ middle))],
        "gain": [float(slope @ departures), float(numpy.sqrt(slope @ between @ slope))],
    }


json.dump(
    {
        "program": f"numpy {numpy.__version__}",
        "answers": [answer(problem) for problem in json.load(sys.stdin)],
    },
    sys.stdout,
)
