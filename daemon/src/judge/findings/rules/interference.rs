//! Two links that are disturbed in one run share a cause: the radio channel, or what all hear.

use super::{Evidence, disturbed::is_disturbed, interface_clock, xruns};
use crate::judge::findings::evidence::Link;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let is_interface = interface_clock::look(evidence).is_some() || xruns::look(evidence).is_some();
    let disturbed = |link: &&Link<'_>| is_disturbed(link);
    let ill: Vec<&Link<'_>> = evidence.everyone().filter(disturbed).collect();
    if is_interface || !is_disturbed(evidence.link) || ill.len() < 2 {
        return None;
    }
    let mut names: Vec<&str> = ill.iter().map(|link| link.name()).collect();
    names.sort_unstable();
    let names = names.join(", ");
    let channel = evidence.link.setup("channel");
    let on_channel = |link: &&Link<'_>| channel.is_some() && link.setup("channel") == channel;
    let sound = || evidence.everyone().filter(|link| !is_disturbed(link));
    if ill.iter().all(on_channel) && !sound().any(|link| on_channel(&link)) {
        return Some(format!(
            "Sound was lost or torn on all links of channel {} ({names}): something else sends \
             there, so look for a free channel and away from new transmitters and lamps.",
            channel.unwrap_or_default()
        ));
    }
    let more = if sound().next().is_none() {
        "; as no link was spared, a crackling reference cable or an unsteady interface fits too: \
         another cable in its place tells."
    } else {
        "; one link measured with its transmitter beside its receiver tells: what stays then is \
         no radio."
    };
    Some(format!(
        "Sound was lost or torn on several links in one run ({names}): look for interference, such \
         as new transmitters, screens and lamps, and for aerials that they share{more}"
    ))
}

#[cfg(test)]
mod tests {
    use crate::judge::{
        findings::{
            Seen,
            scene::{run_ids, seen, text_of},
        },
        tests::figure,
    };

    fn link(name: &str, jitter_ms: f64) -> Seen {
        seen(name, "latency", vec![figure("jitter", jitter_ms, 0.01)])
    }

    #[test]
    fn two_disturbed_links_of_three_are_interference_and_one_is_not() {
        let run = [link("a", 2.0), link("b", 3.0), link("c", 0.0)];
        assert_eq!(run_ids(&run), ["a interference", "b interference"]);
        let run = [link("a", 2.0), link("b", 0.1), link("c", 0.0)];
        assert_eq!(run_ids(&run), ["a resynchronises"]);
    }

    #[test]
    fn links_of_one_channel_name_it_unless_one_of_them_is_well() {
        let on = |name, jitter_ms, channel| link(name, jitter_ms).set("channel", channel);
        let run = [on("a", 2.0, "7"), on("b", 3.0, "7"), on("c", 0.0, "2")];
        assert!(text_of(&run, "interference").contains("channel 7"));
        let run = [on("a", 2.0, "7"), on("b", 3.0, "7"), on("c", 0.0, "7")];
        assert!(!text_of(&run, "interference").contains("channel 7"));
    }
}
