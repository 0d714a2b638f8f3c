"""The vocabulary, scales, reflexes and anatomy: data files, and the one loader that reads them.

Takes data files, ours and a site's own, in the same formats; gives one checked, fingerprinted Vocabulary.
Leaves what the words mean together to `reading`.
"""

from converter.words.coverage import Covered, expand
from converter.words.vocabulary import (
    Descriptor,
    Grade,
    Reflex,
    Scale,
    Vocabulary,
    VocabularyError,
    Word,
    load_vocabulary,
    shipped_vocabulary,
)

__all__ = [
    "Covered",
    "Descriptor",
    "Grade",
    "Reflex",
    "Scale",
    "Vocabulary",
    "VocabularyError",
    "Word",
    "expand",
    "load_vocabulary",
    "shipped_vocabulary",
]
