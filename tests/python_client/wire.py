"""Servers that are not goodwired, and lines that break."""

import contextlib
import socket
import threading
from concurrent import futures

import grpc


@contextlib.contextmanager
def pretending(answers):
    """A server that answers `Service/Method` with messages, or with a status; gives its address.

    `answers` has functions of the request (of an iterator where it ends in `…Recordings`) and the context;
    every other call is UNIMPLEMENTED.
    """

    class Handler(grpc.GenericRpcHandler):
        def service(self, call):
            name = call.method.removeprefix("/goodwire.v1.")
            if name not in answers:
                return None
            kind = {"Watch": grpc.unary_stream_rpc_method_handler, "Analyse": grpc.stream_unary_rpc_method_handler}
            start = next((start for start in kind if name.partition("/")[2].startswith(start)), None)
            make = kind.get(start, grpc.unary_unary_rpc_method_handler)
            return make(answers[name], None, lambda message: message.SerializeToString())

    server = grpc.server(futures.ThreadPoolExecutor(4), handlers=[Handler()])
    port = server.add_insecure_port("127.0.0.1:0")
    server.start()
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.stop(None)


class BreakingLine:
    """Carries bytes between clients and a Unix socket until it is cut; then takes new connections."""

    def __init__(self, path):
        self._path = path
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._ends = []
        #: True: what the server says is lost, and the line cut.
        self.drops_answers = False
        self.address = f"http://127.0.0.1:{self._listener.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self):
        """Breaks every connection that there is."""
        ends, self._ends = self._ends, []
        for end in ends:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def close(self):
        """Breaks every connection and takes no more."""
        self._listener.close()
        self.cut()

    def _accept(self):
        with contextlib.suppress(OSError):
            while True:
                client, _ = self._listener.accept()
                server = socket.socket(socket.AF_UNIX)
                server.connect(self._path)
                self._ends += [client, server]
                threading.Thread(target=self._carry, args=(client, server, False), daemon=True).start()
                threading.Thread(target=self._carry, args=(server, client, True), daemon=True).start()

    def _carry(self, source, sink, is_answer):
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                if is_answer and self.drops_answers:
                    self.drops_answers = False
                    self.cut()
                    return
                sink.sendall(data)
        self.cut_pair(source, sink)

    def cut_pair(self, *ends):
        """Closes the two ends of one connection."""
        for end in ends:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
