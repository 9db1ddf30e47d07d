"""A small proxy before several workers: each request goes to the next one, streams stay where they began.

HTTP/1.1 is passed on as it comes, one request to a connection towards the worker.
"""

import asyncio
import contextlib
import itertools
import threading
from collections import Counter


class RoundRobin:
    """Serves on a port of its own, from a thread of its own, until it is closed."""

    def __init__(self, ports: list[int]) -> None:
        self._turn = itertools.cycle(ports)
        self.sent: Counter[int] = Counter()
        self._tasks: set[asyncio.Task[None]] = set()
        self._loop = asyncio.new_event_loop()
        ready = threading.Event()

        async def serve() -> None:
            self._server = await asyncio.start_server(self._one, "127.0.0.1", 0, limit=1 << 20)
            self.port = self._server.sockets[0].getsockname()[1]
            ready.set()

        def run() -> None:
            asyncio.set_event_loop(self._loop)
            self._loop.run_until_complete(serve())
            self._loop.run_forever()

        self._thread = threading.Thread(target=run, daemon=True)
        self._thread.start()
        assert ready.wait(20)
        self.url = f"http://127.0.0.1:{self.port}"

    async def _one(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        upstream: asyncio.StreamWriter | None = None
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)  # nobody else holds it once its caller has left
        task.add_done_callback(self._tasks.discard)
        try:
            head = await reader.readuntil(b"\r\n\r\n")
            fields = dict(line.split(b": ", 1) for line in head.split(b"\r\n")[1:-2])
            length = int(next((v for k, v in fields.items() if k.lower() == b"content-length"), b"0"))
            body = await reader.readexactly(length) if length else b""
            port = next(self._turn)
            self.sent[port] += 1
            lines = [line for line in head.split(b"\r\n")[:-2] if not line.lower().startswith(b"connection:")]
            answer, upstream = await asyncio.open_connection("127.0.0.1", port)
            upstream.write(b"\r\n".join([*lines, b"Connection: close", b"", b""]) + body)
            while part := await answer.read(1 << 16):
                writer.write(part)
                await writer.drain()
        except (ConnectionError, asyncio.IncompleteReadError):
            pass  # somebody left
        finally:
            for end in (writer, upstream):
                if end is not None:
                    end.close()
                    with contextlib.suppress(ConnectionError):
                        await end.wait_closed()

    def close(self) -> None:
        """Stop, with whatever is open."""

        async def end() -> None:
            self._server.close()
            while tasks := asyncio.all_tasks() - {asyncio.current_task()}:
                for task in tasks:
                    task.cancel()
                await asyncio.gather(*tasks, return_exceptions=True)
            await asyncio.sleep(0.1)  # for what is closed to be gone

        asyncio.run_coroutine_threadsafe(end(), self._loop).result(20)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(20)
        self._loop.close()
