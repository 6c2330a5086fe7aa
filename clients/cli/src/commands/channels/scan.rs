//! A look into the air with the machine's own Wi-Fi adapter, by the tool `iw`.

use std::{
    io::ErrorKind,
    process::{Command, Output, Stdio},
    time::SystemTime,
};

use anyhow::{Context, bail, ensure};
use goodwire_proto::v1::{RadioSurvey, radio_survey::Form};

use crate::output;

/// The tool.
const TOOL: &str = "iw";
/// Longest name of an interface on Linux (IFNAMSIZ of linux/if.h is 16, with a zero at the end).
const NAME_BYTES_MAX: usize = 15;

/// Scans.
///
/// # Errors
/// Where there is no `iw` or no such adapter, or the scan is not allowed; with what to do.
pub async fn run(interface: &str) -> anyhow::Result<RadioSurvey> {
    let is_plain = |letter: char| letter.is_ascii_alphanumeric() || "._-".contains(letter);
    ensure!(
        (1..=NAME_BYTES_MAX).contains(&interface.len())
            && interface.chars().all(is_plain)
            && !interface.starts_with(['-', '.']),
        "`{interface}` is no name of a Wi-Fi adapter: `iw dev` lists them, wlan0 for example"
    );
    let origin = format!("iw dev {interface} scan");
    output::say(&format!("{origin}: this takes some seconds"));
    let name = interface.to_owned();
    let scanned = tokio::task::spawn_blocking(move || scan(&name)).await;
    let done = scanned.context("the scan was not ended")??;
    let said = String::from_utf8_lossy(&done.stderr);
    ensure!(done.status.success(), "{}", advice(interface, said.trim()));
    Ok(RadioSurvey {
        text: String::from_utf8_lossy(&done.stdout).into_owned(),
        form: Form::Scan.into(),
        end_time: Some(SystemTime::now().into()),
        origin,
    })
}

fn scan(interface: &str) -> anyhow::Result<Output> {
    let mut command = Command::new(TOOL);
    command
        .args(["dev", interface, "scan"])
        .stdin(Stdio::null());
    // Its words are looked at, so they have to be the English ones.
    match command.env("LC_ALL", "C").output() {
        Err(error) if error.kind() == ErrorKind::NotFound => bail!(
            "`iw` is not on this machine, or not in its search path: install it (on Debian the \
             package `iw`), or write what is in the air into a file and give it with --survey FILE"
        ),
        outcome => outcome.context("`iw` cannot be run"),
    }
}

/// What `iw` said, and what to do about it. The numbers are those of errno.h on Linux, which `iw`
/// writes in brackets.
fn advice(interface: &str, said: &str) -> String {
    let what_to_do = if said.contains("(-1)") || said.contains("(-13)") {
        format!(
            "a scan wants root: run `sudo iw dev {interface} scan > scan.txt`, and give --survey \
             scan.txt"
        )
    } else if said.contains("(-19)") {
        format!("there is no Wi-Fi adapter `{interface}`: `iw dev` lists them")
    } else if said.contains("(-16)") {
        "the adapter is busy: try again in some seconds".to_owned()
    } else if said.contains("(-100)") {
        format!("the adapter is off: `ip link set {interface} up` as root")
    } else {
        "write what is in the air into a file, and give it with --survey FILE".to_owned()
    };
    match said {
        "" => format!("`iw` failed and said nothing; {what_to_do}"),
        said => format!("{what_to_do}\n  iw: {said}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_iw_says_is_told_with_what_to_do() {
        for (said, wanted) in [
            (
                "command failed: Operation not permitted (-1)",
                "sudo iw dev wlan0 scan",
            ),
            (
                "command failed: No such device (-19)",
                "no Wi-Fi adapter `wlan0`",
            ),
            ("command failed: Device or resource busy (-16)", "busy"),
            (
                "command failed: Network is down (-100)",
                "ip link set wlan0 up",
            ),
            ("nl80211 not found.", "--survey FILE"),
            ("", "--survey FILE"),
        ] {
            let told = advice("wlan0", said);
            assert!(told.contains(wanted) && told.contains(said), "{told}");
        }
    }

    #[tokio::test]
    async fn what_is_no_name_of_an_adapter_is_never_given_to_a_program() {
        for wrong in ["", "-h", "wlan0;true", "a/b", "an-interface-of-20-b"] {
            let error = run(wrong).await.unwrap_err().to_string();
            assert!(
                error.contains("no name of a Wi-Fi adapter"),
                "{wrong:?}: {error}"
            );
        }
    }
}
