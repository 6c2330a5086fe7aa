//! The baselines in force.

use goodwire_proto::v1::Baseline;

use super::{
    Look,
    table::{Side, Table},
    time,
};

/// A table of baselines.
pub fn render(look: &Look, baselines: &[Baseline]) -> String {
    if baselines.is_empty() {
        return "There is no baseline: set one with `goodwire baseline set MEASUREMENT`.\n".into();
    }
    let mut table = Table::new([
        ("link", Side::Short),
        ("analysis", Side::Short),
        ("set (UTC)", Side::Left),
        ("measurement", Side::Left),
    ]);
    for baseline in baselines {
        let set = baseline.create_time.as_ref().map(time::parts);
        table.row([
            baseline.link.trim_start_matches("links/"),
            &baseline.analysis,
            &set.map_or_else(String::new, |(day, _)| day),
            baseline.measurement.trim_start_matches("measurements/"),
        ]);
    }
    table.render(look)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn baselines_fit_80_columns() {
        let baseline = Baseline {
            link: "links/drum-riser".into(),
            analysis: "distortion".into(),
            measurement: "measurements/019ab0c3-7d5e-7000-8000-0123456789ab".into(),
            create_time: Some("2026-11-25T09:41:02Z".parse().unwrap()),
        };
        let look = Look {
            width: 80,
            unicode: true,
            colour: false,
        };
        let text = render(&look, &[baseline]);
        assert!(
            text.lines().all(|line| line.chars().count() <= 80),
            "{text}"
        );
        assert!(
            text.contains("drum-riser  distortion  2026-11-25  019ab0c3"),
            "{text}"
        );
        assert!(render(&look, &[]).contains("no baseline"));
    }
}
