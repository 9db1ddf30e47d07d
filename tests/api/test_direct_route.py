"""Routes whose endpoint is their handler, and those beside them that are not."""

from fastapi import APIRouter, Request, Response

from noonframe.api.routes.direct import DirectRoute


def test_an_endpoint_that_takes_the_request_and_gives_the_response_handles_it_itself():
    router = APIRouter(route_class=DirectRoute)

    @router.get("/plain")
    async def plain(request: Request) -> Response:
        return Response()

    @router.get("/threaded")
    def threaded(request: Request) -> Response:
        return Response()

    @router.get("/with-a-field")
    async def with_a_field(request: Request, size: int) -> Response:
        return Response()

    @router.get("/with-a-model")
    async def with_a_model(request: Request) -> dict[str, int]:
        return {}

    handlers = {route.path: route.get_route_handler() for route in router.routes}
    assert handlers["/plain"] is plain
    for path, endpoint in (
        ("/threaded", threaded),
        ("/with-a-field", with_a_field),
        ("/with-a-model", with_a_model),
    ):
        assert handlers[path] is not endpoint


def test_the_busiest_questions_go_straight_and_still_tell_their_schema(caller):
    for path in ("/v1/exposure", "/v1/light"):
        answer = caller.app.openapi()["paths"][path]["get"]["responses"]["200"]
        assert "schema" in answer["content"]["application/json"]
    assert (
        caller.get("/v1/exposure", {"latitude_deg": 41, "longitude_deg": -8, "depth": 3}).status_code == 422
    )
