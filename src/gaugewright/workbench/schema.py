"""Routes whose answers are frozen dataclasses, written to JSON by one adapter for each type.

FastAPI would build the schema of an answer anew for every route that gives it, which takes
a second at the start.  Here it is built once, when it is first needed, and the OpenAPI
schema names it by reference.
"""

import asyncio
import functools
import inspect
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any, get_type_hints

from fastapi import APIRouter, FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import TypeAdapter
from starlette.responses import Response

REFS = "#/components/schemas/{model}"
PROBLEMS = {
    "400": "The request cannot be read.",
    "401": "This device is not paired.",
    "403": "The request does not come from a page of this server.",
    "404": "It is not there.",
    "409": "The job does not allow it now, or somebody else came first.",
    "413": "Too large.",
    "422": "Something that was given is wrong.",
    "429": "Too many wrong codes.",
    "503": "The book cannot be written, or the instrument failed.",
}
"""The answers that every address can give beside its own."""


class Router(APIRouter):
    """Writes what a function gives by the type that the function names."""

    def __init__(self, *, prefix: str) -> None:
        self.given: dict[str, tuple[Any, int]] = {}
        """By the name of the function, what it gives and with which status."""
        super().__init__(prefix=prefix)

    def add_api_route(self, path: str, endpoint: Callable[..., Any], **kwargs: Any) -> None:
        """Add a route; see `APIRouter.add_api_route`."""
        gives = get_type_hints(endpoint).get("return")
        kwargs["operation_id"] = endpoint.__name__
        if isinstance(gives, type) and issubclass(gives, Response):
            kwargs.setdefault("response_model", None)
            super().add_api_route(path, endpoint, **kwargs)
            return
        status = kwargs.get("status_code") or 200
        kwargs["response_model"] = None
        self.given[endpoint.__name__] = (gives, status)
        super().add_api_route(path, _written(endpoint, gives, status), **kwargs)


@lru_cache(maxsize=128)
def adapter(gives: Any) -> TypeAdapter[Any]:
    """Return the one adapter of a type."""
    return TypeAdapter(gives)


def json_response(value: Any, gives: Any, status: int = 200) -> Response:
    """Return a value as JSON."""
    return Response(adapter(gives).dump_json(value), status, media_type="application/json")


def openapi_of(app: FastAPI, routers: Sequence[Router], problem: type) -> dict[str, Any]:
    """Return the schema of every address, with what each gives and what can go wrong."""
    schema = get_openapi(
        title=app.title, version=app.version, description=app.description, routes=app.routes
    )
    parts = schema.setdefault("components", {}).setdefault("schemas", {})
    refused = _schema_of(problem, parts)
    given = {name: what for router in routers for name, what in router.given.items()}
    for operations in schema["paths"].values():
        for operation in operations.values():
            answers = operation["responses"]
            if operation["operationId"] in given:
                kind, success = given[operation["operationId"]]
                answers[str(success)]["content"] = {
                    "application/json": {"schema": _schema_of(kind, parts)}
                }
            for status, words in PROBLEMS.items():
                answers[status] = {
                    "description": words,
                    "content": {"application/json": {"schema": refused}},
                }
    return schema


def _written(endpoint: Callable[..., Any], gives: Any, status: int) -> Callable[..., Any]:
    if asyncio.iscoroutinefunction(endpoint):

        @functools.wraps(endpoint)
        async def later(*args: Any, **kwargs: Any) -> Response:
            return json_response(await endpoint(*args, **kwargs), gives, status)

        made: Any = later
    else:

        @functools.wraps(endpoint)
        def now(*args: Any, **kwargs: Any) -> Response:
            return json_response(endpoint(*args, **kwargs), gives, status)

        made = now
    # FastAPI looks here first, and would follow the wrapping to the type that is given.
    made.__signature__ = inspect.signature(endpoint).replace(return_annotation=Response)
    return made  # type: ignore[no-any-return]  # a wrapper keeps no type of its own


def _schema_of(kind: Any, parts: dict[str, Any]) -> dict[str, Any]:
    found = adapter(kind).json_schema(ref_template=REFS, mode="serialization")
    parts.update(found.pop("$defs", {}))
    name = found.get("title")
    if found.get("type") == "object" and name:
        parts[name] = found
        return {"$ref": REFS.format(model=name)}
    return found
