//! The exported table as a host sees it: nulls, lies about lengths, calls after a panic.

use std::{ptr, slice};

use goodwire_plugin_abi::{
    ABI_MAJOR, BROKEN, Block as RawBlock, Bytes, ENOUGH, FAILED, INVALID, OK, PluginTable,
    SessionHandle,
};
use goodwire_plugin_sdk::{
    Block, Failure, Fed, OpenError, Plugin, Session, api, export_plugin, payload,
};
use prost::Message;

/// Refuses the rate 1, fails at 2, panics at 3; else opens.
struct Fixture;

/// Panics at a block of 13 frames, and has enough at the last one.
struct Run;

impl Plugin for Fixture {
    fn describe() -> payload::Description {
        payload::Description {
            plugin: "fixture".into(),
            ..Default::default()
        }
    }

    fn open(request: &payload::OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        let violation = payload::FieldViolation {
            field: "rate".into(),
            text: "2 is the least".into(),
        };
        match request.rate_hz {
            1 => Err(OpenError::Invalid(vec![violation])),
            2 => Err(Failure::new("no-room", "the room is full").into()),
            3 => panic!("three"),
            _ => Ok(Box::new(Run)),
        }
    }
}

impl Session for Run {
    fn plan(&mut self) -> Result<payload::Plan, Failure> {
        Ok(payload::Plan::default())
    }

    fn render(&mut self, _step: u32, first: u64, samples: &mut [f32]) -> Result<(), Failure> {
        samples.fill(first as f32);
        Ok(())
    }

    fn begin(&mut self, _step: u32, _repeat: u32, _retry: bool) -> Result<(), Failure> {
        Ok(())
    }

    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        let link = block
            .channels
            .first()
            .copied()
            .flatten()
            .unwrap_or_default();
        assert!(link.len() != 13, "thirteen");
        Ok(if block.last { Fed::Enough } else { Fed::More })
    }

    fn finish(&mut self, _ended_early: bool) -> Result<payload::SessionResult, Failure> {
        Ok(payload::SessionResult {
            figures: vec![api::Figure::default()],
            ..Default::default()
        })
    }
}

export_plugin!(Fixture);

fn table() -> PluginTable {
    // SAFETY: the table is static, and not null for our own major version.
    unsafe { *goodwire_plugin(ABI_MAJOR, 0) }
}

fn read(bytes: Bytes) -> Vec<u8> {
    if bytes.byte_count == 0 {
        return Vec::new();
    }
    // SAFETY: what the SDK hands out is valid until the next call.
    unsafe { slice::from_raw_parts(bytes.data, bytes.byte_count as usize) }.to_vec()
}

fn error(session: *mut SessionHandle) -> String {
    // SAFETY: `error` is legal at any time.
    let text = unsafe { table().error.unwrap()(session) };
    String::from_utf8(read(text)).unwrap()
}

/// Opens at `rate_hz`: the status, the session and the encoded violations.
fn open(rate_hz: i32) -> (i32, *mut SessionHandle, Vec<u8>) {
    let request = payload::OpenRequest {
        rate_hz,
        ..Default::default()
    }
    .encode_to_vec();
    let (mut session, mut violations) = (ptr::null_mut(), Bytes::EMPTY);
    let call = table().open.unwrap();
    // SAFETY: both outputs are valid.
    let status = unsafe { call(Bytes::of(&request), &raw mut session, &raw mut violations) };
    (status, session, read(violations))
}

fn feed(session: *mut SessionHandle, block: *const RawBlock) -> i32 {
    // SAFETY: the tests pass null or an open session, and null or a valid block.
    unsafe { table().feed.unwrap()(session, block) }
}

fn raw_block(channels: &[*const f32], frame_count: u32) -> RawBlock {
    RawBlock {
        step: 0,
        repeat: 0,
        channel_count: channels.len() as u32,
        frame_count,
        flags: 0,
        reserved: 0,
        first_frame: 0,
        stream_frame: 0,
        channels: channels.as_ptr(),
    }
}

/// The library keeps the words of `open` for all sessions; these tests take turns.
static TURN: std::sync::Mutex<()> = std::sync::Mutex::new(());

#[test]
fn another_major_version_gets_no_table() {
    assert!(goodwire_plugin(ABI_MAJOR + 1, 0).is_null());
    assert!(goodwire_plugin(0, 0).is_null());
}

#[test]
fn open_gives_a_session_violations_words_or_broken() {
    let _turn = TURN.lock().unwrap();
    let (status, session, violations) = open(1);
    assert_eq!((status, session.is_null()), (INVALID, true));
    let violations = payload::FieldViolations::decode(&violations[..]).unwrap();
    assert_eq!(violations.violations[0].field, "rate");
    assert_eq!(open(2).0, FAILED);
    assert_eq!(error(ptr::null_mut()), "no-room: the room is full");
    assert_eq!(open(3).0, BROKEN);
    assert_eq!(error(ptr::null_mut()), "plugin-panicked: three");
    let (status, session, _) = open(48_000);
    assert_eq!((status, session.is_null()), (OK, false));
    // SAFETY: the session is open.
    unsafe { table().close.unwrap()(session) };
}

#[test]
fn null_in_every_place_is_an_error_and_no_crash() {
    let _turn = TURN.lock().unwrap();
    let t = table();
    let none = ptr::null_mut();
    let (_, session, _) = open(48_000);
    // SAFETY: that null is harmless is what is tested; the session is open.
    unsafe {
        assert_eq!(t.describe.unwrap()(ptr::null_mut()), FAILED);
        assert_eq!(
            t.open.unwrap()(Bytes::EMPTY, ptr::null_mut(), ptr::null_mut()),
            FAILED
        );
        for status in [
            t.plan.unwrap()(none, ptr::null_mut()),
            t.plan.unwrap()(session, ptr::null_mut()),
            t.render.unwrap()(none, 0, 0, 0, ptr::null_mut()),
            t.render.unwrap()(session, 0, 0, 1, ptr::null_mut()),
            t.begin.unwrap()(none, 0, 0, 0),
            t.feed.unwrap()(none, ptr::null()),
            t.feed.unwrap()(session, ptr::null()),
            t.note.unwrap()(none, Bytes::EMPTY),
            t.readings.unwrap()(session, ptr::null_mut()),
            t.finish.unwrap()(none, 0, ptr::null_mut()),
            t.finish.unwrap()(session, 0, ptr::null_mut()),
        ] {
            assert_eq!(status, FAILED);
        }
        assert!(
            error(session).starts_with("bad-call: "),
            "{}",
            error(session)
        );
        t.close.unwrap()(none);
        assert!(t.extension.unwrap()(Bytes::of(b"progress/1")).is_null());
        t.close.unwrap()(session);
    }
}

#[test]
fn lengths_that_cannot_be_are_refused() {
    let _turn = TURN.lock().unwrap();
    let (_, session, _) = open(48_000);
    let samples = [0.0_f32; 4];
    let too_many = [samples.as_ptr(); 65];
    assert_eq!(feed(session, &raw_block(&too_many, 4)), FAILED);
    let one = [samples.as_ptr()];
    assert_eq!(feed(session, &raw_block(&one, u32::MAX)), FAILED);
    let mut without = raw_block(&one, 4);
    without.channels = ptr::null();
    assert_eq!(feed(session, &without), FAILED);
    let huge = Bytes {
        data: samples.as_ptr().cast(),
        byte_count: u64::MAX,
    };
    let garbage = Bytes::of(&[0xff; 9]);
    // SAFETY: the session is open; lengths are looked at before the bytes are.
    unsafe {
        assert_eq!(table().note.unwrap()(session, huge), FAILED);
        assert_eq!(table().note.unwrap()(session, garbage), FAILED);
        table().close.unwrap()(session);
    }
}

#[test]
fn after_a_panic_only_error_and_close_do_anything() {
    let _turn = TURN.lock().unwrap();
    let (_, session, _) = open(48_000);
    let samples = [0.0_f32; 13];
    let absent = [ptr::null()];
    assert_eq!(feed(session, &raw_block(&absent, 13)), OK);
    let mut last = raw_block(&absent, 0);
    last.flags = 0xff;
    assert_eq!(feed(session, &last), ENOUGH);
    let channels = [samples.as_ptr()];
    assert_eq!(feed(session, &raw_block(&channels, 13)), BROKEN);
    assert_eq!(error(session), "plugin-panicked: thirteen");
    let mut out = Bytes::EMPTY;
    // SAFETY: the session is open, the output is valid.
    unsafe {
        assert_eq!(table().plan.unwrap()(session, &raw mut out), BROKEN);
        assert_eq!(table().finish.unwrap()(session, 0, &raw mut out), BROKEN);
        table().close.unwrap()(session);
    }
    assert_eq!(out.byte_count, 0, "an output was written without success");
}
