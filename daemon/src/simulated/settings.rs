//! What simulated links, paths and rigs do to the sound. Names and units are those of the
//! configuration: `[interface.simulated]` with its `send` and `return`, `[link.simulated]`.

/// The shortest dropout, in ms.
pub const SHORTEST_MS: f64 = 2.0;

/// What a simulated link does to the sound; in which order, [`super::link`] tells.
#[derive(Debug, Clone, PartialEq)]
pub struct LinkSettings {
    /// Gain in dB.
    pub gain_db: f64,
    /// Delay in ms; fractions of a frame are kept from 32 frames up, below it is rounded to whole
    /// frames.
    pub delay_ms: f64,
    /// True to swap the polarity.
    pub inverted: bool,
    /// -3 dB corner of the high-pass in Hz; 0: none.
    pub low_corner_hz: f64,
    /// -3 dB corner of the low-pass in Hz; 0: none.
    pub high_corner_hz: f64,
    /// Order of both filters (Butterworth), 1 to 8.
    pub filter_order: usize,
    /// White noise of the receiver in dBFS (RMS of a sine), full band; `None`: none.
    pub noise_dbfs: Option<f64>,
    /// Hum at the receiver in dBFS; `None`: none.
    pub hum_dbfs: Option<f64>,
    /// Frequency of the hum in Hz; its second and third harmonics are 6 and 12 dB lower.
    pub hum_hz: f64,
    /// y = x + a2 x² + a3 x³ + …: the factors from a2 on, of full scale at the transmitter.
    pub polynomial: Vec<f64>,
    /// Hard clipping at this peak in dBFS at the transmitter's input; `None`: none.
    pub hard_clip_dbfs: Option<f64>,
    /// Soft clipping (hyperbolic tangent) towards this peak in dBFS; `None`: none.
    pub soft_clip_dbfs: Option<f64>,
    /// Each time the link wakes or `resync_every_s` has passed, its delay moves by up to this many
    /// ms either way.
    pub resync_jitter_ms: f64,
    /// Seconds between resynchronisations; 0: only at waking.
    pub resync_every_s: f64,
    /// The link's own clock against the interface's, in ppm: plus brings more samples back.
    pub skew_ppm: f64,
    /// The link mutes when its input has been below this peak level for `idle_after_s`; `None`:
    /// never.
    pub idle_below_dbfs: Option<f64>,
    /// Seconds of quiet (no sample as loud) until it mutes; it starts muted.
    pub idle_after_s: f64,
    /// Seconds that it needs to wake up.
    pub wake_s: f64,
    /// Mean number of dropouts in a minute; 0: none.
    pub dropouts_per_minute: f64,
    /// Mean length of a dropout in ms (the lengths are exponentially distributed, at least 2 ms).
    pub dropout_ms: f64,
    /// What a dropout sounds like.
    pub dropout_kind: DropoutKind,
    /// All its dropouts, instead of those by chance and of a walk: seconds of the stream at which
    /// each begins with its length in ms, in order of time; empty: those by chance.
    pub dropouts_at: Vec<(f64, f64)>,
    /// How far its level sways to either side, in dB; 0: it is steady.
    pub sway_db: f64,
    /// Seconds of one sway up and down, a sine from 0 dB at the start of the stream.
    pub sway_s: f64,
    /// Seconds of the stream for which its charge lasts: the level sags by 6 dB in the last
    /// twentieth of them, then it is silent for good; 0: for ever.
    pub runs_for_s: f64,
    /// Where the transmitter is carried: seconds of the stream with metres, in order of time and in
    /// straight lines; empty: nobody walks.
    pub walk: Vec<(f64, f64)>,
    /// Distance in metres beyond which dropouts begin, ever more of them: (d/h)² - 1 a second.
    pub holds_to_m: f64,
    /// Number of the send that is really plugged into it, from 1; 0: none. `None`: the send of the
    /// configuration.
    pub fed_by: Option<usize>,
    /// Number of the return that it is really plugged into, from 1; 0: none. `None`: the return of
    /// the configuration.
    pub heard_at: Option<usize>,
    /// Hears the sound of this link's send too; empty: of none.
    pub hears: String,
    /// How loud it hears it, in dB against its own.
    pub hears_db: f64,
}

/// What a dropout sounds like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DropoutKind {
    /// Silence at once.
    Mute,
    /// A fade of 5 ms out and in.
    Ramp,
    /// The last 10 ms again and again.
    Repeat,
}

impl Default for LinkSettings {
    /// A healthy digital link: 4 ms late, 20 Hz to 20 kHz and beyond, quiet.
    fn default() -> Self {
        Self {
            gain_db: 0.0,
            delay_ms: 4.0,
            inverted: false,
            low_corner_hz: 8.0,
            high_corner_hz: 0.0,
            filter_order: 2,
            noise_dbfs: Some(-100.0),
            hum_dbfs: None,
            hum_hz: 50.0,
            polynomial: Vec::new(),
            hard_clip_dbfs: None,
            soft_clip_dbfs: None,
            resync_jitter_ms: 0.0,
            resync_every_s: 0.0,
            skew_ppm: 0.0,
            idle_below_dbfs: None,
            idle_after_s: 5.0,
            wake_s: 0.3,
            dropouts_per_minute: 0.0,
            dropout_ms: 30.0,
            dropout_kind: DropoutKind::Mute,
            dropouts_at: Vec::new(),
            sway_db: 0.0,
            sway_s: 60.0,
            runs_for_s: 0.0,
            walk: Vec::new(),
            holds_to_m: 10.0,
            fed_by: None,
            heard_at: None,
            hears: String::new(),
            hears_db: -20.0,
        }
    }
}

/// What one send or return of the simulated interface does to the sound.
#[derive(Debug, Clone, PartialEq)]
pub struct PathSettings {
    /// Gain in dB.
    pub gain_db: f64,
    /// -3 dB corner of its first-order high-pass in Hz; 0: none.
    pub low_corner_hz: f64,
    /// -3 dB corner of its first-order low-pass in Hz; 0: none.
    pub high_corner_hz: f64,
    /// White noise in dBFS, full band (of returns only); `None`: none.
    pub noise_dbfs: Option<f64>,
}

impl Default for PathSettings {
    fn default() -> Self {
        Self {
            gain_db: 0.0,
            low_corner_hz: 0.0,
            high_corner_hz: 0.0,
            noise_dbfs: Some(-120.0),
        }
    }
}

/// What happens to the simulated interface as a whole.
#[derive(Debug, Clone, PartialEq)]
pub struct RigSettings {
    /// Decides all that is random: same seed, same sound.
    pub seed: u64,
    /// Seconds of stream time at which the device vanishes; 0: never.
    pub vanish_at_s: f64,
    /// Seconds of wall time for which it stays away.
    pub vanish_for_s: f64,
    /// Mean seconds of stream time between xruns; 0: none.
    pub xrun_every_s: f64,
    /// Frames that an xrun loses.
    pub xrun_frames: u64,
    /// All xruns, instead of those by chance: seconds of the stream, each taken up to the next
    /// border of periods, in order of time; empty: those by chance.
    pub xruns_at_s: Vec<f64>,
    /// Level of a programme that somebody plays in the room, in dBFS at all returns; `None`: none.
    pub programme_dbfs: Option<f64>,
}

impl Default for RigSettings {
    fn default() -> Self {
        Self {
            seed: 1,
            vanish_at_s: 0.0,
            vanish_for_s: 5.0,
            xrun_every_s: 0.0,
            xrun_frames: 256,
            xruns_at_s: Vec::new(),
            programme_dbfs: None,
        }
    }
}
