# The axes and controllers the scripts here look at, and how the probe is asked about them.
# SPDX-License-Identifier: GPL-3.0-or-later
import os
import subprocess


def words(axis, controller, f_hz=(), error=()):
    """One question to probe_control as text."""
    modes, biquads = axis["modes"], controller["biquads"]
    numbers = [axis[k] for k in ("J", "B", "delay", "rate")] + [len(modes)]
    numbers += [x for mode in modes for x in mode]
    numbers += [controller[k] for k in ("kp", "ki", "kd", "fd", "lowpass", "order", "zeta")] + [len(biquads)]
    numbers += [x for biquad in biquads for x in biquad]
    numbers += [len(f_hz), *f_hz, len(error), *error]
    return " ".join(repr(x) if isinstance(x, int) else repr(float(x)) for x in numbers) + "\n"


def ask(questions):
    """Four lists of numbers per question: sections, response, torque, verdict."""
    probe = os.path.join(os.environ["TUNE_BUILD"], "tests/control/probe_control")
    out = subprocess.run([probe], input="".join(questions), capture_output=True, text=True, check=True).stdout
    lines = [[float(x) for x in line.split()] for line in out.split("\n")]
    return [lines[4 * i:4 * i + 4] for i in range(len(questions))]


class Tap:
    def __init__(self):
        self.n = 0
        self.failed = 0

    def ok(self, good, name):
        self.n += 1
        self.failed += not good
        print(("ok" if good else "not ok"), self.n, name)

    def done(self):
        print(f"1..{self.n}")
        return 1 if self.failed else 0
