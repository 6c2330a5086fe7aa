"""Where a goodwired listens, and how to reach it."""

from __future__ import annotations

import os
from typing import Any

from ._errors import GoodwireError

#: Largest answer that is accepted, in bytes: a long watch has long curves.
ANSWER_BYTES_MAX = 64 << 20

_OPTIONS: list[tuple[str, Any]] = [
    ("grpc.max_receive_message_length", ANSWER_BYTES_MAX),
    # Over a Unix socket grpcio sends the socket's path as the host's name, which HTTP/2 servers refuse.
    ("grpc.default_authority", "localhost"),
    # What a proxy for the web is set to has nothing to do with a daemon.
    ("grpc.enable_http_proxy", 0),
    # A daemon that is started again is to be found again at once, not after minutes.
    ("grpc.initial_reconnect_backoff_ms", 100),
    ("grpc.min_reconnect_backoff_ms", 100),
    ("grpc.max_reconnect_backoff_ms", 1000),
    # A machine that is gone without a word is noticed while something is waited for.
    ("grpc.keepalive_time_ms", 60_000),
    ("grpc.keepalive_timeout_ms", 20_000),
    ("grpc.http2.max_pings_without_data", 0),
]


def target(server: str | None) -> tuple[str, list[tuple[str, Any]]]:
    """The target and options of a channel to ``unix:PATH``, ``http://HOST:PORT``, or the default.

    The default is ``GOODWIRE_SERVER``, then the user's own socket, then the service's.
    """
    address = server or os.environ.get("GOODWIRE_SERVER") or _default()
    if address.startswith("http://") and len(address) > len("http://"):
        return address.removeprefix("http://").rstrip("/"), _OPTIONS
    if address.startswith("unix:") and len(address) > len("unix:"):
        return address, _OPTIONS
    raise GoodwireError(f"`{address}` is neither unix:PATH nor http://HOST:PORT")


def _default() -> str:
    own = os.environ.get("XDG_RUNTIME_DIR")
    if own and os.path.exists(f"{own}/goodwire.sock"):
        return f"unix:{own}/goodwire.sock"
    return "unix:/run/goodwire/goodwire.sock"
