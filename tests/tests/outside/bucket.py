"""Integrates the water balance of a root zone with a program that is not ours.

Reads problems from standard input as JSON, writes answers to standard output, also
as JSON. The program is scipy's solve_ivp (Radau, tolerances near the last digits),
which knows nothing of steps: rates of pump, crop and drainage stand in one
differential equation, and the probe's lag in another.

Run by tests/tests/outside/bucket.rs as `python3 bucket.py < problems.json`.
"""

import json
import math
import sys

import numpy
import scipy
from scipy.integrate import solve_ivp

DAY = 86400.0


def course(problem):
    depth, tau = problem["depth_mm"], problem["drainage_time_s"]
    capacity, wilting = problem["field_capacity"], problem["wilting_point"]
    total = capacity - wilting
    readily = problem["allowed_depletion"] * total

    def rates(t, state):
        storage, seen = state
        theta = storage / depth
        depletion = capacity - theta
        stress = min(1.0, max(0.0, (total - depletion) / (total - readily)))
        hour = (t % DAY) / 3600.0
        sun = math.pi / 24.0 * math.sin(math.pi * (hour - 6.0) / 12.0) if 6.0 < hour < 18.0 else 0.0
        taken = problem["etc_mm"] * sun / 3600.0 * stress
        drained = max(0.0, storage - capacity * depth) / tau
        return [problem["arriving_mm_per_s"] - taken - drained, (theta - seen) / problem["lag_s"]]

    # Sunrise and sunset bend the rates: each piece is integrated by itself.
    state = [problem["start"] * depth, problem["start"]]
    answer = []
    for quarter in range(4 * problem["days"]):
        begin = quarter * DAY / 4.0
        found = solve_ivp(
            rates, (begin, begin + DAY / 4.0), state, method="Radau", rtol=1e-10, atol=1e-12, max_step=1800.0
        )
        state = list(found.y[:, -1])
        answer.append([state[0] / depth, state[1]])
    return answer


def main():
    answers = [course(problem) for problem in json.load(sys.stdin)]
    versions = {"program": f"scipy {scipy.__version__}, numpy {numpy.__version__}"}
    json.dump({**versions, "answers": answers}, sys.stdout)


main()
