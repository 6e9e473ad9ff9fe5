"""Tell what pip-audit found, and what it could not look up: ``python .ci/audit.py ANSWER.json``.

pip-audit asks the package index for the page of each release. An index that keeps no such pages answers "not found", which
pip-audit without ``--strict`` counts as a pass, and with it reports for the first package alone.

Ends with 0 if every package was looked up and nothing is known against it, with 1 if something is known, and with 2 if a
package was not looked up.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

OURS = "trayopt"
"""The package itself, of which no index knows anything."""


def told(packages: Sequence[Mapping[str, Any]]) -> tuple[list[str], int]:
    """Return the lines for the packages of an answer, and the exit code."""
    others = [package for package in packages if package["name"] != OURS]
    skipped = [package for package in others if "skip_reason" in package]
    faulty = [package for package in others if package.get("vulns")]
    lines = [
        f"{package['name']} {package['version']}: {known['id']}, mended in {', '.join(known['fix_versions']) or 'no release'}"
        for package in faulty
        for known in package["vulns"]
    ]
    lines += [f"not looked up: {package['skip_reason']}" for package in skipped]
    lines.append(
        f"{len(others) - len(skipped)} of {len(others)} packages looked up, {len(faulty)} of them with a known vulnerability"
    )
    if skipped:
        lines.append(
            f"nothing is known of the other {len(skipped)}: "
            "ask again where pip-audit reaches an index that has a page for each release, as pypi.org has"
        )
    return lines, 1 if faulty else 2 if skipped or not others else 0


def main() -> int:
    """Tell the answer in the file that is named."""
    lines, code = told(json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))["dependencies"])
    print("\n".join(lines))
    return code


if __name__ == "__main__":
    raise SystemExit(main())
