"""The shell that all views of the desk share, and its templates. It needs nothing that is slow to import."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from cuelane.base.language import available_languages, own_names
from cuelane.desk.labels import (
    example_of,
    help_of,
    label_of,
    option_of,
    pattern_help,
    pattern_of,
    role_of,
    unit_of,
)
from cuelane.desk.words import desk_words
from cuelane.web.page_parts import language_tag, plain, script_json


@cache
def environment() -> Environment:
    """Return the jinja2 environment of the desk: everything is escaped, a missing value is an error."""
    made = Environment(
        loader=PackageLoader("cuelane.desk"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(role=role_of)
    made.filters.update(script_json=script_json, plain=plain, as_id=as_id)
    made.filters.update(called=label_of, unit=unit_of, about=help_of, option=option_of, pattern=pattern_of)
    made.filters.update(does=pattern_help, example=example_of)
    return made


def as_id(name: str) -> str:
    """Return a name of the plan's as what may be part of an id: with no space, whatever it holds.

    It may be half of a character (a lone surrogate), as a plan that is refused for it has.
    """
    return quote(name, safe="", errors="surrogatepass")


def render(template: str, **values: Any) -> Markup:
    """Return a template filled in; safe to stand in a page."""
    words = desk_words()
    values = {"words": words, "lang": words.code, **values}
    made = environment().get_template(template).render(**values)
    # A message may quote half of a character from a plan (a lone surrogate), which no page can be sent with.
    return Markup(made.encode("utf-8", "replace").decode("utf-8"))


VIEWS = (("compose", "/plan/"), ("booth", "/booth/"), ("finish", "/finish/"))
"""The views of a plan, in the order of the work, each with the path that its name follows."""


def page(
    template: str,
    view: str,
    title: str,
    *,
    plan: str = "",
    title_lang: str = "",
    scripts: Sequence[str] = ("desk.js",),
    styles: Sequence[str] = (),
    **values: Any,
) -> Markup:
    """Return a whole page: the shell that all views share, with the view in it.

    `title_lang` is the language of the title where that is a plan's own.
    """
    views = [(key, path + quote(plan, safe="")) for key, path in VIEWS]
    values |= {"languages": language_names(), "scripts": [*scripts, "languages.js"], "styles": styles}
    values |= {"title_lang": language_tag(title_lang) if title_lang else "", "plan": plan, "views": views}
    return render(template, view=view, title=title, **values)


@cache
def language_names() -> tuple[tuple[str, str], ...]:
    """Return each language that the desk speaks, with its name in that language."""
    names = own_names()
    return tuple((code, names.get(code, code)) for code in available_languages())
