// Measures one link and prints its figures, with nothing but the public proto files:
//
//     node measure.js unix:/run/goodwire/goodwire.sock lectern latency
//
// Ends with the code of the monitoring-plugin convention: 0 pass, 1 drift, 2 fail, 3 unmeasured.
"use strict";

const path = require("node:path");
const grpc = require("@grpc/grpc-js");
const loader = require("@grpc/proto-loader");
const health = require("grpc-health-check");

const PROTOS = process.env.GOODWIRE_PROTOS ?? path.join(__dirname, "../../proto");
const EXIT_CODES = { OUTCOME_UNSPECIFIED: 0, PASS: 0, DRIFT: 1, FAIL: 2, UNMEASURED: 3 };
const CALL_TIMEOUT_MS = 10_000;

const definition = loader.loadSync("goodwire/v1/measurement.proto", {
  includeDirs: [PROTOS],
  keepCase: true,
  enums: String,
});
const { MeasurementService } = grpc.loadPackageDefinition(definition).goodwire.v1;
const Health = grpc.makeClientConstructor(health.service, "Health");

// Over a Unix socket the path of the socket would be sent as the host's name, which servers refuse.
const options = { "grpc.default_authority": "localhost" };

/** Makes a client of one service. */
function connect(Service, server) {
  return new Service(server.replace(/^http:\/\//, ""), grpc.credentials.createInsecure(), options);
}

/** Calls a method with one answer; gives a promise of it. */
function call(client, method, request) {
  const deadline = Date.now() + CALL_TIMEOUT_MS;
  return new Promise((resolve, reject) => {
    client[method](request, { deadline }, (error, answer) => (error ? reject(error) : resolve(answer)));
  });
}

/** Follows a measurement to its end, telling how far it is; gives its final state. */
async function watch(client, name) {
  let measurement;
  for await (const news of client.WatchMeasurement({ name })) {
    if (news.measurement) measurement = news.measurement;
    if (news.progress !== undefined) process.stderr.write(`\r${Math.round(100 * news.progress)} %`);
  }
  process.stderr.write("\n");
  return measurement;
}

/** One line of a figure. Its place is a google.protobuf.Struct; its uncertainty may be absent. */
function line({ id, value, uncertainty, low, high, unit = "", at }) {
  const spread = uncertainty === undefined ? `(${low?.toFixed(4)} to ${high?.toFixed(4)})` : `± ${uncertainty.toFixed(4)}`;
  const place = Object.entries(at?.fields ?? {}).map(([key, one]) => `${key} ${one.numberValue ?? one.stringValue}`);
  return `${id.padEnd(13)} ${value.toFixed(4)} ${spread} ${unit}  ${place.join(", ")}`.trimEnd();
}

/** What has no result, or a verdict that is newer than this script, is unmeasured; no limit is no complaint. */
function exitCode({ state, verdict }) {
  const outcome = state === "SUCCEEDED" ? (verdict?.outcome ?? "OUTCOME_UNSPECIFIED") : "UNMEASURED";
  return EXIT_CODES[outcome] ?? EXIT_CODES.UNMEASURED;
}

async function main([server, link, analysis]) {
  const { status } = await call(connect(Health, server), "check", { service: "" });
  console.log(`health: ${status}`);

  const goodwire = connect(MeasurementService, server);
  // `present` says that a person is in the room and that sound may be played now.
  const asked = await call(goodwire, "Measure", { links: [link], analysis, present: true });
  const measurement = await watch(goodwire, asked.measurements[0].name);

  console.log(`${measurement.analysis} of ${measurement.link}: ${measurement.state}`);
  if (measurement.simulated) console.log("simulated: this tells nothing about a real link");
  if (measurement.reason) console.log(`${measurement.reason.id}: ${measurement.reason.text}`);
  for (const figure of measurement.figures ?? []) console.log(line(figure));
  return exitCode(measurement);
}

if (process.argv.length !== 5) {
  console.error("usage: node measure.js unix:PATH|http://HOST:PORT LINK ANALYSIS");
  process.exitCode = 3;
} else {
  main(process.argv.slice(2)).then(
    (code) => (process.exitCode = code),
    (error) => {
      console.error(error.details ?? error.message);
      process.exitCode = 3;
    },
  );
}
