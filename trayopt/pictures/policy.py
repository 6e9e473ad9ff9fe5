"""The content policy of every page that trayopt writes: nothing is loaded, and no script runs but the page's own."""

from __future__ import annotations

from base64 import b64encode
from hashlib import sha256


def content_policy(*scripts: str) -> str:
    """Write the policy for a page with these scripts, each named by its digest (W3C, Content Security Policy Level 3).

    What stands in a job or a table can then load, send or run nothing, even if a template forgot to escape it.
    """
    digests = [b64encode(sha256(script.encode()).digest()).decode() for script in scripts]
    run = " ".join(f"'sha256-{digest}'" for digest in digests) or "'none'"
    return (
        f"default-src 'none'; style-src 'unsafe-inline'; script-src {run}; img-src data:; base-uri 'none'; "
        "form-action 'none'"
    )
