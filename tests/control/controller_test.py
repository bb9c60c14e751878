#!/usr/bin/python3
# The controller against scipy: sections, frequency response, a run in time.
# SPDX-License-Identifier: GPL-3.0-or-later
import os
import sys

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from loop_cases import Tap, ask, words  # noqa: E402

try:
    import numpy as np
    from scipy import signal
except ImportError:
    print("1..1\nok 1 # SKIP python3-scipy is not installed")
    sys.exit(0)

rng = np.random.default_rng(17)
tap = Tap()


def between(low, high):
    return low * (high / low) ** rng.uniform()


def random_controller(rate):
    half = 0.5 * rate
    biquads = [(between(0.02, 0.8) * half, between(0.02, 1), between(0.02, 0.8) * half, between(0.05, 1))
               for _ in range(rng.integers(0, 5))]
    return dict(kp=between(1, 1e6), ki=between(1, 1e7), kd=between(0.1, 1e5), fd=rng.choice([0, between(0.05, 0.9) * half]),
                lowpass=rng.choice([0, between(0.05, 0.95) * half]), order=int(rng.integers(1, 3)),
                zeta=between(0.2, 1.5), biquads=biquads)


def discrete(num, den, f0, rate):
    """Bilinear transform by scipy, the rate bent so that f0 stays where it is; (b, a), three each."""
    w = 2 * np.pi * f0
    b, a = signal.bilinear(num, den, fs=w / (2 * np.tan(w / (2 * rate))))
    return np.pad(b, (0, 3 - len(b))), np.pad(a, (0, 3 - len(a)))


def sections(c, rate):
    if c["lowpass"] > 0:
        w = 2 * np.pi * c["lowpass"]
        num, den = ([w], [1, w]) if c["order"] == 1 else ([w * w], [1, 2 * c["zeta"] * w, w * w])
        yield discrete(num, den, c["lowpass"], rate)
    for fz, zz, fp, zp in c["biquads"]:
        wz, wp = 2 * np.pi * fz, 2 * np.pi * fp
        k = (wp / wz) ** 2
        yield discrete([k, k * 2 * zz * wz, k * wz * wz], [1, 2 * zp * wp, wp * wp], fp, rate)


def pid_parts(c, rate):
    T = 1 / rate
    a = 1 - np.exp(-2 * np.pi * c["fd"] * T) if c["fd"] > 0 else 1.0
    yield [c["kp"]], [1.0]
    yield [c["ki"] * T], [1.0, -1.0]
    yield [c["kd"] * a / T, -c["kd"] * a / T], [1.0, -(1 - a)]


cases, questions = [], []
for i in range(40):
    rate = rng.choice([500.0, 2000.0, 4000.0, 20000.0])
    c = random_controller(rate)
    f = np.array([between(1e-3, 0.999) * 0.5 * rate for _ in range(30)])
    error = np.concatenate([[0.0], rng.standard_normal(400)])
    axis = dict(J=1.0, B=1.0, delay=0.0, rate=rate, modes=[])
    cases.append((c, rate, f, error))
    questions.append(words(axis, c, f, error))

worst = dict(coefficients=0.0, response=0.0, torque=0.0)
for (c, rate, f, error), answer in zip(cases, ask(questions)):
    got = np.array(answer[0]).reshape(-1, 5)
    want = np.array([[*b, *a[1:]] for b, a in sections(c, rate)]).reshape(-1, 5)
    if got.shape != want.shape:
        worst["coefficients"] = np.inf
        continue
    if len(got):
        worst["coefficients"] = max(worst["coefficients"], np.max(abs(got - want) / (1 + abs(want))))
    h = sum(signal.freqz(b, a, worN=f, fs=rate)[1] for b, a in pid_parts(c, rate))
    torque = sum(signal.lfilter(b, a, error) for b, a in pid_parts(c, rate))
    for b, a in sections(c, rate):
        h = h * signal.freqz(b, a, worN=f, fs=rate)[1]
        torque = signal.lfilter(b, a, torque)
    response = np.array(answer[1][0::2]) + 1j * np.array(answer[1][1::2])
    worst["response"] = max(worst["response"], np.max(abs(response / h - 1)))
    worst["torque"] = max(worst["torque"], np.max(abs(np.array(answer[2]) - torque)) / np.max(abs(torque)))

# rounding: scipy works in z and s, which costs 1/(pi f0/rate)^2 = 1e3 eps per section at 2 % of half the
# rate, and its freqz 1/(pi f/rate)^2 = 4e5 eps = 1e-10 at the lowest frequency
tap.ok(worst["coefficients"] < 1e-11, f"sections are scipy.signal.bilinear's, off by {worst['coefficients']:.1e}")
tap.ok(worst["response"] < 1e-10, f"response is scipy.signal.freqz's, off by {worst['response']:.1e}")
tap.ok(worst["torque"] < 1e-10, f"run in time is scipy.signal.lfilter's, off by {worst['torque']:.1e}")

# Butterworth: zeta = 1/sqrt(2)
c = dict(kp=1.0, ki=0.0, kd=0.0, fd=0.0, lowpass=300.0, order=2, zeta=np.sqrt(0.5), biquads=[])
got = ask([words(dict(J=1.0, B=1.0, delay=0.0, rate=4000.0, modes=[]), c)])[0][0]
b, a = signal.butter(2, 300.0, fs=4000.0)
tap.ok(np.allclose(got, [*b, *a[1:]], rtol=0, atol=1e-14), "low-pass with zeta 1/sqrt 2 is scipy.signal.butter's")
sys.exit(tap.done())
