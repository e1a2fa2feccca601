"""How large each part is: the figures of the promise, unless variables make them smaller."""

import os

SCALE = float(os.environ.get("FAULTS_SCALE", "1"))
PROCESSES = int(os.environ.get("FAULTS_PROCESSES", "2"))


def size(name, promised, least=1):
    """FAULTS_<name> where set, else what is promised times FAULTS_SCALE."""
    given = os.environ.get(f"FAULTS_{name}")
    return int(given) if given else max(least, round(promised * SCALE))
