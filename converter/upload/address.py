"""Sees that a server's address and the token are fit to send patients' data with.

Takes what a person wrote and the environment; gives a Server, or says in one sentence what is wrong without
repeating a secret.
"""

from collections.abc import Mapping
from ipaddress import ip_address
from urllib.parse import urlsplit

from converter.upload.values import Server, UploadError

TOKEN_VARIABLE = "PLEXOR_SEND_TOKEN"  # noqa: S105 - the name of a variable, no secret


def check_address(written: str, token: str | None, allow_http: bool = False) -> Server:
    """The server that an address names.

    Args:
        written: e.g. `https://fhir.hospital.example/r4`.
        token: bearer token, or None.
        allow_http: let the address be plain http to another machine.

    Raises:
        UploadError: the address cannot be used; user names and passwords in it are refused, since a command
            line is seen by others.
    """
    try:
        parts = urlsplit(written.strip())
        host, port = parts.hostname, parts.port
    except ValueError:
        raise UploadError("The address of the server is not right; write it as https://host/path.") from None
    if parts.username is not None or parts.password is not None:
        raise UploadError(
            "The address holds a user name or password, which others can see; "
            f"put a token into {TOKEN_VARIABLE} instead."
        )
    if parts.scheme not in ("http", "https") or not host:
        raise UploadError("The address of the server is not right; write it as https://host/path.")
    if parts.query or parts.fragment:
        raise UploadError("The address of the server has a part behind ? or #; give its base address alone.")
    loopback = _is_loopback(host)
    if parts.scheme == "http" and not loopback and not allow_http:
        raise UploadError(
            f"http://{host} is not encrypted; use https, or --allow-http where the way there is safe."
        )
    shown = f"[{host}]" if ":" in host else host
    where = shown if port is None else f"{shown}:{port}"
    return Server(address=f"{parts.scheme}://{where}{parts.path.rstrip('/')}", token=token, loopback=loopback)


def token_from(environment: Mapping[str, str], variable: str = TOKEN_VARIABLE) -> str | None:
    """The bearer token that the environment holds, or None.

    Raises:
        UploadError: it holds characters that no token has (RFC 6750).
    """
    token = environment.get(variable, "").strip()
    if not token:
        return None
    if not token.isascii() or any(one.isspace() or not one.isprintable() for one in token):
        raise UploadError(f"{variable} holds characters that no token has; it is not shown here.")
    return token


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False
