"""The server of a desk: its pages and answers, served on this machine until it is asked to end."""

from __future__ import annotations

import json
import secrets
import socket
import threading
import time
from collections.abc import Callable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from trayopt.desk.acts import Wrong
from trayopt.desk.desk import Desk
from trayopt.desk.frame import STATIC, page_text
from trayopt.desk.guard import Guard
from trayopt.desk.tongues import spoken_fault
from trayopt.desk.words import LANGUAGES
from trayopt.errors import InputError
from trayopt.pictures.svg import style

HOST = "127.0.0.1"
KINDS = {".css": "text/css; charset=utf-8", ".mjs": "text/javascript; charset=utf-8"}
SHEET_POLICY = (
    "sandbox allow-scripts allow-modals; default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data:"
)
"""Policy for a page of sheets, which is one file with its script inside; it has no access to the desk."""
POLL_S = 0.05


def application(desk: Desk) -> Starlette:
    """Make the application that answers the page of a desk."""

    def answered(work: Callable[[], Any]) -> Response:
        try:
            return JSONResponse(work())
        except Wrong as wrong:
            return JSONResponse({"wrong": wrong.reason, **wrong.more, **desk.state()}, status_code=409)
        except InputError as wrong:
            said = [fault.as_dict() | {"text": spoken_fault(fault)} for fault in wrong.faults]
            return JSONResponse({"faults": said}, status_code=422)

    async def given(request: Request) -> Mapping[str, Any]:
        try:
            data = json.loads(await request.body())
        except (ValueError, RecursionError):
            data = None
        if not isinstance(data, dict):
            raise Wrong("bad request")
        return data

    def post(work: Callable[[Mapping[str, Any]], Any]) -> Callable[[Request], Any]:
        async def answer(request: Request) -> Response:
            try:
                data = await given(request)
            except Wrong as wrong:
                return JSONResponse({"wrong": wrong.reason}, status_code=400)
            return await run_in_threadpool(answered, lambda: work(data))

        return answer

    def get(work: Callable[[Request], Any]) -> Callable[[Request], Any]:
        async def answer(request: Request) -> Response:
            return await run_in_threadpool(answered, lambda: work(request))

        return answer

    def halt(_: Mapping[str, Any]) -> dict[str, Any]:
        desk.halt()
        return desk.state()

    def hardware_picture(request: Request) -> dict[str, str]:
        return desk.hardware_picture(_number(request.query_params.get("of")), _language(request))

    async def page(request: Request) -> Response:
        return Response(page_text(_language(request)), media_type="text/html")

    async def static(request: Request) -> Response:
        name = request.path_params["name"]
        if name == "picture.css":
            return Response(style(), media_type="text/css")
        if name not in STATIC:
            return PlainTextResponse("404\n", status_code=404)
        text = files("trayopt.desk").joinpath("page", name).read_text(encoding="utf-8")
        return Response(text, headers={"content-type": KINDS[Path(name).suffix]})

    async def sheet(request: Request) -> Response:
        job_file = desk.document.job_disk.path
        path = job_file.with_name(f"{job_file.stem}-sheets") / "index.html"
        if not path.is_file():
            return PlainTextResponse("404\n", status_code=404)
        return FileResponse(path, media_type="text/html", headers={"content-security-policy": SHEET_POLICY})

    async def alive(request: Request) -> Response:
        return Response(status_code=204)

    return Starlette(
        routes=[
            Route("/", page),
            Route("/static/{name}", static),
            Route("/state", get(lambda request: desk.state(_number(request.query_params.get("since"))))),
            Route("/tables", get(lambda _: desk.tables())),
            Route("/hardware", get(lambda _: desk.hardware())),
            Route("/hardware_picture", get(hardware_picture)),
            Route("/pictures", get(lambda request: desk.pictures(_language(request)))),
            Route("/sheet", sheet),
            Route("/act", post(desk.act), methods=["POST"]),
            Route("/begin", post(desk.begin), methods=["POST"]),
            Route("/halt", post(halt), methods=["POST"]),
            Route("/compare", post(lambda _: desk.compare()), methods=["POST"]),
            Route("/sheets", post(desk.sheets), methods=["POST"]),
            Route(f"/alive/{desk.keeping.name}", alive),
        ]
    )


def _language(request: Request) -> str:
    asked = request.query_params.get("lang", "")
    return asked if asked in LANGUAGES else LANGUAGES[0]


def _number(text: str | None) -> int:
    return int(text) if text is not None and text.isascii() and text.isdigit() and len(text) < 15 else 0


class Served:
    """A desk that is being served, with its address.

    Parameters
    ----------
    desk
        The desk to serve.
    port
        The port on this machine; 0 for any free port.

    Raises
    ------
    InputError
        If the port is not available.
    """

    def __init__(self, desk: Desk, port: int = 0) -> None:
        self.desk = desk
        self.token = secrets.token_urlsafe(24)
        guard = Guard(application(desk), self.token, frozenset({f"/alive/{desk.keeping.name}"}))
        self._socket = _listening(port)
        self.port = guard.port = desk.keeping.port = self._socket.getsockname()[1]
        config = uvicorn.Config(
            guard, log_config=None, access_log=False, lifespan="off", server_header=False, date_header=False,
            ws="none", timeout_graceful_shutdown=1, http="h11", loop="asyncio", proxy_headers=False,
        )  # fmt: skip
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [self._socket]}, daemon=True)

    @property
    def address(self) -> str:
        """The address of the page for a browser on this machine."""
        return f"http://{HOST}:{self.port}/{self.token}/"

    def __enter__(self) -> Served:
        """Start the server."""
        self._thread.start()
        while not self._server.started and self._thread.is_alive():
            time.sleep(POLL_S)
        return self

    def __exit__(self, *_: object) -> None:
        """End the search, then the server."""
        self.desk.close()
        self._server.should_exit = True
        self._thread.join(timeout=10)
        self._socket.close()


def _listening(port: int) -> socket.socket:
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        made.bind((HOST, port))
    except OSError as wrong:
        made.close()
        raise InputError.one(
            "the port cannot be had", source="--port", found=str(port), hint=f"{wrong.strerror}; leave --port out"
        ) from wrong
    return made
