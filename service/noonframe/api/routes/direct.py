"""Routes that are asked most often, without the detour through FastAPI's reading of parameters."""

import inspect
from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request, Response
from fastapi.routing import APIRoute


class DirectRoute(APIRoute):
    """A route whose handler is its endpoint, where that takes nothing but the request and gives the response.

    FastAPI would look for fields and dependencies that such an endpoint does not have, which costs a third
    of an answer.  Other endpoints of the same router are handled as ever.
    """

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The endpoint itself, or FastAPI's handler around it."""
        endpoint = self.endpoint
        signature = inspect.signature(endpoint)
        takes = [parameter.annotation for parameter in signature.parameters.values()]
        gives = signature.return_annotation
        plain = takes == [Request] and isinstance(gives, type) and issubclass(gives, Response)
        if plain and not self.dependencies and inspect.iscoroutinefunction(endpoint):
            handler: Callable[[Request], Coroutine[Any, Any, Response]] = endpoint
            return handler
        return super().get_route_handler()
