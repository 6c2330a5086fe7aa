//! A cable has no clock of its own: where it steps, or where several links run off alike, the
//! interface does.

use super::{Evidence, link_clock};

/// Links whose clocks differ by less run off alike, in ppm.
const ALIKE_PPM: f64 = 1.0;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let reference_stepped = evidence.link.event("slip").is_some();
    if !reference_stepped && !is_off_with_others(evidence) {
        return None;
    }
    let what = if reference_stepped {
        "The cable beside the link lost or doubled samples too"
    } else {
        "Several links run off against the interface's clock alike"
    };
    Some(format!(
        "{what}, so the fault is the interface's: look whether its inputs and outputs run on one \
         clock (word clock, one device), and whether the digital devices between are locked to it."
    ))
}

/// True where this link and another one run off by as much.
pub(super) fn is_off_with_others(evidence: &Evidence<'_>) -> bool {
    let Some(own_ppm) = link_clock::off_ppm(evidence.link) else {
        return false;
    };
    let mut others = evidence
        .others
        .iter()
        .filter_map(|other| link_clock::off_ppm(other));
    others.any(|ppm| (ppm - own_ppm).abs() <= ALIKE_PPM)
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::Event;

    use crate::judge::{
        findings::scene::{ids, run_ids, seen},
        tests::figure,
    };

    #[test]
    fn a_reference_that_slips_is_the_interfaces_clock() {
        let mut seen = seen("lectern", "latency", Vec::new());
        seen.measurement.events.push(Event {
            id: "slip".to_owned(),
            ..Event::default()
        });
        assert_eq!(ids(&seen), ["interface-clock"]);
    }

    #[test]
    fn two_links_30_ppm_off_are_the_interfaces_clock_and_one_is_its_own() {
        let latency = |link, ppm| seen(link, "latency", vec![figure("skew", ppm, 0.01)]);
        let run = [latency("lectern", 30.0), latency("drum-riser", 30.2)];
        assert_eq!(
            run_ids(&run),
            ["lectern interface-clock", "drum-riser interface-clock"]
        );
        let run = [latency("lectern", 30.0), latency("drum-riser", 0.0)];
        assert_eq!(run_ids(&run), ["lectern link-clock"]);
    }
}
