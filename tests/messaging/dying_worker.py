"""A worker that dies at every message, unless it is told that the message is poison."""

from __future__ import annotations

import json
import sys
import time


def tell(**fields: object) -> None:
    sys.stdout.write(json.dumps(fields) + "\n")
    sys.stdout.flush()


json.loads(sys.stdin.readline())
tell(ready=True)
poison = False
for raw in sys.stdin:
    told = json.loads(raw)
    if "poison" in told:
        poison = True
    if "stop" in told:
        break
    if "wake" in told:
        tell(took="m1")
        if not poison:
            if "sleep" in sys.argv:
                time.sleep(60)
            sys.exit(9)
        tell(done="m1", number="n1", kept=True, summary=None)
