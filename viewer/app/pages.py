"""What the browser loads: the page and its files, geometry, and files that exports wrote."""

from __future__ import annotations

import asyncio
import mimetypes
import secrets
from functools import cache
from pathlib import Path

from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import Route

from viewer.app.desk import Desk
from viewer.app.joined import one_script

_APP = Path(__file__).parent
_SHEETS = ("palette.css", "app.css", "parts.css")
_PAGE_FONTS = ("SourceSansPro-Regular.ttf", "SourceSansPro-Semibold.ttf")


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


async def _page(request: Request) -> Response:
    return await _packaged("index.html")


async def _static(request: Request) -> Response:
    return await _packaged(request.path_params["name"])


async def _packaged(name: str) -> Response:
    """A file of the app by its plain name; nothing else can be asked for."""
    if name not in _names():
        return PlainTextResponse("there is no such file", status_code=404)
    content = await asyncio.to_thread(_file, name)
    kind = "text/javascript" if name.endswith(".js") else mimetypes.guess_type(name)[0]
    return Response(content, media_type=kind or "application/octet-stream")


@cache
def _names() -> dict[str, Path]:
    """Names of everything that the page loads; those that are made have no place of their own."""
    static = [item for item in (_APP / "static").iterdir() if item.is_file()]
    fonts = [_APP.parent / "picture" / "fonts" / name for name in _PAGE_FONTS]
    made = dict.fromkeys(("palette.css", "all.css", "all.js"), _APP)
    return {item.name: item for item in (*static, *fonts)} | made


@cache
def _file(name: str) -> bytes:
    """One of them, read or made once; the sheets, which wait for the colors, hold up no other."""
    names = _names()
    if name == "palette.css":
        from viewer import style

        return (style.css_variables() + _scales_css()).encode()
    if name == "all.css":
        return b"".join(map(_file, _SHEETS))
    if name == "all.js":
        scripts = [other for other in names if other.endswith(".js") and other != name]
        return one_script({other[:-3]: _file(other).decode() for other in scripts}, "main", "three").encode()
    return names[name].read_bytes()


def _scales_css() -> str:
    """The two color scales, for legends."""
    from viewer import style

    snow, use = ", ".join(style.SNOW_ANCHORS), ", ".join(style.KEPT_ANCHORS)
    over = ", ".join(style.EXCEEDED_ANCHORS)
    return (
        f":root {{\n  --snow-scale: {snow};\n  --kept-scale: {use};\n  --exceeded-scale: {over};\n"
        f"  --wall: {style.WALL};\n  --wall-shade: {style.WALL_SHADE};\n}}\n"
    )


def _known(request: Request) -> bool:
    given = request.headers.get("x-eavewright-token", "")
    return secrets.compare_digest(given.encode(), _desk(request).token.encode())


async def _roof(request: Request) -> Response:
    if not _known(request):
        return PlainTextResponse("open the link that the terminal shows", status_code=403)
    desk = _desk(request)
    await desk.opened.wait()
    if desk.refusal is not None:
        return PlainTextResponse("the project cannot be read", status_code=404)
    return Response(await asyncio.to_thread(_roof_now, desk), media_type="application/octet-stream")


def _roof_now(desk: Desk) -> bytes:
    from viewer.app.surface import roof_block

    return roof_block(desk.state.now.project)


async def _surface(request: Request) -> Response:
    desk = _desk(request)
    if not _known(request):
        return PlainTextResponse("open the link that the terminal shows", status_code=403)
    analysis = None if desk.kept is None else desk.state.now.analysis
    asked = request.query_params.get("case", "0")
    if analysis is None or not asked.isdecimal() or int(asked) >= len(analysis.snow.cases):
        return PlainTextResponse("there is no such case", status_code=404)
    from viewer.app.surface import surface_block  # there since the roof was asked for

    data = await asyncio.to_thread(surface_block, analysis, int(asked))
    return Response(data, media_type="application/octet-stream")


async def _result(request: Request) -> Response:
    """A file that an export wrote; tickets cannot be guessed and name single files."""
    folder, names = _desk(request).tickets.get(request.path_params["ticket"], (Path(), ()))
    name = request.path_params["name"]
    if name not in names or not (folder / name).is_file() or (folder / name).is_symlink():
        return PlainTextResponse("there is no such file", status_code=404)
    policy = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; font-src data:; sandbox"
    return FileResponse(folder / name, headers={"Content-Security-Policy": policy})


ROUTES = [
    Route("/", _page),
    Route("/static/{name}", _static),
    Route("/api/roof", _roof),
    Route("/api/surface", _surface),
    Route("/out/{ticket}/{name}", _result),
]
