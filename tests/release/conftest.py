"""What a release makes, made once from the working tree, and an environment to put it into."""

import sys
from importlib.metadata import distribution
from pathlib import Path

import pytest
from pins import versions
from strangers import ROOT
from supplied import EPOCH, LOCK, Built, run, tool


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    folder = tmp_path_factory.mktemp("built")
    tool("build_twice", ROOT, folder, "--epoch", str(EPOCH))
    (wheel,), (source,) = folder.glob("*.whl"), folder.glob("*.tar.gz")
    return Built(wheel=wheel, source=source)


@pytest.fixture(scope="session")
def python(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An environment with what the runtime's lock names and nothing else, without the network.

    Its packages are those that the tests run with, linked one by one.
    """
    folder = tmp_path_factory.mktemp("environment")
    run(sys.executable, "-I", "-m", "venv", "--without-pip", folder)
    (packages,) = folder.glob("lib/python*/site-packages")
    for name in versions(LOCK):
        found = distribution(name)
        for top in {file.parts[0] for file in found.files or ()} - {"..", "__pycache__"}:
            link = packages / top
            if not link.exists():
                link.symlink_to(Path(str(found.locate_file(top))).resolve())
    return folder / "bin" / "python"
