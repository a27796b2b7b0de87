"""Pages: templates, style and script joined into one file that loads nothing.

Conventions
-----------
Jinja escapes everything; data for the script goes in as JSON that cannot close its element.
A content security policy allows only this page's own style and script, by their hashes, and
pictures and sound from within the page.

Limits
------
The policy stands in a meta element: it holds wherever the file is opened.
"""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files
from typing import Any

import jinja2

from buzzscan.plots.tones import LAYERS, tones_of

__all__ = ["policy", "render"]


@cache
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.PackageLoader("buzzscan.report", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


@cache
def _static(name: str) -> str:
    text = files("buzzscan.report").joinpath("static", name).read_text("utf-8")
    return text.replace("\r\n", "\n")


def _tone_rules() -> str:
    """Return the style rules of the key, so that colours are written down once."""
    seen = {tone.key: tone for layer in (*LAYERS, "change") for tone in tones_of(layer)}
    return "".join(
        f".t-{key}{{background-color:{tone.fill};color:{tone.ink}}}\n" for key, tone in seen.items()
    )


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return "'sha256-" + base64.b64encode(digest).decode("ascii") + "'"


def policy(*, style: str, script: str) -> str:
    """Return the content security policy of a page with one style and one script."""
    parts = [
        "default-src 'none'",
        f"style-src {_hash(style)}",
        f"script-src {_hash(script)}" if script else "script-src 'none'",
        "img-src data:",
        "media-src data:",
        "base-uri 'none'",
        "form-action 'none'",
    ]
    return "; ".join(parts)


def render(template: str, *, script: str = "", **values: Any) -> str:
    """Return a finished page.

    Parameters
    ----------
    template
        Name of the template, ending in ``.html``.
    script
        Name of the script, if the page has one.
    **values
        What the template places.
    """
    style = _static("sheet.css") + _tone_rules()
    code = _static(script) if script else ""
    return (
        _environment()
        .get_template(template)
        .render(
            style=style,
            script=code,
            policy=policy(style=style, script=code),
            **values,
        )
    )
