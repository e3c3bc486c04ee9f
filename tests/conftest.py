"""What all tests share: no test reads or changes what the person who runs them has configured."""

import os

import pytest


@pytest.fixture(scope="session", autouse=True)
def no_configuration(tmp_path_factory):
    """An empty folder where the configuration of a person is looked for."""
    before = os.environ.get("XDG_CONFIG_HOME")
    os.environ["XDG_CONFIG_HOME"] = str(tmp_path_factory.mktemp("config"))
    yield
    if before is None:
        del os.environ["XDG_CONFIG_HOME"]
    else:
        os.environ["XDG_CONFIG_HOME"] = before
