#!/usr/bin/python3
# The lower bound on jitter against optima found otherwise: the discrete Riccati equation, and the causal
# part of the Wiener-Hopf solution by spectral factors on a uniform grid.
# SPDX-License-Identifier: GPL-3.0-or-later
import os
import subprocess
import sys

try:
    import numpy as np
    from scipy import linalg, optimize
except ImportError:
    print("1..1\nok 1 # SKIP python3-scipy is not installed")
    sys.exit(0)

probe = os.path.join(os.environ["TUNE_BUILD"], "tests/design/probe_bound")
count = failed = 0


def check(what, good, told):
    global count, failed
    count += 1
    failed += not good
    print(f"{'ok' if good else 'not ok'} {count} - {what}: {told}")


def step(A, b, t):
    M = np.zeros((3, 3))
    M[:2, :2], M[:2, 2] = A * t, b * t
    E = linalg.expm(M)
    return E[:2, :2], E[:2, 2]


class Case:
    def __init__(self, J=100.0, B=4.0, delay=1.2, rate=1000.0, modes=(), wind=0.0, corner=0.2, drive=0.01,
                 noise=2e-8, encoder=1, peak=0.0, torque=0.0):
        self.__dict__.update(locals())
        w = 2 * np.pi * 3.0
        self.start = (J * w * w, 0.1 * J * w**3, 1.4 * J * w, 180.0)

    def text(self):
        words = [self.J, self.B, self.delay / self.rate, self.rate, len(self.modes)]
        words += [x for mode in self.modes for x in mode]
        words += [self.wind, self.corner, self.drive, self.noise, self.encoder, self.peak, self.torque, *self.start]
        return " ".join(repr(x) for x in words)

    def bodies(self):
        """(E, newer, older, whole, ratio) of every degree of freedom over one period"""
        T, late = 1 / self.rate, (self.delay - np.floor(self.delay)) / self.rate
        rows = [(np.array([[0, 1.0], [0, -self.B / self.J]]), np.array([0, 1 / self.J]), 1.0)]
        for f, zeta, g, r in self.modes:
            w = 2 * np.pi * f
            rows.append((np.array([[0, 1.0], [-w * w, -2 * zeta * w]]), np.array([0, g / self.J]), r))
        for A, b, r in rows:
            E, whole = step(A, b, T)
            E0, newer = step(A, b, T - late)
            _, first = step(A, b, late)
            yield E, newer, E0 @ first, whole, r


# ---- Riccati: white torque and white noise, least encoder jitter --------------------------------------

def riccati(c):
    bodies = list(c.bodies())
    n, whole = 2 * len(bodies), int(np.floor(c.delay))
    size = n + whole + 1  # and the torques under way, newest first
    A, B, C, W = np.zeros((size, size)), np.zeros((size, 1)), np.zeros((1, size)), np.zeros((size, 1))
    for i, (E, newer, older, full, _) in enumerate(bodies):
        k = slice(2 * i, 2 * i + 2)
        A[k, k], W[k, 0], C[0, 2 * i] = E, full, 1.0
        if whole == 0:
            B[k, 0] = newer
        else:
            A[k, n + whole - 1] = newer
        A[k, n + whole] += older
    B[n, 0] = 1.0
    for i in range(whole):
        A[n + i + 1, n + i] = 1.0
    # angles in units of what the noise is, torques in units of the disturbance's: all near 1
    sd, sn = c.drive * np.sqrt(c.rate / 2), c.noise
    unit = np.array([sn, sn * c.rate / 10] * len(bodies) + [sd] * (whole + 1))
    A, B, C, W = A * unit / unit[:, None], B * sd / unit[:, None], C * unit / sn, W * sd / unit[:, None]
    X = linalg.solve_discrete_are(A, B, C.T @ C, np.array([[1e-10]]))  # torque costs next to nothing
    F = np.linalg.solve(B.T @ X @ B + 1e-10, B.T @ X @ A)
    P = linalg.solve_discrete_are(A.T, C.T, W @ W.T + 1e-18 * np.eye(size), np.array([[1.0]]))
    K = P @ C.T / (C @ P @ C.T + 1.0)
    # state and what is estimated of it after each reading
    I = np.eye(size)
    L = np.block([[A, -B @ F], [K @ C @ A, (I - K @ C) @ (A - B @ F) - K @ C @ B @ F]])
    G = np.block([[W, np.zeros((size, 1))], [K @ C @ W, K]])
    S = linalg.solve_discrete_lyapunov(L, G @ G.T)
    return sn * np.sqrt((C @ S[:size, :size] @ C.T).item())


# ---- Wiener-Hopf: any spectra, and a limit on noise torque by its multiplier ---------------------------

class Wiener:
    N = 2**21

    def __init__(self, c):
        self.f = f = np.arange(self.N // 2 + 1) * c.rate / self.N
        f[0] = f[1] / 4
        self.df, z1, T = c.rate / self.N, np.exp(-2j * np.pi * f / c.rate), 1 / c.rate
        path = {name: np.zeros(len(f), complex) for name in ("mm", "mL", "Lm", "md", "Ld", "LL")}
        whole = int(np.floor(c.delay))
        for E, newer, older, full, r in c.bodies():
            det = (1 / z1 - E[0, 0]) * (1 / z1 - E[1, 1]) - E[0, 1] * E[1, 0]
            row = ((1 / z1 - E[1, 1]) / det, E[0, 1] / det)
            u = sum(row[i] * (newer[i] + older[i] * z1) for i in (0, 1)) * z1**whole
            d = sum(row[i] * full[i] for i in (0, 1))
            for name, value in (("mm", u), ("md", d), ("mL", r * d), ("Lm", r * u), ("Ld", r * d), ("LL", r * r * d)):
                path[name] += value
        kp, ki, kd, fd = c.start
        a = 1 - np.exp(-2 * np.pi * fd * T)
        C = kp + ki * T / (1 - z1) + kd * a * (1 - z1) / T / (1 - (1 - a) * z1)
        self.S0 = 1 / (1 + path["mm"] * C)
        self.R0 = C * self.S0
        self.M2 = ((1 - z1) * (1 - np.exp(-c.B / c.J * T) * z1) / (1 - np.exp(-2 * np.pi * 3 * T) * z1) ** 2) ** 2
        self.weigh(c, path)
        self.t = np.full(len(f), 2 * c.noise**2 / c.rate)

    def weigh(self, c, g):
        """sum |h - l R|^2 = alpha |R - best|^2 + rest, h and l of wind, drive torque, sensor noise"""
        x = np.linspace(0, 1, 400001)[1:] * 200
        shape = lambda q: (1 + q * q) ** (-5 / 6) / (1 + (q / 8) ** 2)
        wind = c.wind**2 / (np.trapz(shape(x), x) * c.corner) * shape(self.f / c.corner)
        root = [np.sqrt(wind), np.full(len(self.f), c.drive), np.full(len(self.f), c.noise * np.sqrt(2 / c.rate))]
        if c.encoder:
            h = [g["mL"], g["md"], 0 * self.f]
            l = [g["mm"] * g["mL"], g["mm"] * g["md"], g["mm"]]
        else:
            windup, first = self.twist(c, g)
            h = [g["LL"] - windup / (1 + (2 * self.f / first) ** 4), g["Ld"], 0 * self.f]
            l = [g["Lm"] * g["mL"], g["Lm"] * g["md"], g["Lm"]]
        h, l = [a * b for a, b in zip(h, root)], [a * b for a, b in zip(l, root)]
        self.alpha = sum(abs(a) ** 2 for a in l)
        self.best = sum(np.conj(a) * b for a, b in zip(l, h)) / self.alpha
        self.rest = sum(abs(h[i] * l[j] - h[j] * l[i]) ** 2 for i in range(3) for j in range(i)) / self.alpha

    def twist(self, c, g):
        windup = sum(gain * (r - 1) ** 2 / (2 * np.pi * f) ** 2 for f, _, gain, r in c.modes) / c.J
        # zeros of  1/(s^2 + B/J s) + sum g/(s^2 + 2 zeta w s + w^2)
        dens = [np.array([1, c.B / c.J, 0])] + [np.array([1, 4 * np.pi * z * f, (2 * np.pi * f) ** 2]) for f, z, _, _ in c.modes]
        gains, num = [1.0] + [m[2] for m in c.modes], np.zeros(1)
        for i, gain in enumerate(gains):
            term = np.array([gain])
            for j, den in enumerate(dens):
                term = np.polymul(term, den) if j != i else term
            num = np.polyadd(num, term)
        roots = np.roots(num)
        return windup, min(abs(x) for x in roots if x.imag > 1e-3) / (2 * np.pi)

    def solve(self, rho):
        """least J^2 + rho torque^2: (J, torque)"""
        alpha = self.alpha + rho * self.t
        best = self.alpha * self.best / alpha
        power = np.log(np.sqrt(alpha) * abs(self.M2))
        cepstrum = np.fft.irfft(power, self.N)
        cepstrum[1:self.N // 2] *= 2
        cepstrum[self.N // 2 + 1:] = 0
        D = np.exp(np.fft.rfft(cepstrum))
        X = D * (best - self.R0) / self.M2
        x = np.fft.irfft(X, self.N)
        x[self.N // 2:] = 0
        R = self.R0 + self.M2 * np.fft.rfft(x) / D
        return (np.sqrt(np.sum(self.alpha * abs(R - self.best) ** 2 + self.rest) * self.df),
                np.sqrt(np.sum(self.t * abs(R) ** 2) * self.df))

    def least(self, torque):
        free, used = self.solve(0.0)
        if torque == 0 or used <= torque:
            return free
        scale = (free / torque) ** 2
        root = optimize.brentq(lambda x: np.log(self.solve(scale * 10**x)[1] / torque), -4, 4, xtol=1e-4)
        return self.solve(scale * 10**root)[0]


payload = ((12.0, 0.006, 0.35, -1 / 0.35), (34.0, 0.01, 0.10, 0.0), (80.0, 0.02, -0.06, 0.0))
rigid = [Case(), Case(delay=0.0), Case(J=3e4, B=0.0, delay=2.7, rate=4000.0, drive=1.0, noise=1e-8),
         Case(modes=((12.0, 0.006, 0.35, 1.0),))]
any_spectra = [Case(), Case(modes=payload, wind=1.0, encoder=0), Case(modes=payload, wind=1.0, encoder=0, torque=0.1),
               Case(modes=payload, wind=1.0, encoder=1, torque=0.1), Case(wind=30.0, torque=0.05, delay=2.5)]
out = subprocess.run([probe], input="\n".join(c.text() for c in rigid + any_spectra), capture_output=True, text=True)
if out.returncode:
    print(f"1..1\nnot ok 1 - probe: {out.stderr}")
    sys.exit(1)
lines = [[float(x) for x in line.split()] for line in out.stdout.splitlines()]
for what, cases, answer in (("Riccati", rigid, riccati), ("Wiener-Hopf", any_spectra, lambda c: Wiener(c).least(c.torque))):
    for i, c in enumerate(cases):
        got, want = lines.pop(0), answer(c)
        # model: from above by what the responses leave out, from below by the quadratures of both
        check(f"{what} {i + 1}", -3e-4 < got[0] / want - 1 < 5e-3,
              f"{got[0]:.6g} rad, the other way {want:.6g}, {100 * (got[0] / want - 1):+.3f} %, spread {100 * got[4]:.3f} %")
        if c.torque:
            check(f"{what} {i + 1}, torque", got[2] < c.torque * 1.001, f"{got[2]:.6g} N m")
print(f"1..{count}")
sys.exit(failed > 0)
