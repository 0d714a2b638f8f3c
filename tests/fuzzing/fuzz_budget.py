"""How much is tried: a little, and always the same, in a usual run; much, and at random, with `make fuzz`.

`PLEXOR_FUZZ` says how many times the usual number of examples are tried.
"""

import os

from hypothesis import HealthCheck, settings

TIMES = int(os.environ.get("PLEXOR_FUZZ") or "1")


def tried(examples: int) -> settings:
    """Settings for a test of so many examples in a usual run."""
    return settings(
        max_examples=examples * TIMES,
        derandomize=TIMES == 1,
        deadline=None,
        print_blob=True,
        suppress_health_check=list(HealthCheck),
    )
