"""python -m arrowloft.kiosk.write_examples DIRECTORY: what the document page offers to try.

Reads DIRECTORY/<path>.request.json, the worked examples kept beside the API document, which an
installed service does not hold, and writes them to `document/examples.json`.
"""

import json
import sys
from pathlib import Path
from typing import Any

KEPT = Path(__file__).parent / "document" / "examples.json"

_REQUEST = ".request.json"


def examples_in(directory: Path) -> dict[str, Any]:
    """Path of the service -> a request that it answers."""
    return {
        f"/v1/{path.name.removesuffix(_REQUEST)}": json.loads(path.read_text(encoding="utf-8"))
        for path in sorted(directory.glob(f"*{_REQUEST}"))
    }


def main(arguments: list[str]) -> int:
    """Write the file anew."""
    if len(arguments) != 1:
        print(__doc__, file=sys.stderr)
        return 2
    text = json.dumps(examples_in(Path(arguments[0])), indent=1, ensure_ascii=False)
    KEPT.write_text(text + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
