//! The analysis `vigil`: a watch of the tests' own. It counts the frames that it is fed, those that
//! were lost, and those at which the cable does not bring the pilot's sample of that frame.

use goodwire_plugin_sdk::{
    Block, Failure, Fed, Kind, OpenError, Plugin, Session,
    api::{Event, Figure},
    describe, export_plugin,
    figures::{event, figure},
    parameters::{choice, number},
    payload::{
        AnalysisDescription, Description, OpenRequest, Plan, Readings, SessionNote, SessionResult,
        Silence, Step, plan::Capture, plan::capture, session_note::Note, step::Loss,
    },
};

/// Peak of the pilot, in dBFS: -20 dBFS is 0.1.
const PEAK_DBFS: f64 = -20.0;
/// A sample that differs by more is not the pilot's: the simulated rig's noise is far below.
const TOLERANCE: f32 = 0.01;

struct Vigil {
    plays: bool,
    rate_hz: f64,
    duration_frames: f64,
    /// It crashes when it is fed this frame.
    dies_at_frame: f64,
    /// Fed, lost, wrong, and the frame after the last one.
    counts: [u64; 4],
    marks: Vec<Event>,
}

/// White noise that is a function of the frame alone: the bits of a hash (splitmix64).
fn pilot(frame: u64) -> f32 {
    let mut z = frame.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    let unit = (z >> 40) as f32 / (1 << 24) as f32;
    0.1 * (2.0 * unit - 1.0)
}

fn text<'a>(request: &'a OpenRequest, id: &str) -> &'a str {
    let fields = request.parameters.as_ref().map(|all| &all.fields);
    match fields.and_then(|fields| fields.get(id)?.kind.as_ref()) {
        Some(Kind::StringValue(text)) => text,
        _ => "",
    }
}

fn amount(request: &OpenRequest, id: &str) -> f64 {
    let fields = request.parameters.as_ref().map(|all| &all.fields);
    match fields.and_then(|fields| fields.get(id)?.kind.as_ref()) {
        Some(Kind::NumberValue(number)) => *number,
        _ => 0.0,
    }
}

impl Plugin for Vigil {
    fn describe() -> Description {
        let summary = "Counts frames without an end.";
        let analysis = AnalysisDescription {
            plays: true,
            parameters: vec![
                number("duration_s", "s", 1e6, "Seconds until it has seen enough."),
                number("dies_at_s", "s", 1e6, "Seconds until it crashes."),
                choice("pilot", &["noise", "none"], "What is played."),
            ],
            silent_with: vec![Silence {
                parameter: "pilot".into(),
                value: "none".into(),
            }],
            ..describe::listener("vigil", "Vigil", summary)
        };
        describe::plugin("vigil", "1.0.0", [analysis])
    }

    fn open(request: &OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        let rate_hz = f64::from(request.rate_hz);
        let (words, _) = request.state.as_chunks();
        let mut counts = [0; 4];
        for (count, word) in counts.iter_mut().zip(words) {
            *count = u64::from_le_bytes(*word);
        }
        Ok(Box::new(Self {
            plays: text(request, "pilot") != "none",
            rate_hz,
            duration_frames: amount(request, "duration_s") * rate_hz,
            dies_at_frame: amount(request, "dies_at_s") * rate_hz,
            counts,
            marks: Vec::new(),
        }))
    }
}

impl Vigil {
    fn figures(&self) -> Vec<Figure> {
        let ids = ["fed", "lost", "wrong", "end"];
        let count = |(id, count): (&str, &u64)| figure(id, *count as f64, 0.0, "frames");
        ids.into_iter().zip(&self.counts).map(count).collect()
    }
}

impl Session for Vigil {
    fn plan(&mut self) -> Result<Plan, Failure> {
        let capture = |kind: capture::Kind| Capture {
            kind: kind.into(),
            ..Capture::default()
        };
        Ok(Plan {
            captures: vec![
                capture(capture::Kind::Link),
                capture(capture::Kind::Reference),
            ],
            steps: vec![Step {
                frame_count: 0,
                repeat_count: 1,
                peak_dbfs: if self.plays { PEAK_DBFS } else { -200.0 },
                loss: Loss::Cut.into(),
                expected_frame_count: Some(self.duration_frames),
                ..Step::default()
            }],
            ..Plan::default()
        })
    }

    fn render(&mut self, _: u32, first_frame: u64, samples: &mut [f32]) -> Result<(), Failure> {
        for (frame, sample) in (first_frame..).zip(samples) {
            *sample = pilot(frame);
        }
        Ok(())
    }

    fn begin(&mut self, _: u32, _: u32, _: bool) -> Result<(), Failure> {
        Ok(())
    }

    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        if block.first_frame as f64 >= self.dies_at_frame {
            std::process::abort();
        }
        let [fed, lost, wrong, end] = &mut self.counts;
        if block.first_frame != *end {
            let text = format!("frame {} came where {end} was next", block.first_frame);
            return Err(Failure::new("odd-frame", text));
        }
        // A link may be late; the cable brings each frame as it was played.
        let cable = block.channels[1].unwrap_or_default();
        for (frame, sample) in (block.first_frame..).zip(cable) {
            let want = if self.plays { pilot(frame) } else { 0.0 };
            *wrong += u64::from((sample - want).abs() > TOLERANCE);
        }
        *fed += block.channels[0].map_or(0, <[f32]>::len) as u64;
        *end = *fed + *lost;
        Ok(if *end as f64 >= self.duration_frames {
            Fed::Enough
        } else {
            Fed::More
        })
    }

    fn note(&mut self, note: &SessionNote) -> Result<(), Failure> {
        match &note.note {
            Some(Note::Lost(frames)) => {
                self.counts[1] += frames.frame_count.unwrap_or(0.0) as u64;
                self.counts[3] = self.counts[0] + self.counts[1];
            }
            Some(Note::Mark(mark)) => {
                let start_s = note.at_frame / self.rate_hz;
                self.marks.push(event("mark", start_s, None, &mark.label));
            }
            None => {}
        }
        Ok(())
    }

    fn readings(&mut self) -> Readings {
        Readings {
            figures: self.figures(),
            state: self.counts.iter().flat_map(|n| n.to_le_bytes()).collect(),
        }
    }

    fn finish(&mut self, ended_early: bool) -> Result<SessionResult, Failure> {
        let early = figure("early", f64::from(u8::from(ended_early)), 0.0, "");
        Ok(SessionResult {
            figures: self.figures().into_iter().chain([early]).collect(),
            events: self.marks.clone(),
            ..SessionResult::default()
        })
    }
}

export_plugin!(Vigil);
