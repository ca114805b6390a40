"""The fits of `cargo trial fits` with SciPy: the same resampled data, start, derivatives and tolerances. Run:
python fits.py FOLDER [fits] (needs numpy, scipy); FOLDER is what `cargo trial fits --data FOLDER` writes. Reading the data
is not timed."""
import sys, time
import numpy as np
from scipy.optimize import curve_fit, least_squares

folder = sys.argv[1]
phi, stress, ln = np.loadtxt(f"{folder}/data.csv", delimiter=",", skiprows=1, unpack=True)
times = np.loadtxt(f"{folder}/draws.csv", delimiter=",", dtype=int, max_rows=int(sys.argv[2]) if len(sys.argv) > 2 else None)
drawn = [np.repeat(np.arange(len(ln)), row) for row in times]
close = dict(ftol=1e-10, xtol=1e-10, gtol=1e-10)


def model(phi, stress, q):
    f = np.exp(-((np.exp(q[2]) / stress) ** np.exp(q[3])))
    return q[4] - 2.0 * np.log1p(-phi / (q[0] - (q[0] - q[1]) * f))


def residuals(q, phi, stress, ln):
    return model(phi, stress, q) - ln


def jacobian(q, phi, stress, ln=None):
    beta = np.exp(q[3])
    x = (np.exp(q[2]) / stress) ** beta
    f = np.exp(-x)
    j = q[0] - (q[0] - q[1]) * f
    by_j = -2.0 * phi / (j * (j - phi))
    by_x = by_j * (q[0] - q[1]) * f * x
    return np.column_stack([by_j * (1.0 - f), by_j * f, by_x * beta, by_x * np.log(x), np.ones_like(x)])


def with_derivatives(q, phi, stress, ln):
    return least_squares(residuals, q, jac=jacobian, args=(phi, stress, ln), method="lm", **close).x


def without(q, phi, stress, ln):
    return least_squares(residuals, q, args=(phi, stress, ln), method="lm", **close).x


def by_default(q, phi, stress, ln):
    return least_squares(residuals, q, args=(phi, stress, ln), **close).x


def fitted_with_derivatives(q, phi, stress, ln):
    at = lambda x, *q: jacobian(q, x[0], x[1])
    return curve_fit(lambda x, *q: model(x[0], x[1], q), (phi, stress), ln, q, jac=at, **close)[0]


def fitted(q, phi, stress, ln):
    return curve_fit(lambda x, *q: model(x[0], x[1], q), (phi, stress), ln, q, **close)[0]


start = with_derivatives(np.array([0.66, 0.58, np.log(8.0), 0.0, 0.0]), phi, stress, ln)
ways = [
    ("least_squares, lm, exact derivatives", with_derivatives),
    ("least_squares, lm, finite differences", without),
    ("least_squares, its default (trf, finite differences)", by_default),
    ("curve_fit, exact derivatives", fitted_with_derivatives),
    ("curve_fit, its default (lm, finite differences)", fitted),
]
for name, fit in ways:
    began, cpu = time.perf_counter(), time.process_time()
    found = [fit(start, phi[at], stress[at], ln[at]) for at in drawn]
    took, cpu = time.perf_counter() - began, time.process_time() - cpu
    print(f"{name}: {len(drawn)} fits, {1e6 * took / len(drawn):.1f} us each, {1e6 * cpu / len(drawn):.1f} us of processor time")
    with np.printoptions(precision=8, floatmode="fixed"):
        print("  mean", np.mean(found, axis=0), "sd", np.std(found, axis=0, ddof=1))
