"""Where a road server answers, as a person typed it."""

import ipaddress
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPSConnection
from urllib.parse import urlsplit

from .times import RoadsError

CONNECT_S = 2.0
READ_S = 20.0


@dataclass(frozen=True)
class ServerAddress:
    """Where a table server answers: only http and https, no name or password, no query."""

    scheme: str
    host: str
    port: int
    path: str

    @classmethod
    def of(cls, url: str) -> "ServerAddress":
        """The parts of ``url``. Raises ValueError with what is wrong, for the field."""
        try:
            parts = urlsplit(url.strip())
            port = parts.port
        except ValueError:
            raise ValueError("Write the whole address, like http://localhost:5000.") from None
        if parts.scheme not in {"http", "https"}:
            raise ValueError("The address must begin with http:// or https://.")
        if not parts.hostname or any(sign.isspace() for sign in url.strip()):
            raise ValueError("Write the whole address, like http://localhost:5000.")
        if parts.username is not None or parts.password is not None:
            raise ValueError("The address must not hold a name or a password.")
        if parts.query or parts.fragment:
            raise ValueError("The address must end before any ? or #.")
        return cls(
            parts.scheme,
            parts.hostname,
            port or (443 if parts.scheme == "https" else 80),
            parts.path.rstrip("/"),
        )

    def connect(self) -> HTTPConnection:
        """An open connection. Raises OSError.

        Raises RoadsError for a link-local address: no road server has one, but the machines that hosts
        keep for their own keys do.
        """
        kind = HTTPSConnection if self.scheme == "https" else HTTPConnection
        connection = kind(self.host, self.port, timeout=CONNECT_S)
        connection.connect()
        peer = str(connection.sock.getpeername()[0]).partition("%")[0]
        if ipaddress.ip_address(peer).is_link_local:
            connection.close()
            raise RoadsError("The road server's address is not one that may be asked.")
        connection.sock.settimeout(READ_S)
        return connection
