"""The image's recipe. No container engine builds it here: what can be read of it is held."""

import re
import socket
import subprocess
import sys
import threading

import tools
from manifests import DEPLOY, compose, manifests
from processes import free_port
from strangers import ROOT, clean_environment
from stub_instances import Answer, stub

from arrowloft import __version__

RECIPE = (DEPLOY / "Dockerfile").read_text(encoding="utf-8")


def instructions() -> list[tuple[str, str]]:
    """Name and arguments of each instruction, lines that go on put together."""
    lines = [line for line in RECIPE.splitlines() if not line.startswith("#")]
    joined = "\n".join(lines).replace("\\\n", " ")
    return [(line.split()[0], line.split(maxsplit=1)[1]) for line in joined.splitlines() if line]


def last_stage() -> list[tuple[str, str]]:
    found = instructions()
    start = max(i for i, (name, _) in enumerate(found) if name == "FROM")
    return found[start:]


def test_the_linter_finds_nothing() -> None:
    command = [tools.needed("hadolint"), "--no-color", str(DEPLOY / "Dockerfile")]
    said = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert (said.returncode, said.stdout) == (0, "")


def test_packages_come_from_the_lock_with_their_hashes() -> None:
    installs = [text for name, text in instructions() if name == "RUN" and " install " in text]
    assert len(installs) == 2
    assert (
        "--require-hashes --only-binary :all: --requirement deploy/requirements.lock"
        in " ".join(installs[0].split())
    )
    assert "--no-index" in installs[1]
    assert not re.search(r"index-url|https?://", RECIPE)


def test_the_image_runs_as_nobody_with_a_number() -> None:
    users = [text for name, text in last_stage() if name == "USER"]
    assert len(users) == 1
    assert re.fullmatch(r"[1-9]\d*:[1-9]\d*", users[0])
    user, group = map(int, users[0].split(":"))
    for container in manifests()["deployment"]["spec"]["template"]["spec"]["containers"][1:]:
        context = container["securityContext"]
        assert (context["runAsUser"], context["runAsGroup"]) == (user, group)


def test_the_last_stage_installs_nothing() -> None:
    runs = [text for name, text in last_stage() if name == "RUN"]
    assert not [text for text in runs if re.search(r"\binstall\b|apt-get|apk", text)]


def test_what_is_copied_passes_the_ignore_file() -> None:
    kept = re.findall(r"^!(.*)$", (ROOT / ".dockerignore").read_text(), re.MULTILINE)
    copied = [text.split()[:-1] for name, text in instructions() if name == "COPY"]
    sources = [source for found in copied if "--from=build" not in found for source in found]
    assert sorted(sources) == sorted(kept)
    assert all((ROOT / source).exists() for source in sources)


def test_versions_agree() -> None:
    assert f'org.opencontainers.image.version="{__version__}"' in RECIPE
    assert compose()["services"]["service-a"]["image"] == f"arrowloft:{__version__}"
    kustomized = (DEPLOY / "kubernetes" / "kustomization.yaml").read_text()
    assert f"newTag: {__version__}" in kustomized


def healthy(port: int, *arguments: str) -> int:
    command = [sys.executable, "-I", str(DEPLOY / "healthy.py"), *arguments]
    environment = clean_environment() | {"ARROWLOFT_PORT": str(port)}
    return subprocess.run(command, env=environment, timeout=60).returncode


def test_the_health_check_asks_the_instance() -> None:
    with stub(lambda asked: Answer(status=200 if asked.path == "/healthz" else 503)) as one:
        assert healthy(one.port) == 0
        assert healthy(one.port, "/readyz") == 1
    assert healthy(free_port()) == 1


def test_the_health_check_waits_for_a_start() -> None:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        port = listener.getsockname()[1]

        def open_late() -> None:
            listener.listen()
            line, _ = listener.accept()
            with line:
                line.recv(65536)
                line.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n")

        late = threading.Timer(1.0, open_late)
        late.start()
        assert healthy(port, "/readyz", "30") == 0
        late.join()
