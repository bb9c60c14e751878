#!/usr/bin/python3
# Margins, peaks and noise torque against Octave's control package (SLICOT), which finds them from state
# space and polynomial roots. One start of Octave for all, it takes seconds.
# SPDX-License-Identifier: GPL-3.0-or-later
import os
import shutil
import subprocess
import sys
from math import pi

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from loop_cases import Tap, ask, words  # noqa: E402


def skip(why):
    print(f"1..1\nok 1 # SKIP {why}")
    sys.exit(0)


if not shutil.which("octave"):
    skip("octave is not installed")

# Low rates and whole samples of delay: polynomials of a fast loop crowd their roots around z = 1, and
# Octave's gain margin then loses its digits. Its phase margin does so even here (|L|^2 = 1 has six roots
# near z = 1), so it is asked for the crossing near the one claimed by its frequency response instead.
none = dict(fd=0.0, lowpass=0.0, order=2, zeta=0.7, biquads=[])
cases = [
    (dict(J=2.0, B=1.0, delay=0.0, rate=100.0, modes=[]), dict(none, kp=200.0, ki=0.0, kd=40.0)),
    (dict(J=2.0, B=3.0, delay=0.01, rate=100.0, modes=[]), dict(none, kp=150.0, ki=0.0, kd=30.0, fd=20.0, lowpass=30.0)),
    (dict(J=2.0, B=3.0, delay=0.02, rate=100.0, modes=[]), dict(none, kp=60.0, ki=40.0, kd=20.0, fd=20.0, lowpass=30.0)),
    (dict(J=50.0, B=20.0, delay=0.0, rate=200.0, modes=[(21.0, 0.02, 0.4)]),
     dict(none, kp=4000.0, ki=9000.0, kd=900.0, fd=60.0, biquads=[(21.0, 0.1, 21.0, 0.7)])),
    (dict(J=50.0, B=20.0, delay=0.005, rate=200.0, modes=[(9.0, 0.01, 0.2), (33.0, 0.03, -0.1)]),
     dict(none, kp=3000.0, ki=5000.0, kd=700.0, fd=60.0, lowpass=50.0, zeta=0.6, biquads=[(33.0, 0.2, 30.0, 0.5)])),
]

answers = ask([words(axis, c) for axis, c in cases])
octave = """pkg load control; format long; s = tf('s');
function report(G, C, near)
  L = minreal(G * C, 1e-9); S = feedback(ss(1), L);
  [gm, pm, wg, wp] = margin(L, 1e-4);
  wp = fzero(@(w) log(abs(freqresp(L, w))), [0.995 1.005] * near, optimset('TolX', 1e-14));
  pm = 180 + angle(freqresp(L, wp)) * 180 / pi;
  printf('result %.15g %.15g %.15g %.15g %.15g %.15g %.15g %.15g\\n', gm, wg, pm, wp, norm(S, inf, 1e-10), norm(1 - S, inf, 1e-10), ...
         norm(feedback(C, G), 2), max(abs(pole(S))));
end
"""
for (axis, c), answer in zip(cases, answers):
    T = 1 / axis["rate"]
    rigid = f"1/(s*({axis['J']!r}*s + {axis['B']!r}))"
    modes = "".join(f" + ss({g / axis['J']!r}/(s^2 + 2*{z!r}*(2*pi*{f!r})*s + (2*pi*{f!r})^2))" for f, z, g in axis["modes"])
    octave += f"T = {T!r}; z = tf('z', T); G = c2d(ss({rigid}){modes}, T, 'zoh');\n"
    for _ in range(round(axis["delay"] * axis["rate"])):
        octave += "G = G * ss(1/z);\n"
    octave += f"a = 1 - exp(-2*pi*{c['fd']!r}*T);\n" if c["fd"] > 0 else "a = 1;\n"
    octave += f"C = ss(tf([{c['kp']!r}], [1], T)) + ss({c['kd']!r}*a/T*(z - 1)/(z - (1 - a)));\n"
    if c["ki"] > 0:
        octave += f"C = C + ss({c['ki']!r}*T*z/(z - 1));\n"
    if c["lowpass"] > 0:
        octave += f"w = 2*pi*{c['lowpass']!r}; C = C * ss(c2d(w^2/(s^2 + 2*{c['zeta']!r}*w*s + w^2), T, 'prewarp', w));\n"
    for fz, zz, fp, zp in c["biquads"]:
        octave += (f"n = 2*pi*{fz!r}; w = 2*pi*{fp!r}; C = C * ss(c2d((w/n)^2*(s^2 + 2*{zz!r}*n*s + n^2)/"
                   f"(s^2 + 2*{zp!r}*w*s + w^2), T, 'prewarp', w));\n")
    octave += f"report(G, C, {2 * pi * answer[3][5]!r});\n"

ran = subprocess.run(["octave", "--no-gui", "--quiet", "--norc", "--eval", octave], capture_output=True, text=True)
if "package control" in ran.stderr and "result" not in ran.stdout:
    skip("octave-control is not installed")
results = [[float(x) for x in line.split()[1:]] for line in ran.stdout.splitlines() if line.startswith("result")]
tap = Tap()
tap.ok(len(results) == len(cases), "octave answered")
if len(results) != len(cases):
    print("# " + ran.stderr.replace("\n", "\n# "))
for k, (want, answer) in enumerate(zip(results, answers)):
    stable, gm, gm_hz, _, pm, pm_hz, ms, mt, noise = answer[3]
    names = ["gain margin", "its frequency", "phase margin", "its frequency", "Ms", "Mt", "noise torque"]
    got = [gm, 2 * pi * gm_hz, 180 / pi * pm, 2 * pi * pm_hz, ms, mt, noise]
    tap.ok(stable == (want[7] < 1), f"loop {k + 1}: stable as its poles say")
    for name, a, b in zip(names, got, want):
        # rounding of Octave's roots and norms
        tap.ok(abs(a - b) <= 2e-8 * abs(b), f"loop {k + 1}: {name} {a:.9g} against {b:.9g}")
sys.exit(tap.done())
