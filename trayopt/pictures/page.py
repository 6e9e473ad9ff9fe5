"""The base of all pages that trayopt writes: text is escaped, nothing is loaded, and only the page's own script runs."""

from __future__ import annotations

import re
from base64 import b64encode
from hashlib import sha256
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment

_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f\x80-\x9f\ud800-\udfff\ufffe\uffff]")


def without_controls(text: str) -> str:
    """Replace characters that neither a page nor a workbook may hold (W3C, XML 1.0, production 2) by a mark."""
    return _CONTROL.sub("\N{REPLACEMENT CHARACTER}", text)


def page_world(**options: Any) -> Environment:
    """Make the environment for templates of pages: it escapes all text and refuses undefined names."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    def finished(value: Any) -> Any:
        if isinstance(value, Markup):
            return Markup(without_controls(value))
        return without_controls(value) if isinstance(value, str) else value

    return Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, finalize=finished, **options)


def content_policy(*scripts: str) -> str:
    """Return the policy for a page with these scripts, each named by its digest (W3C, Content Security Policy Level 3).

    Text from a job or a table can then load, send or run nothing, even if a template forgot to escape it.
    """
    digests = [b64encode(sha256(script.encode()).digest()).decode() for script in scripts]
    run = " ".join(f"'sha256-{digest}'" for digest in digests) or "'none'"
    return (
        f"default-src 'none'; style-src 'unsafe-inline'; script-src {run}; img-src data:; base-uri 'none'; "
        "form-action 'none'"
    )
