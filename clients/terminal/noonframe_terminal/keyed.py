"""The key for a service elsewhere."""

import os

from noonframe_terminal.trouble import refusal

KEY_VARIABLE = "NOONFRAME_KEY"


class Keyed(str):
    """The address of a service, with the key that it is to be sent."""

    key: str

    def __new__(cls, address: str, key: str) -> "Keyed":
        """`address` as any other text, with `key` beside it so that nothing prints it."""
        made = super().__new__(cls, address)
        made.key = key.strip()
        return made


def key_header(address: str) -> dict[str, str]:
    """The header with the key: the one given with the address, else the environment's."""
    given = isinstance(address, Keyed)
    key = address.key if isinstance(address, Keyed) else os.environ.get(KEY_VARIABLE, "").strip()
    if not key and not given:
        return {}
    if not key or not all("!" <= sign <= "~" for sign in key):
        raise refusal("--key" if given else KEY_VARIABLE, None, "a key as the service gave it, nf_...")
    return {"Authorization": f"Bearer {key}"}
