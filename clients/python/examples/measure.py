"""Measures one link and prints its figures: measure.py unix:/run/goodwire/goodwire.sock lectern latency"""

import sys

import grpc
from goodwire.v1 import measurement_pb2 as messages
from goodwire.v1 import measurement_pb2_grpc as services

server, link, analysis = sys.argv[1:]
# Over a Unix socket grpcio sends the socket's path as the host's name, which HTTP/2 servers refuse.
channel = grpc.insecure_channel(server, options=[("grpc.default_authority", "localhost")])
goodwire = services.MeasurementServiceStub(channel)
asked = goodwire.Measure(messages.MeasureRequest(links=[link], analysis=analysis, present=True))
for news in goodwire.WatchMeasurement(messages.WatchMeasurementRequest(name=asked.measurements[0].name)):
    if news.HasField("measurement"):
        measurement = news.measurement  # The last one is the final state.
for figure in measurement.figures:
    print(f"{figure.id:12} {figure.value:12.4f} ± {figure.uncertainty:.4f} {figure.unit}")
sys.exit(0 if measurement.state == messages.Measurement.SUCCEEDED else 3)
