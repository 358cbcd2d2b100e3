"""Fetching a calendar from an address that somebody typed: nothing inside our own network is reached.

Every name is resolved here, every address it has is checked, and the connection is made to the
address that was checked: a name cannot point elsewhere a moment later. Redirects go the same way.
"""

import http.client
import ipaddress
import socket
import ssl
import threading
import time
import zlib
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from urllib.parse import SplitResult, urljoin, urlsplit

from service.rounds.read_calendar import MEGABYTE, MOST_BYTES

MOST_REDIRECTS = 4
MOST_SECONDS = 20.0
SECONDS_SILENT = 8.0
CHUNK = 64 * 1024
MOST_ADDRESS = 2000
_REDIRECTS = (301, 302, 303, 307, 308)
# Addresses that hold an IPv4 address of their own: NAT64 (RFC 6052) and 6to4 (RFC 3056).
_NAT64 = ipaddress.ip_network("64:ff9b::/96")
_SIX_TO_FOUR = ipaddress.ip_network("2002::/16")

Resolver = Callable[[str, int], Sequence[str]]


class FeedFailed(Exception):  # noqa: N818
    """The feed cannot be fetched; the message says why, for a person, and names no secret."""


@dataclass(frozen=True)
class Fetched:
    """data: None when the feed has not changed since ``etag``."""

    data: bytes | None
    etag: str


def is_public(address: str) -> bool:
    """Whether an address is one of the open internet, for IPv4 also when it is wrapped in an IPv6 one.

    >>> [is_public(a) for a in ("93.184.216.34", "10.0.0.1", "127.0.0.1", "169.254.169.254")]
    [True, False, False, False]
    >>> [is_public(a) for a in ("::1", "fe80::1%eth0", "::ffff:10.0.0.1", "64:ff9b::7f00:1", "fd00::1")]
    [False, False, False, False, False]
    """
    try:
        ip = ipaddress.ip_address(address.split("%")[0])
    except ValueError:
        return False
    if isinstance(ip, ipaddress.IPv6Address):
        inner = _inside(ip)
        if inner is not None:
            return is_public(str(inner))
    return ip.is_global and not (ip.is_multicast or ip.is_reserved or ip.is_unspecified)


def _inside(ip: ipaddress.IPv6Address) -> ipaddress.IPv4Address | None:
    if ip.ipv4_mapped is not None:
        return ip.ipv4_mapped
    if ip in _NAT64:
        return ipaddress.IPv4Address(int(ip) & 0xFFFFFFFF)
    if ip in _SIX_TO_FOUR:
        return ipaddress.IPv4Address(int(ip) >> 80 & 0xFFFFFFFF)
    return ip.teredo[1] if ip.teredo else None


def resolve(host: str, port: int) -> Sequence[str]:
    """Every address of a host. Raises FeedFailed."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as problem:
        raise FeedFailed("The server of this address is not found. Check how it is written.") from problem
    return list(dict.fromkeys(str(item[4][0]) for item in found))


def plain_address(url: str) -> str:
    """A feed's address as it is fetched: booking programs also hand it out as webcal://.

    >>> plain_address("webcal://example.org/a.ics")
    'https://example.org/a.ics'
    """
    scheme, mark, rest = url.strip().partition("://")
    return f"https://{rest}" if mark and scheme.lower() in ("webcal", "webcals") else url.strip()


def why_not_an_address(url: str) -> str:
    """Why a feed cannot be fetched from ``url``, as a sentence; "" when it may be tried."""
    if len(url) > MOST_ADDRESS:
        return f"An address is at most {MOST_ADDRESS:,} characters long."
    try:
        parts = urlsplit(url)
        _ = parts.port
    except ValueError:
        return "This is not an address, such as https://example.org/bookings.ics."
    if parts.scheme not in ("http", "https"):
        return "An address begins with https:// or http://."
    if not parts.hostname:
        return "This is not an address, such as https://example.org/bookings.ics."
    if parts.username or parts.password:
        return "An address with a name and password in it is not fetched; ask for a private link instead."
    return ""


def fetch(
    url: str, *, etag: str = "", resolver: Resolver = resolve, allowed: Callable[[str], bool] = is_public
) -> Fetched:
    """The body behind an address, at most ``MOST_BYTES`` also when unpacked, within ``MOST_SECONDS``.

    etag      Of the last answer: an unchanged feed is not sent again.
    resolver  Host and port -> addresses. allowed: whether an address may be connected to.

    Raises FeedFailed.
    """
    deadline = time.monotonic() + MOST_SECONDS
    for _ in range(MOST_REDIRECTS + 1):
        if why := why_not_an_address(url):
            raise FeedFailed(why)
        parts = urlsplit(url)
        connection = _connected(parts, resolver, allowed, deadline)
        # A server that sends a byte now and then keeps every single read in time, but not this.
        cut = threading.Timer(_left(deadline, MOST_SECONDS), _cut, [connection.sock])
        cut.daemon = True
        cut.start()
        try:
            answer = _asked(connection, parts, etag)
            if answer.status in _REDIRECTS:
                url = urljoin(url, answer.headers.get("Location", ""))
                continue
            return _read(answer, etag, deadline)
        except (OSError, ValueError, http.client.HTTPException, zlib.error) as problem:
            raise FeedFailed(_in_words(problem)) from problem
        finally:
            cut.cancel()
            connection.close()
    raise FeedFailed(f"The address leads on more than {MOST_REDIRECTS} times.")


def _connected(
    parts: SplitResult, resolver: Resolver, allowed: Callable[[str], bool], deadline: float
) -> http.client.HTTPConnection:
    host = parts.hostname or ""
    secure = parts.scheme == "https"
    port = parts.port or (443 if secure else 80)
    addresses = resolver(host, port)
    if not addresses or not all(allowed(address) for address in addresses):
        raise FeedFailed("This address lies inside a private network, where calendars are not fetched.")
    try:
        plain = socket.create_connection((addresses[0], port), timeout=_left(deadline))
        connection = http.client.HTTPConnection(host, port)
        connection.default_port = 443 if secure else 80
        connection.sock = (
            ssl.create_default_context().wrap_socket(plain, server_hostname=host) if secure else plain
        )
    except OSError as problem:
        raise FeedFailed(_in_words(problem)) from problem
    return connection


def _asked(connection: http.client.HTTPConnection, parts: SplitResult, etag: str) -> http.client.HTTPResponse:
    headers = {
        "Accept": "text/calendar, */*;q=0.1",
        "Accept-Encoding": "gzip, identity",
        "Connection": "close",
        "User-Agent": "Runnel",
    }
    if etag:
        headers["If-None-Match"] = etag
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    connection.request("GET", path, headers=headers)
    return connection.getresponse()


def _read(answer: http.client.HTTPResponse, etag: str, deadline: float) -> Fetched:
    if answer.status == http.client.NOT_MODIFIED:
        return Fetched(None, etag)
    if answer.status != http.client.OK:
        raise FeedFailed(f"The server answered {answer.status} {answer.reason}".strip()[:200] + ".")
    encoding = answer.headers.get("Content-Encoding", "identity").lower()
    if encoding not in ("identity", "gzip", "x-gzip"):
        raise FeedFailed(f"The calendar came packed as {encoding[:20]}, which is not read.")
    body = _body(answer, packed="gzip" in encoding, deadline=deadline)
    return Fetched(body, answer.headers.get("ETag", "")[:200])


def _body(answer: http.client.HTTPResponse, *, packed: bool, deadline: float) -> bytes:
    unpack = zlib.decompressobj(wbits=31) if packed else None
    body = bytearray()
    while chunk := answer.read1(CHUNK):
        _left(deadline)
        body += unpack.decompress(chunk, MOST_BYTES + 1 - len(body)) if unpack else chunk
        if len(body) > MOST_BYTES:
            raise FeedFailed(
                f"The calendar is larger than {MOST_BYTES // MEGABYTE} MB, the most that is read."
            )
    _left(deadline)
    if unpack and not unpack.eof:
        raise FeedFailed("The server broke off before the whole calendar had come.")
    return bytes(body)


def _cut(sock: socket.socket) -> None:
    with suppress(OSError):
        sock.shutdown(socket.SHUT_RDWR)


def _left(deadline: float, most: float = SECONDS_SILENT) -> float:
    left = deadline - time.monotonic()
    if left <= 0:
        raise FeedFailed(f"The server took longer than {MOST_SECONDS:.0f} seconds.")
    return min(left, most)


def _in_words(problem: Exception) -> str:
    if isinstance(problem, ssl.SSLError):
        return "The server's certificate cannot be trusted."
    if isinstance(problem, TimeoutError):
        return "The server does not answer in time."
    return "The server cannot be reached, or broke off."
