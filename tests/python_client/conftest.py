"""Daemons on the simulated rig, and both faces of the installed package `goodwire`.

These tests run in a pytest process of their own: `tests/python` makes a package of the same name.
"""

import asyncio
import pathlib
import sys

import pytest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "python"))

import goodwire
import goodwire.aio
from daemon import running
from faces import OnLoop
from rigs import IN_REAL_TIME, IN_VIRTUAL_TIME


@pytest.fixture(scope="session")
def server(tmp_path_factory):
    """A daemon that measures as fast as it computes."""
    with running(tmp_path_factory.mktemp("fast"), IN_VIRTUAL_TIME) as address:
        yield address


@pytest.fixture(scope="session")
def slow_server(tmp_path_factory):
    """A daemon that takes the time that its sounds take."""
    with running(tmp_path_factory.mktemp("slow"), IN_REAL_TIME) as address:
        yield address


@pytest.fixture(params=["waiting", "asyncio"])
def connect(request):
    """Connects with one face, then with the other: `connect(server)`; both are called alike."""
    if request.param == "waiting":
        clients = []

        def begin(server):
            clients.append(goodwire.connect(server))
            return clients[-1]

        yield begin
        for client in clients:
            client.close()
    else:
        loop = asyncio.new_event_loop()
        faces = []

        def begin(server):
            async def connected():
                return goodwire.aio.connect(server)

            faces.append(OnLoop(loop.run_until_complete(connected()), loop))
            return faces[-1]

        yield begin
        for face in faces:
            face.close()
        loop.close()


@pytest.fixture
def venue(connect, server):
    """Either face, at the fast daemon."""
    return connect(server)
