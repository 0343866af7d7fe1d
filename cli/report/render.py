"""Templates, and what keeps a page from reaching out: every text escaped, nothing loaded."""

from base64 import b64encode
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from cli.words import count, harmless

TEMPLATES = "templates"


def render(template: str, **content: Any) -> str:
    """Fill a template in.

    All texts are escaped, and control characters spelled out, so that no name from outside can
    become markup. The page forbids itself to load anything or to run any script but its own.

    Returns
    -------
    One HTML document without references to other files.
    """
    style, script = _asset("style.css"), _asset("script.js")
    policy = (
        f"default-src 'none'; img-src data:; style-src {_digest(style)}; "
        f"script-src {_digest(script)}; base-uri 'none'; form-action 'none'"
    )
    page = _environment().get_template(template)
    return page.render(style=Markup(style), script=Markup(script), policy=policy, **content)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("cli.report", TEMPLATES),
        autoescape=True,
        finalize=_plain,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["count"] = count
    return environment


def _plain(value: Any) -> Any:
    """Spell control characters out in texts; our own markup passes."""
    return harmless(value) if type(value) is str else value


def _asset(name: str) -> str:
    return files("cli.report").joinpath(TEMPLATES, name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    """Name a block of the page so that the browser runs this one and no other."""
    return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode('ascii')}'"
