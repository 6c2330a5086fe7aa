//! A watch that is played and heard at once.

use goodwire_dsp::stimulus::{Body, Stimulus};
use goodwire_dsp::watch::Heard;
use goodwire_plugin_sdk::Block;
use goodwire_plugin_sdk::payload::{Plan, Step, step};
use goodwire_plugin_sdk::take::plan_of_one_step;

/// One step without an end, of which the link and the reference are heard, so that marks can be
/// set, lost frames be left out, and it can end early. It plays up to `peak_dbfs`, and is expected to
/// end after so many frames.
#[must_use]
pub fn plan_of_a_watch(peak_dbfs: f64, frame_count: f64) -> Plan {
    let mut captures = plan_of_one_step(0, 0, peak_dbfs).captures;
    captures.truncate(2);
    Plan {
        captures,
        steps: vec![Step {
            repeat_count: 1,
            peak_dbfs,
            loss: step::Loss::Cut.into(),
            expected_frame_count: Some(frame_count),
            ..Step::default()
        }],
        ..Plan::default()
    }
}

/// The part of a block that lies in the stimulus' body; `None` where there is none. What a rig
/// without a cable lacks is rendered into `own`.
pub fn body_of<'a, B: Body>(
    stimulus: &Stimulus<B>,
    block: &Block<'a>,
    own: &'a mut Vec<f32>,
) -> Option<Heard<'a>> {
    let channel = |index: usize| block.channels.get(index).copied().flatten();
    let link = channel(0)?;
    let reference = match channel(1) {
        Some(reference) => reference,
        None => {
            own.resize(link.len(), 0.0);
            stimulus.render(block.first_frame, own);
            own
        }
    };
    let body = &stimulus.layout().body;
    let skip = (body.start as u64).saturating_sub(block.first_frame) as usize;
    let end = (body.end as u64).saturating_sub(block.first_frame);
    let until = usize::try_from(end).unwrap_or(usize::MAX).min(link.len());
    (skip < until).then(|| Heard {
        first_frame: block.first_frame + skip as u64,
        link: &link[skip..until],
        reference: Some(&reference[skip..until]),
    })
}
