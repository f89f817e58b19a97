"""theta_v at 33 and 1500 kPa from the class averages of schaap_2001.csv.

Decimal arithmetic of 50 digits, apart from any code of the program. Run in this
folder: python3 schaap_2001_computed.py > schaap_2001_computed.csv
"""

import csv
from decimal import Decimal, getcontext

getcontext().prec = 50
CM_PER_KPA = 100 / Decimal("9.80665")


def power(base, exponent):
    return (exponent * base.ln()).exp()


print("class,theta_33kpa,theta_1500kpa")
for row in csv.DictReader(open("schaap_2001.csv", encoding="utf-8")):
    low, high = Decimal(row["theta_r_m3_m3"]), Decimal(row["theta_s_m3_m3"])
    alpha = power(Decimal(10), Decimal(row["log10_alpha_per_cm"]))
    n = power(Decimal(10), Decimal(row["log10_n"]))
    thetas = []
    for kpa in (33, 1500):
        effective = power(1 + power(alpha * kpa * CM_PER_KPA, n), 1 / n - 1)
        thetas.append(f"{low + (high - low) * effective:.12f}")
    print(",".join([row["class"], *thetas]))
