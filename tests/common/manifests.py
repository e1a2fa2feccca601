"""What deploy/ holds for containers and units, as data."""

import re
from pathlib import Path
from typing import Any

import yaml
from strangers import ROOT

DEPLOY = ROOT / "deploy"
KUBERNETES = DEPLOY / "kubernetes"


def read(path: Path) -> Any:
    """The one document of a file."""
    return yaml.safe_load(path.read_text(encoding="utf-8"))


def manifests() -> dict[str, Any]:
    """Stem of its file -> each manifest for Kubernetes, without kustomize's own."""
    files = sorted(KUBERNETES.glob("*.yaml"))
    return {file.stem: read(file) for file in files if file.stem != "kustomization"}


def compose() -> Any:
    """compose.yaml."""
    return read(DEPLOY / "compose.yaml")


def unit(name: str) -> dict[str, list[str]]:
    """Directive -> its values, of a unit of systemd; no name stands in two of its sections."""
    found: dict[str, list[str]] = {}
    text = (DEPLOY / "systemd" / name).read_text(encoding="utf-8")
    for key, value in re.findall(r"^(\w+)=(.*)$", text, re.MULTILINE):
        found.setdefault(key, []).append(value)
    return found


def nginx(directive: str) -> list[list[str]]:
    """Arguments of each use of a directive in the files that all places share."""
    texts = [file.read_text() for file in sorted((DEPLOY / "nginx" / "common").glob("*.conf"))]
    pattern = rf"^\s*{directive}\s+([^;{{]*);"
    return [found.split() for text in texts for found in re.findall(pattern, text, re.MULTILINE)]


def seconds(text: str) -> float:
    """Of a duration such as 13s, 500ms, 1m."""
    found = re.fullmatch(r"([0-9.]+)(ms|s|m)?", text)
    assert found, text
    return float(found[1]) * {"ms": 1e-3, "s": 1.0, "m": 60.0, None: 1.0}[found[2]]


def kilobytes(text: str) -> int:
    """Of a size such as 80k, in units of 1024 bytes."""
    assert text.endswith("k"), text
    return int(text[:-1])
