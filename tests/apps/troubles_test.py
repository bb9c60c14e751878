#!/usr/bin/python3
# Every trouble that simulate can make, once, and a few clean logs: inspect names each, and nothing in the
# clean ones.  tests/montecarlo/troubles.py is the long study.  SPDX-License-Identifier: GPL-3.0-or-later
import os
import sys

sys.dont_write_bytecode = True
root = os.environ.get("TUNE_SOURCE", os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", ".."))
sys.path.insert(0, os.path.join(root, "tests", "montecarlo"))
import troubles  # noqa: E402

# what is tested is inspect; the logs are made by the faster build
troubles.SIMULATE = os.path.join(root, "build", "quietaxis")
troubles.INSPECT = os.path.join(os.environ.get("TUNE_BUILD", os.path.join(root, "build", "san")), "quietaxis")
CASES = [case for case in troubles.CASES if not case.hard]
AXIS = 4  # even: moderate troubles
scores, alarms, n_clean = troubles.study([AXIS], CASES, troubles.CLEAN, tell=lambda text: None,
                                         rate_hz=1000.0, sweep_s=6.0)
failed = 0
for i, (case, score) in enumerate(zip(CASES, scores)):
    failed += not score.good()
    print("%sok %d - %s: %s" % ("" if score.good() else "not ", i + 1, case.finding, case.name))
    for miss in score.misses:
        print("# " + miss)
print("%sok %d - no alarm in %d clean logs" % ("not " if alarms else "", len(scores) + 1, n_clean))
for where, finding in alarms:
    print("# %s: %s: %s" % (where, finding["name"], finding["text"]))
print("1..%d" % (len(scores) + 1))
sys.exit(1 if failed or alarms else 0)
