"""A run of fibres as files write it: ``N1:1-432``."""

from __future__ import annotations

from pydantic import GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from trayopt.domain.ranges import Run, parse_run


class RunText:
    """Mark of a run that a file writes as text, ``N1:1-432``."""

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        """Describe the text in the JSON Schema."""
        del schema, handler
        return {"type": "string", "pattern": "^[^:]+:[0-9]+(-[0-9]+)?$", "description": "trunk:first-last"}


def read_run(value: object) -> object:
    """Read a run from text; a value that is neither a run nor text is refused in the same way as empty text."""
    return value if isinstance(value, Run) else parse_run(value if isinstance(value, str) else "")
