"""The independent integrator beside these tests, as a fixture."""

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def independent():
    """The module independent.py of this folder, which is no test and on no import path."""
    path = Path(__file__).with_name("independent.py")
    spec = importlib.util.spec_from_file_location("independent_of_the_core", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
