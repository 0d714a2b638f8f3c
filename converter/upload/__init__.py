"""Sends transaction Bundles to a FHIR server, and remembers what it accepted and what it said.

Takes the resources of notes, made and settled elsewhere; gives what the server answered to each. Leaves
making resources, and what is taken back or corrected, to `fhir`; they are joined in `sending` beside `api`.
"""

from converter.upload.accepted import Accepted
from converter.upload.address import check_address, token_from
from converter.upload.batches import Uploader
from converter.upload.client import Client, open_client
from converter.upload.report import COLUMNS, Report
from converter.upload.values import Answer, Parcel, Patience, Server, UploadError

__all__ = [
    "COLUMNS",
    "Accepted",
    "Answer",
    "Client",
    "Parcel",
    "Patience",
    "Report",
    "Server",
    "UploadError",
    "Uploader",
    "check_address",
    "open_client",
    "token_from",
]
