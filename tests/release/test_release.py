"""What deploy/release says where it cannot begin."""

import subprocess

from strangers import ROOT, clean_environment


def test_an_unknown_argument() -> None:
    ended = subprocess.run(
        [ROOT / "deploy" / "release", "--force"],
        env=clean_environment(),
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert ended.returncode == 1
    assert ended.stderr == "arrowloft: unknown argument --force; see the head of deploy/release\n"
