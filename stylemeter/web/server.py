"""The server: bound to this machine alone, ended cleanly by Ctrl-C."""

from __future__ import annotations

import secrets
import socket
from collections.abc import Callable
from pathlib import Path

from stylemeter.errors import UsageError

__all__ = ["serve"]

#: Requests worked on at once; more are told to come again.
REQUESTS_MAX = 40


def serve(
    folder: Path,
    *,
    port: int = 0,
    advice: str | None = None,
    ready: Callable[[str], None] = lambda _: None,
) -> None:
    """Serve the page until interrupted.

    Parameters
    ----------
    folder : Path
        The shelf.
    port : int
        0 takes any that is free.
    advice : str, optional
        An advice file of the teacher's own.
    ready : callable
        Called with the page's address once it can be opened.

    Raises
    ------
    UsageError
        If the port is taken.
    """
    import uvicorn

    from stylemeter.web.app import Desk, application
    from stylemeter.web.door import Door
    from stylemeter.web.shelf import Shelf

    listening = _listen(port)
    number = listening.getsockname()[1]
    token = secrets.token_urlsafe(18)
    desk = Desk(Shelf(folder), advice)
    door = Door(application(desk), token, lambda: number)
    config = uvicorn.Config(
        door,
        log_level="critical",
        access_log=False,
        server_header=False,
        lifespan="off",
        ws="none",
        http="h11",
        limit_concurrency=REQUESTS_MAX,
        timeout_keep_alive=5,
        timeout_graceful_shutdown=2,
    )
    try:
        ready(f"http://127.0.0.1:{number}/{token}/")
        uvicorn.Server(config).run(sockets=[listening])
    except KeyboardInterrupt:
        pass  # uvicorn hands the interrupt on once it has ended
    finally:
        desk.close()
        listening.close()


def _listen(port: int) -> socket.socket:
    """A socket on the loopback interface.

    Raises
    ------
    UsageError
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("127.0.0.1", port))
        listening.listen(64)
    except OSError as error:
        listening.close()
        raise UsageError(
            f"port {port} can't be had ({error.strerror})",
            mend="name another with --port, or none to take any free one",
        ) from None
    return listening
