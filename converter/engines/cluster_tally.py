"""Counts that the tasks of a cluster keep, so that a task that is done again counts once.

Takes what each partition counted; gives the sum. Spark adds to an accumulator whenever a task ends well, and
in a transformation that can be more than once for a partition: where a machine is lost after its tasks ended,
they are done again. So the counts of a partition stand under its number, and the later ones replace the
earlier: the work is the same, and so are they.
"""

from collections import Counter
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pyspark import Accumulator, SparkContext

Counts = dict[str, int]


class Tally:
    """The counts of one frame; whole once one action has gone over all of it."""

    def __init__(self, context: "SparkContext") -> None:
        self._kept: Accumulator[dict[int, Counts]] = context.accumulator({}, _ByPartition())

    def put(self, counts: Mapping[str, int]) -> None:
        """Keep what the partition of this task counted; called once, in the task, at its end."""
        from pyspark import TaskContext

        context = TaskContext.get()
        assert context is not None
        self._kept.add({context.partitionId(): dict(counts)})

    def total(self) -> Counter[str]:
        """The sum over all partitions."""
        total: Counter[str] = Counter()
        for counts in self._kept.value.values():
            total.update(counts)
        return total


class _ByPartition:
    """Joins counts of partitions; for one partition the later ones stand."""

    def zero(self, _: Any) -> dict[int, Counts]:
        return {}

    def addInPlace(  # noqa: N802 - as Spark calls it
        self, kept: dict[int, Counts], more: dict[int, Counts]
    ) -> dict[int, Counts]:
        kept.update(more)
        return kept
