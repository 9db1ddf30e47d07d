"""The application at midsummer noon in Porto, over a real socket that can be taken away."""

import socket
import threading

import uvicorn

NOON_S = 1782045600.0  # 2026-06-21T12:40:00Z, the sun's highest in Porto by a few minutes


class SteadyClock:
    """Unix seconds that move when told."""

    def __init__(self, now_s=NOON_S):
        self.now_s = now_s

    def __call__(self):
        return self.now_s


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return listener.getsockname()[1]


class Serving:
    """An application on a port, from a thread; it can be served there again after it was stopped."""

    def __init__(self, port):
        self.port = port
        self.url = f"http://127.0.0.1:{port}"
        self._server = None
        self._thread = None

    def start(self, app):
        config = uvicorn.Config(
            app,
            host="127.0.0.1",
            port=self.port,
            log_level="critical",
            access_log=False,
            lifespan="on",
            timeout_graceful_shutdown=1,
        )
        server, ready = uvicorn.Server(config), threading.Event()

        async def startup(sockets=None, begin=server.startup):
            await begin(sockets)
            ready.set()

        server.startup = startup
        self._server, self._thread = server, threading.Thread(target=server.run, daemon=True)
        self._thread.start()
        assert ready.wait(30), "the service did not start"

    def stop(self):
        if self._server is not None:
            self._server.should_exit = True
            self._thread.join(30)
            self._server = None
