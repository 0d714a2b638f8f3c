"""The one place that looks at the clock: what is below it gives the same output for the same input."""

import os
import uuid
from datetime import UTC, datetime

from converter.cli.running import CannotRunError


def now() -> str:
    """The time as an ISO 8601 instant in UTC; SOURCE_DATE_EPOCH sets it, for outputs that must not differ.

    Raises:
        CannotRunError: SOURCE_DATE_EPOCH is no number of seconds.
    """
    fixed = os.environ.get("SOURCE_DATE_EPOCH")
    if not fixed:
        return _written(datetime.now(UTC))
    try:
        return _written(datetime.fromtimestamp(int(fixed), UTC))
    except (ValueError, OverflowError, OSError) as error:
        raise CannotRunError(f"SOURCE_DATE_EPOCH is {fixed!r}, not a number of seconds") from error


def new_run() -> str:
    """An identifier for a run."""
    return str(uuid.uuid4())


def _written(moment: datetime) -> str:
    return moment.replace(microsecond=0).isoformat().replace("+00:00", "Z")
