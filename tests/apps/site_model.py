#!/usr/bin/python3
"""Two axes of a mount from their description files, both loops closed, as one matrix of responses: its determinant
tells the sensitivity of the first axis while the second is held. Owes nothing to the library: the held torque by the
matrix exponential, the controllers by their equation.
    site_model.py AXIS.ini OTHER.ini AXIS-GAINS.ini OTHER-GAINS.ini EVALUATE.json
fails unless the design found what the second axis adds to the peak sensitivity within four std, and those are small
beside it.
SPDX-License-Identifier: GPL-3.0-or-later"""
import configparser
import json
import sys

import numpy as np
from scipy.linalg import expm


def read(path):
    ini = configparser.ConfigParser(strict=False, inline_comment_prefixes=(';',))
    ini.read(path)
    return ini


def held(poles, gain, f, rate, delay):
    """gain/(s^2 + poles[0] s + poles[1]) under a torque held for a period, from `delay` after its sample on."""
    period = 1.0 / rate
    whole = int(delay / period)
    late = delay - whole * period
    def step(t):
        big = np.zeros((3, 3))
        big[0, 1], big[1, 0], big[1, 1], big[1, 2] = 1.0, -poles[1], -poles[0], gain
        e = expm(big * t)
        return e[:2, :2], e[:2, 2]
    phi, _ = step(period)
    rest, newer = step(period - late)
    older = rest @ step(late)[1]
    z = np.exp(2j * np.pi * f / rate)
    return np.array([np.linalg.solve(x * np.eye(2) - phi, newer * x ** -whole + older * x ** -(whole + 1))[0]
                     for x in z])


def modes(plant, factor):
    k = 1
    while f'mode{k}_hz' in plant:
        hz = float(plant[f'mode{k}_hz']) * (factor if k == 1 else 1.0)
        yield k, [2.0 * float(plant[f'mode{k}_zeta']) * 2.0 * np.pi * hz, (2.0 * np.pi * hz) ** 2], \
            float(plant[f'mode{k}_gain'])
        k += 1


def controller(ini, f, rate):
    c, period = ini['controller'], 1.0 / rate
    back = np.exp(-2j * np.pi * f / rate)
    a = 1.0 - np.exp(-2.0 * np.pi * float(c['derivative_filter_hz']) * period)
    return (float(c['kp_nm_per_rad']) + float(c['ki_nm_per_rad_s']) * period / (1.0 - back) +
            float(c['kd_nm_s_per_rad']) * a * (1.0 - back) / period / (1.0 - (1.0 - a) * back))


def peaks(axis, other, c1, c2, factor, f):
    """Peak sensitivity of the axis: the other one free, and held."""
    rate = float(axis['drive']['loop_rate_hz'])
    def rigid(ini):
        p = ini['plant']
        j = float(p['inertia_kg_m2'])
        return held([float(p['viscous_nm_s_per_rad']) / j, 0.0], 1.0 / j, f, rate, float(p['delay_s']))
    inertia = float(axis['plant']['inertia_kg_m2'])
    delay = float(axis['plant']['delay_s'])
    assert delay == float(other['plant']['delay_s'])
    g = np.zeros((2, 2, len(f)), complex)
    g[0, 0], g[1, 1] = rigid(axis), rigid(other)
    for k, poles, gain in modes(axis['plant'], factor):
        shape = np.array([1.0, float(axis['coupling'][f'mode{k}_ratio'])])
        g += np.outer(shape, shape)[:, :, None] * held(poles, gain / inertia, f, rate, delay)
    # det(I + G C) = (1 + G22 C2)(1 + L1)
    one, two = controller(c1, f, rate), controller(c2, f, rate)
    det = (1.0 + g[0, 0] * one) * (1.0 + g[1, 1] * two) - g[0, 1] * two * g[1, 0] * one
    return (np.max(1.0 / abs(1.0 + g[0, 0] * one)), np.max(abs((1.0 + g[1, 1] * two) / det)))


def main():
    axis, other, c1, c2 = (read(p) for p in sys.argv[1:5])
    found = json.load(open(sys.argv[5]))
    rate = float(axis['drive']['loop_rate_hz'])
    f = np.arange(0.5, 0.5 * rate, 0.01)
    amiss = False
    alone_of = {m['pointing']: m['peak_sensitivity'] for m in found['controllers'][-1]['margins']}
    for m in found['other_axis']['margins']:
        alone, both = peaks(axis, other, c1, c2,
                            float(axis[f"pointing {m['pointing']}"].get('mode1_factor', 1.0)), f)
        known = alone_of[m['pointing']]
        felt, wanted = m['peak_sensitivity']['value'] - known['value'], both - alone
        # what is felt is C1 G21 F2 G12 S^2: its share by the std told with it; S, and the other axis under its own
        # gains, by how well the peak is known, relative to what feedback makes of it: three times, in quadrature
        std = np.hypot(m['peak_sensitivity']['std'], np.sqrt(3.0) * wanted * known['std'] / (known['value'] - 1.0))
        right = abs(felt - wanted) < 4.0 * std < 0.25 * wanted
        print(f"# {m['pointing']}: alone {alone:.5f} (found {known['value']:.5f}), both {both:.5f}, "
              f"felt {felt:.5f} of {wanted:.5f}, std {std:.5f}")
        amiss = amiss or not right
    amiss = amiss or not found['other_axis']['margins']
    sys.exit(amiss)


if __name__ == '__main__':
    main()
