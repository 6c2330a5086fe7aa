//! `goodwire calibrate`

use clap::{Args, ValueEnum};
use goodwire_proto::v1::{CalibrateRequest, calibration::Side as Wire};

use crate::{connect::quick, exit::Exit, failure::Refusal, json, session::Session};

/// Which side of the interface.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Side {
    /// An output of the interface.
    Send,
    /// An input of the interface.
    Return,
}

/// What full scale is, and where.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  goodwire calibrate return 1 --volts 9.76

Volts are RMS, of a sine at 0 dBFS: play one at -20 dBFS, read the voltmeter, multiply by ten.")]
pub struct Calibrate {
    /// A send (output) or a return (input) of the interface
    side: Side,
    /// Number of the channel, from 1
    #[arg(value_name = "N", allow_negative_numbers = true)]
    channel: i32,
    /// RMS volts of a sine at 0 dBFS
    #[arg(long, allow_negative_numbers = true)]
    volts: f64,
}

/// Says what full scale is in volts at a send or return.
///
/// # Errors
/// Where there is no such channel, or the value is impossible.
pub async fn run(session: &Session, arguments: Calibrate) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let side = match arguments.side {
        Side::Send => Wire::Send,
        Side::Return => Wire::Return,
    };
    let request = CalibrateRequest {
        side: side.into(),
        channel: arguments.channel,
        volts: arguments.volts,
    };
    let calibration = server
        .rig()
        .calibrate(quick(request))
        .await
        .map_err(Refusal)?
        .into_inner();
    session.print(
        || json::message(&calibration),
        |_| {
            format!(
                "full scale is {} V (sine, RMS) at {} {}; results speak dBu too from now on\n",
                calibration.volts,
                side.as_str_name().to_lowercase(),
                calibration.channel
            )
        },
    )?;
    Ok(Exit::Pass)
}
