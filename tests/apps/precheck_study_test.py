#!/usr/bin/python3
"""Each kind of wrong setting once, and two axes that are right: caught, and nothing invented. The long
study is tests/montecarlo/precheck_study.py.  SPDX-License-Identifier: GPL-3.0-or-later"""
import os
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["TUNE_SOURCE"], "tests", "montecarlo"))
os.environ["QUIETAXIS"] = os.path.join(os.environ["TUNE_BUILD"], "quietaxis")
import precheck_study  # noqa: E402  (after the path and the program are known)


def main():
    kinds = [[kind] for kind in precheck_study.KINDS] + [[], []]
    axes = [precheck_study.Axis(1001 + i, k, rate_hz=500) for i, k in enumerate(kinds)]
    failed = 0
    with tempfile.TemporaryDirectory() as folder:
        for i, (axis, checks) in enumerate(precheck_study.study(axes, folder), 1):
            raised, missed, invented = precheck_study.judge(axis, checks)
            good = not missed and not invented
            failed += not good
            print("%s %d - %s" % ("ok" if good else "not ok", i,
                                  ", ".join(axis.kinds) or "an axis that is right"))
            if not good:
                print("# %s raised %s" % (axis.mismatch, sorted(raised)))
    print("1..%d" % len(axes))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
