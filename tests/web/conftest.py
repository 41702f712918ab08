"""The page as a browser meets it: a server of its own on the loopback, with a shelf of its own."""

import threading
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest


@dataclass
class Served:
    address: str
    shelf: Path

    @property
    def origin(self):
        return "/".join(self.address.split("/")[:3])

    def client(self):
        return httpx.Client(base_url=self.address, headers={"origin": self.origin}, timeout=60)


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    import uvicorn

    from stylemeter.web import server

    shelf = tmp_path_factory.mktemp("shelf") / "takes"
    started, address, running = threading.Event(), [], []

    def ready(where):
        address.append(where)
        started.set()

    real = uvicorn.Server

    class Server(real):
        def __init__(self, config):
            super().__init__(config)
            running.append(self)

        def install_signal_handlers(self):
            """Not in a thread."""

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(uvicorn, "Server", Server)
        thread = threading.Thread(target=server.serve, args=(shelf,), kwargs={"ready": ready}, daemon=True)
        thread.start()
        assert started.wait(20)
        while not running or not running[0].started:
            threading.Event().wait(0.01)
        yield Served(address[0], shelf)
        running[0].should_exit = True
        thread.join(10)
    assert not thread.is_alive()
