"""The last view of a plan: rendered, checked, with music to try, and handed to a phone."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response, StreamingResponse
from starlette.routing import Route

from cuelane.base.errors import UsageError
from cuelane.base.page_words import page_words
from cuelane.base.schedule import load_schedule
from cuelane.base.units import format_clock, to_ms
from cuelane.check.picture import error_svg, wave_svg
from cuelane.check.run import check
from cuelane.check.text import summary_rows
from cuelane.deliver.publish import ENDINGS
from cuelane.desk.answers import Asked, answered, get_route, post_route, upload_route
from cuelane.desk.archive import files_of, zipped
from cuelane.desk.asked import BadRequestError
from cuelane.desk.forms import place_name
from cuelane.desk.handoff import OPEN_MINUTES, Handoff, qr_svg
from cuelane.desk.jobs import Jobs, Tell
from cuelane.desk.last_check import digests_beside
from cuelane.desk.made import Made, keep_check, made_of
from cuelane.desk.music_tried import LEVELS_LU, TriedMusics, kept_mix
from cuelane.desk.one_file import OneFile
from cuelane.desk.page_shell import page, render
from cuelane.desk.uploads import received
from cuelane.desk.words import Said, desk_words, language_of
from cuelane.desk.workspace import Workspace, Workspaces
from cuelane.media.formats import FORMATS, media_type_of
from cuelane.render.run import RenderOptions
from cuelane.render.run import render as render_plan

ASSETS_OF: dict[str, Any] = {"scripts": ["finish.js"], "styles": ["finish.css"]}


class Finishing:
    """What the view needs over the time of the desk: its jobs, the music that is tried, the listener."""

    def __init__(self, workspaces: Workspaces, jobs: Jobs) -> None:
        self.workspaces = workspaces
        self.jobs = jobs
        self.beds = TriedMusics()
        self.handoff = Handoff()

    def workspace(self, request: Request) -> Workspace:
        """Return the plan that a request is about. Raises UsageError where there is none."""
        return self.workspaces.open(request.path_params["name"])

    def made(self, workspace: Workspace) -> Made | None:
        """Return the newest audio of a plan."""
        return made_of(workspace.document.path, workspace.document.now().text)

    def close(self) -> None:
        """Stop what runs, close the listener, take away what was not kept."""
        self.jobs.close()
        self.handoff.stop()
        self.beds.close()


def routes(finishing: Finishing) -> list[Route]:
    """Return the paths of this view."""

    def get(path: str, handler: Callable[[Finishing, Request], Any]) -> Route:
        return get_route(path, partial(handler, finishing))

    def post(path: str, handler: Callable[[Finishing, Request, Asked], Any]) -> Route:
        return post_route(path, partial(handler, finishing))

    return [
        get("/finish/{name}", finish_page),
        get("/api/finish/{name}", get_parts),
        post("/api/finish/{name}/render", post_render),
        post("/api/finish/{name}/check", post_check),
        post("/api/finish/{name}/under", post_under),
        post("/api/finish/{name}/keep", post_keep),
        post("/api/finish/{name}/unsong", post_remove_song),
        post("/api/finish/{name}/phone", post_phone),
        upload_route("/api/music/{name}", partial(post_song, finishing)),
        get("/api/phone", get_phone),
        post("/api/phone/stop", post_phone_stop),
        get("/api/job", get_job),
        post("/api/job/cancel", post_cancel),
        get("/made/{name}/{which}", get_sound),
        get("/export.zip", get_export),
    ]


def finish_page(finishing: Finishing, request: Request) -> Response:
    """The view."""
    name = request.path_params["name"]
    workspace = finishing.workspace(request)
    made = finishing.made(workspace)
    _version, preview = workspace.now()
    title = preview.schedule.title if preview.schedule else name
    language = preview.schedule.language if preview.schedule else ""
    values: dict[str, Any] = {
        "parts": _parts(finishing, name, workspace),
        "formats": [form.suffix for form in FORMATS],
        "chosen": made.audio.suffix if made is not None else FORMATS[0].suffix,
        "level": f"{finishing.beds.of(name).level_lu:g}",
        "levels": [f"{value:g}" for value in LEVELS_LU],
        "state": {"job": finishing.jobs.now(), "phone": finishing.handoff.now()},
        "minutes": OPEN_MINUTES,
    }
    return HTMLResponse(
        page("finish.html.j2", "finish", title, title_lang=language, plan=name, **ASSETS_OF, **values)
    )


def get_parts(finishing: Finishing, request: Request) -> Any:
    """The parts of the view that change."""
    return {"parts": _parts(finishing, request.path_params["name"], finishing.workspace(request))}


def post_render(finishing: Finishing, request: Request, data: Asked) -> Any:
    """Render the plan and check what came of it."""
    name, workspace = request.path_params["name"], finishing.workspace(request)
    suffix = data.get("format")
    if suffix not in [form.suffix for form in FORMATS]:
        raise BadRequestError("format must be one of those that can be written")
    out = workspace.document.path.with_suffix(str(suffix))
    if out.exists() and not out.with_suffix(".schedule.json").is_file():
        raise UsageError(Said("finish.in_the_way", file=out.name))
    own = workspace.document.path
    twin = own.with_suffix(".yml" if own.suffix == ".yaml" else ".yaml")
    if twin.is_file():
        # One's track would take the place of the other's, with all that is beside it.
        raise UsageError(Said("finish.same_name", one=own.name, other=twin.name, file=out.name))
    options = _options(data)

    def work(tell: Tell) -> dict[str, Any]:
        made_from = _made_from(workspace)
        render_plan(
            workspace.document.path,
            out,
            options,
            store=finishing.workspaces.store,
            speech_progress=tell("speaking"),
            progress=tell("writing"),
        )
        return _checked(finishing, workspace, out, made_from, tell)

    return finishing.jobs.start("render", name, work, partial(_to_mend, workspace))


def _options(data: Asked) -> RenderOptions:
    return RenderOptions(
        for_music=data.get("for_music") is True,
        embed=data.get("embed") is True,
        subtitles=data.get("subtitles") is True,
    )


def post_check(finishing: Finishing, request: Request, _: Asked) -> Any:
    """Check the newest audio once more."""
    workspace = finishing.workspace(request)
    made = finishing.made(workspace)
    if made is None:
        raise UsageError(Said("finish.nothing"))
    made_from = _made_from(workspace) if made.fresh else ("", {})
    work = partial(_checked, finishing, workspace, made.audio, made_from)
    return finishing.jobs.start("check", request.path_params["name"], work)


def post_under(finishing: Finishing, request: Request, data: Asked) -> Any:
    """Put the songs under the newest audio, to try."""
    name, workspace = request.path_params["name"], finishing.workspace(request)
    level, made = data.get("level"), finishing.made(workspace)
    if not isinstance(level, int | float) or not LEVELS_LU[0] <= level <= LEVELS_LU[1]:
        raise BadRequestError("level must be a number of LU within the slider")
    if made is None:
        raise UsageError(Said("finish.nothing"))
    if not finishing.beds.of(name).songs:
        raise UsageError(Said("music.none"))

    def work(tell: Tell) -> dict[str, Any]:
        finishing.beds.mixed(name, made.audio, float(level), tell)
        return {}

    return finishing.jobs.start("under", name, work)


def post_keep(finishing: Finishing, request: Request, _: Asked) -> Any:
    """Keep the newest mix beside the plan."""
    name, workspace = request.path_params["name"], finishing.workspace(request)
    kept = finishing.beds.keep(name, workspace.document.path.parent)
    return {"said": desk_words()("music.kept", file=kept.name), "parts": _parts(finishing, name, workspace)}


async def post_song(finishing: Finishing, request: Request) -> Response:
    """Take in a song: the body is the file, its name is in the query."""
    name = request.path_params["name"]

    def take(path: Path) -> Any:
        workspace = finishing.workspace(request)
        finishing.beds.add(name, request.query_params.get("file", "song"), path)
        return {"parts": _parts(finishing, name, workspace)}

    async with received(request) as path:
        return await answered(lambda: take(path))


def post_remove_song(finishing: Finishing, request: Request, data: Asked) -> Any:
    """Take a song out again."""
    name, workspace = request.path_params["name"], finishing.workspace(request)
    finishing.beds.remove(name, str(data.get("file")))
    return {"parts": _parts(finishing, name, workspace)}


def post_phone(finishing: Finishing, request: Request, data: Asked) -> Any:
    """Open the listener for one file: the track, or the mix that was kept."""
    name, workspace = request.path_params["name"], finishing.workspace(request)
    made = finishing.made(workspace)
    mix = kept_mix(workspace.document.path)
    if made is None or (mix is None and data.get("which") == "mix"):
        raise UsageError(Said("finish.nothing"))
    path = mix if mix is not None and data.get("which") == "mix" else made.audio
    cautions = made.schedule.extra.get("cautions")
    lines = [str(line) for line in cautions] if isinstance(cautions, list) else []
    language = made.schedule.language
    shared = OneFile(path, media_type_of(path.name), made.schedule.title, lines, language)
    return _with_code(finishing.handoff.start(shared, name, path.name))


def get_phone(finishing: Finishing, request: Request) -> Any:
    """What is open for a phone, if anything is."""
    return _with_code(finishing.handoff.now())


def post_phone_stop(finishing: Finishing, request: Request, _: Asked) -> Any:
    """Close the listener."""
    return finishing.handoff.stop()


def get_job(finishing: Finishing, request: Request) -> Any:
    """How the newest job stands."""
    return finishing.jobs.now()


def post_cancel(finishing: Finishing, request: Request, _: Asked) -> Any:
    """Stop the running job."""
    return finishing.jobs.cancel()


def get_sound(finishing: Finishing, request: Request) -> Response:
    """The track, the mix that is tried, or the mix that was kept: to play, or to save."""
    name, workspace = request.path_params["name"], finishing.workspace(request)
    made = finishing.made(workspace)
    paths = {
        "track": made.audio if made is not None else None,
        "tried": finishing.beds.of(name).mix,
        "mix": kept_mix(workspace.document.path),
    }
    path = paths.get(request.path_params["which"])
    if path is None or not path.is_file() or path.is_symlink():
        raise UsageError(Said("finish.nothing"))
    saved = path.name if "save" in request.query_params else None
    return FileResponse(path, media_type=media_type_of(path.name), filename=saved)


def get_export(finishing: Finishing, request: Request) -> Response:
    """The whole folder as one zip file."""
    folder = finishing.workspaces.folder.path
    files = files_of(folder)
    plain = (letter if letter.isascii() and letter.isalnum() else "-" for letter in folder.name)
    name = "".join(plain) or "plans"
    head = {"content-disposition": f'attachment; filename="{name}.zip"'}
    return StreamingResponse(zipped(folder, files), headers=head, media_type="application/zip")


def _made_from(workspace: Workspace) -> tuple[str, dict[str, str]]:
    """Return a plan's text, and the digests of the plans, recordings and voice's files beside it."""
    version, preview = workspace.now()
    beside = (path for path, _, _ in preview.beside)
    return version.text, digests_beside(workspace.document.path.parent, beside)


def _checked(
    finishing: Finishing, workspace: Workspace, audio: Path, made_from: tuple[str, dict[str, str]], tell: Tell
) -> dict[str, Any]:
    planned = load_schedule(audio.with_suffix(".schedule.json"))
    if not planned.events:
        return {"ok": None}
    report = check(audio, planned, store=finishing.workspaces.store, progress=tell("checking"))
    keep_check(workspace.document.path, report, *made_from)
    return {"ok": report.ok}


def _to_mend(workspace: Workspace) -> list[dict[str, str]]:
    """Return what keeps the plan from being rendered, with the fields it is about."""
    preview = workspace.spoken()
    return [
        {
            "text": row.message,
            "lang": language_of(row.told),
            "hint": row.hint,
            "at": place_name(row.place),
            "file": str(row.file),
        }
        for row in preview.findings
        if row.level in ("error", "misfit")
    ]


def _with_code(told: dict[str, Any]) -> dict[str, Any]:
    if told:
        told["code"] = qr_svg(told["address"], desk_words().phone["code"])
    return told


def _parts(finishing: Finishing, name: str, workspace: Workspace) -> dict[str, str]:
    made, bed = finishing.made(workspace), finishing.beds.of(name)
    kept = kept_mix(workspace.document.path)
    tried = bed.mix
    values: dict[str, Any] = {"plan": name, "made": made, "rows": [], "length": "", "files": []}
    if made is not None:
        n_frames, rate = made.schedule.n_frames, made.schedule.sample_rate
        values |= {"length": format_clock(to_ms(n_frames, rate)), "files": _beside(workspace.document.path)}
        values |= {"size": _size(made.audio)} | _picture(made)
    return {
        "result": render("finish_result.html.j2", **values),
        "music": render(
            "finish_music.html.j2",
            plan=name,
            made=made,
            songs=[song.name for song in bed.songs],
            lines=[(str(line), language_of(line)) for line in bed.lines],
            tried=f"{bed.n_mixes}" if tried is not None else "",
            kept=kept.name if kept is not None else "",
        ),
        "mix-why": render("finish_mix_why.html.j2", made=made, songs=bed.songs).strip(),
        "phone-files": render(
            "finish_phone.html.j2", track=made.audio.name if made else "", mix=kept.name if kept else ""
        ),
    }


def _picture(made: Made) -> dict[str, Any]:
    if made.report is None:
        return {}

    report = made.report
    with contextlib.suppress(ValueError, TypeError, ArithmeticError):
        wave, error = Markup(wave_svg(report)), Markup(error_svg(report))
        return {"rows": summary_rows(report), "wave": wave, "error": error}
    return {}


def _beside(plan: Path) -> list[tuple[str, str]]:
    """Return the names of all files that a render of this plan has written, with what each of them is."""
    words, said = desk_words().finish, page_words(desk_words().code)
    ends = {form.suffix: said("files.track") for form in FORMATS} | {".html": words["file_page"]}
    ends |= {end: said(f"files.{key}") for end, key in ENDINGS.items()} | {".check.json": words["file_check"]}
    paths = ((plan.with_name(plan.stem + end), what) for end, what in ends.items())
    return [(path.name, what) for path, what in paths if path.is_file()]


def _size(path: Path) -> str:
    n_bytes = path.stat().st_size
    return (
        desk_words().decimal(f"{n_bytes / 1e6:.1f} MB")
        if n_bytes >= 1e5
        else f"{max(1, round(n_bytes / 1e3))} kB"
    )
