"""Headers that every answer carries."""

from starlette.types import ASGIApp, Message, Receive, Scope, Send

SAFE_HEADERS: dict[str, str] = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",  # a request's address holds a position
    "Cache-Control": "no-store",
}
_RAW = [(name.lower().encode(), value.encode()) for name, value in SAFE_HEADERS.items()]


class SafeHeaders:
    """ASGI middleware that adds `SAFE_HEADERS` wherever an answer has not set its own."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, and add to the opening of the answer."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_safely(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = list(message.get("headers", ()))
                present = {name for name, _ in headers}
                message["headers"] = headers + [pair for pair in _RAW if pair[0] not in present]
            await send(message)

        await self.app(scope, receive, send_safely)
