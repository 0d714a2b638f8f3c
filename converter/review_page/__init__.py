"""The review page: a person looks at what is uncertain, contradictory or unread, and corrects it once.

Takes an archive and a person's name; serves a page to this machine alone and keeps each decision as an
amendment. A join beside `api`: what to ask and how to show a note belongs to `review`, keeping to `archive`.
"""

from converter.review_page.desk import Desk
from converter.review_page.server import serve
from converter.review_page.values import Review

__all__ = ["Desk", "Review", "serve"]
