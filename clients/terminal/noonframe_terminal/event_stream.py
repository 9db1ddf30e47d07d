"""Server-sent events, read as they come (HTML standard, section 9.2)."""

from collections.abc import AsyncIterator


async def messages(parts: AsyncIterator[bytes]) -> AsyncIterator[tuple[str, str, str]]:
    """Kind, id and data of each message as soon as it is whole; what the end cuts off is dropped."""
    kind, last_id, data = "", "", list[str]()
    async for line in _lines(parts):
        if not line:
            if data:
                yield kind or "message", last_id, "\n".join(data)
            kind, data = "", []
            continue
        name, _, value = line.partition(":")
        value = value.removeprefix(" ")
        if name == "data":
            data.append(value)
        elif name == "event":
            kind = value
        elif name == "id" and "\0" not in value:
            last_id = value


async def _lines(parts: AsyncIterator[bytes]) -> AsyncIterator[str]:
    """Lines that end with CR, LF or both; other signs that break a line elsewhere do not break one here."""
    kept = b""
    async for part in parts:
        kept += part
        whole = kept.removesuffix(b"\r")  # it may be half an end of line
        *lines, rest = whole.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
        kept = rest + kept[len(whole) :]
        for line in lines:
            yield line.decode("utf-8", "replace")
