"""Where a page is served: a socket on this machine."""

from __future__ import annotations

import socket

from colony_sim.errors import ARGUMENT, InputError
from colony_sim.serving.hosts import LOOPBACK


def listening(port: int, host: str = LOOPBACK) -> socket.socket:
    """A listening socket; port 0 takes any that is free.

    Raises
    ------
    InputError
        The port is in use or not allowed.
    """
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((host, port))
        bound.listen(64)
    except OSError as error:
        bound.close()
        allowed = f"a free port ({error.strerror}); 0 takes any"
        raise InputError(ARGUMENT, "port", port, allowed) from None
    return bound
