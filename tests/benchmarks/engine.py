"""Check a study with corridor, in a process of its own.

    python -m tests.benchmarks.engine STUDY FINDINGS

prints the seconds it spent in each phase as JSON.
"""

import json
import sys

import corridor

if __name__ == "__main__":
    result = corridor.check_study(sys.argv[1], output=sys.argv[2])
    print(json.dumps(dict(result.timings)))
