"""How files of tests are shared out to workers: the longest first, and what is done is not counted again."""

import pytest
from xdist.scheduler import LoadFileScheduling
from xdist.workermanage import WorkerController

LONGEST = (
    "test_cluster", "test_check_live", "test_send_servers", "test_reading_laws", "test_page_decisions",
    "test_grammar_sentences", "test_check_live_r5", "test_audit_browser", "test_reflex_talk",
    "test_vocabulary_rows", "test_archive_interrupted", "test_parts", "test_deidentify_leaks",
    "test_cli_archive", "test_page_browser",
)  # fmt: skip
"""Files that take half a minute and more, longest first."""


def longest_first(items: list[pytest.Item]) -> None:
    """Put the longest files first: a worker that began one last would end long after the others."""
    places = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: places.get(item.path.stem, len(places)))


class WholeFiles(LoadFileScheduling):  # type: ignore[misc]
    """Shares out files as pytest-xdist does, and forgets those that are done.

    With every message of a worker it counts the tests that are left among all that were given out: with
    twenty thousand tests that takes longer than many of them.
    """

    def mark_test_complete(self, node: WorkerController, item_index: int, duration: float = 0) -> None:
        """Note that a worker has done a test."""
        super().mark_test_complete(node, item_index, duration)
        given = self.assigned_work[node]
        for file in [file for file, tests in given.items() if all(tests.values())]:
            del given[file]
