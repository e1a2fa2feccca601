"""Asks whether arrowloft works where it is installed: run by that environment's interpreter.

Exit codes: 0 it does, 1 not (one line on stderr).
"""

import json
import sys
from pathlib import Path


def main() -> int:
    """Answer the request in the named file from the installed package."""
    import arrowloft
    from arrowloft.app import create_app

    if not Path(arrowloft.__file__).is_relative_to(sys.prefix):
        return _failed(f"{arrowloft.__file__} is not what was installed")
    asked = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    client = create_app().test_client()
    reply = client.post("/v1/mark-table", json=asked)
    if reply.status_code != 200 or not reply.get_json()["rows"]:
        return _failed(f"no mark table from the installed package: {reply.get_data(as_text=True)}")
    for page in ("/", "/docs", "/openapi.json", "/v1/models"):
        if (status := client.get(page).status_code) != 200:
            return _failed(f"the installed package answers {page} with {status}")
    print(f"arrowloft {arrowloft.__version__} works from its wheel")
    return 0


def _failed(reason: str) -> int:
    print(f"arrowloft: {reason}", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main())
