//! Compiles the .proto files without protoc and keeps their descriptors, comments included.

use std::{env, error::Error, fs, path::PathBuf};

const FILES: [&str; 12] = [
    "goodwire/v1/radio.proto",
    "goodwire/v1/result.proto",
    "goodwire/v1/analysis.proto",
    "goodwire/v1/measurement.proto",
    "goodwire/v1/rig.proto",
    "goodwire/v1/judgement.proto",
    "goodwire/v1/round.proto",
    "goodwire/v1/report.proto",
    "goodwire/v1/level.proto",
    "goodwire/v1/watch.proto",
    "goodwire/v1/wiring.proto",
    "goodwire/plugin/v1/plugin.proto",
];

fn main() -> Result<(), Box<dyn Error>> {
    let mut compiler = protox::Compiler::new(["."])?;
    compiler
        .include_source_info(true)
        .include_imports(true)
        .open_files(FILES)?;
    let out = PathBuf::from(env::var("OUT_DIR")?);
    fs::write(
        out.join("descriptors.bin"),
        compiler.encode_file_descriptor_set(),
    )?;
    let with_services = env::var_os("CARGO_FEATURE_GRPC").is_some();
    tonic_prost_build::configure()
        .build_client(with_services)
        .build_server(with_services)
        .compile_fds(compiler.file_descriptor_set())?;
    for file in FILES {
        println!("cargo::rerun-if-changed={file}");
    }
    Ok(())
}
