use std::io::{Cursor, Write};

use proptest::prelude::*;

use super::*;

/// Made by the reference encoder of FLAC out of 500 frames, whose left sample is 32,000 k - 8,000,000
/// and whose right one is minus a third of it, rounded down; 24 bits, 96 kHz, blocks of 192.
const RAMPS_FLAC: &[u8] = include_bytes!("fixtures/ramps_24_bit_96_khz.flac");

fn read_bytes(bytes: &[u8]) -> Result<Recording, RecordingError> {
    read_from(Cursor::new(bytes.to_vec()), "take.wav")
}

fn sentence(bytes: &[u8]) -> String {
    read_bytes(bytes).expect_err("it is refused").to_string()
}

fn chunk(name: &[u8; 4], content: &[u8]) -> Vec<u8> {
    let mut bytes = [&name[..], &(content.len() as u32).to_le_bytes(), content].concat();
    bytes.resize(bytes.len().next_multiple_of(2), 0);
    bytes
}

fn format_chunk(tag: u16, bits: u16, channel_count: u16, rate_hz: u32) -> Vec<u8> {
    let frame_bytes = bits / 8 * channel_count;
    let mut content = Vec::new();
    content.extend(tag.to_le_bytes());
    content.extend(channel_count.to_le_bytes());
    content.extend(rate_hz.to_le_bytes());
    content.extend((rate_hz * u32::from(frame_bytes)).to_le_bytes());
    content.extend(frame_bytes.to_le_bytes());
    content.extend(bits.to_le_bytes());
    chunk(b"fmt ", &content)
}

fn wav(chunks: &[Vec<u8>]) -> Vec<u8> {
    chunk(b"RIFF", &[b"WAVE".to_vec(), chunks.concat()].concat())
}

fn float_wav(rate_hz: u32, samples: &[f32]) -> Vec<u8> {
    let data: Vec<u8> = samples
        .iter()
        .flat_map(|sample| sample.to_le_bytes())
        .collect();
    wav(&[format_chunk(3, 32, 1, rate_hz), chunk(b"data", &data)])
}

#[test]
fn every_coding_reads_minus_full_scale_a_half_and_the_smallest_step() {
    let cases: [(u16, u16, Vec<u8>, f32); 5] = [
        (1, 16, vec![0, 0x80, 0, 0x40, 1, 0], 1.0 / 32_768.0),
        (
            1,
            24,
            vec![0, 0, 0x80, 0, 0, 0x40, 1, 0, 0],
            1.0 / 8_388_608.0,
        ),
        (
            1,
            32,
            vec![0, 0, 0, 0x80, 0, 0, 0, 0x40, 1, 0, 0, 0],
            1.0 / 2_147_483_648.0,
        ),
        (
            3,
            32,
            [-1.0_f32, 0.5, 1e-9].map(f32::to_le_bytes).concat(),
            1e-9,
        ),
        (
            3,
            64,
            [-1.0_f64, 0.5, 1e-9].map(f64::to_le_bytes).concat(),
            1e-9,
        ),
    ];
    for (tag, bits, data, least) in cases {
        let bytes = wav(&[format_chunk(tag, bits, 1, 48_000), chunk(b"data", &data)]);
        let recording = read_bytes(&bytes).expect("it is read");
        assert_eq!(
            recording.channels,
            [[-1.0, 0.5, least]],
            "{bits} bits of format {tag}"
        );
        assert_eq!((recording.rate_hz, recording.comment), (48_000, None));
    }
}

#[test]
fn files_of_another_writer_are_read_in_all_its_formats() {
    for (bits, kind) in [
        (16, hound::SampleFormat::Int),
        (24, hound::SampleFormat::Int),
        (32, hound::SampleFormat::Int),
        (32, hound::SampleFormat::Float),
    ] {
        let spec = hound::WavSpec {
            channels: 3,
            sample_rate: 96_000,
            bits_per_sample: bits,
            sample_format: kind,
        };
        let mut bytes = Cursor::new(Vec::new());
        let mut writer = hound::WavWriter::new(&mut bytes, spec).expect("memory can be written");
        for k in 0..3000_i32 {
            match kind {
                hound::SampleFormat::Int => writer.write_sample(k - 1500),
                hound::SampleFormat::Float => writer.write_sample((k - 1500) as f32 / 2048.0),
            }
            .expect("memory can be written");
        }
        writer.finalize().expect("memory can be written");
        let recording = read_bytes(bytes.get_ref()).expect("it is read");
        let scale = if kind == hound::SampleFormat::Int {
            0.5_f64.powi(i32::from(bits) - 1)
        } else {
            1.0 / 2048.0
        };
        assert_eq!((recording.rate_hz, recording.frame_count()), (96_000, 1000));
        for (channel, samples) in recording.channels.iter().enumerate() {
            for (frame, &sample) in samples.iter().enumerate() {
                let want = ((3 * frame + channel) as f64 - 1500.0) * scale;
                assert_eq!(sample, want as f32, "{bits} bits, frame {frame}");
            }
        }
    }
}

#[test]
fn an_extensible_format_is_read_by_its_subformat_and_refused_where_that_is_foreign() {
    let extensible = |subformat: &[u8; 16]| {
        let plain = &format_chunk(0xFFFE, 24, 1, 48_000)[8..];
        let rest = [
            &22_u16.to_le_bytes()[..],
            &20_u16.to_le_bytes(),
            &[4, 0, 0, 0],
            subformat,
        ];
        let format = chunk(b"fmt ", &[plain, &rest.concat()].concat());
        wav(&[format, chunk(b"data", &[0, 0, 0xC0])])
    };
    // KSDATAFORMAT_SUBTYPE_PCM: 00000001-0000-0010-8000-00AA00389B71.
    let pcm = *b"\x01\0\0\0\0\0\x10\0\x80\0\0\xAA\0\x38\x9B\x71";
    // 20 bits that are valid stand at the upper end of the 24.
    assert_eq!(
        read_bytes(&extensible(&pcm)).expect("it is read").channels,
        [[-0.5]]
    );
    let foreign = [&pcm[..15], &[0x72]].concat().try_into().expect("16 bytes");
    assert_eq!(
        sentence(&extensible(&foreign)),
        "take.wav: it holds samples of format 65534; WAV of 16, 24 or 32 bits or float, and FLAC \
         are read"
    );
}

#[test]
fn a_wav_of_unknown_length_is_read_to_its_end_and_an_rf64_by_its_long_size() {
    let mut bytes = float_wav(48_000, &[0.25; 100]);
    let size_at = bytes.len() - 400 - 4;
    bytes[size_at..size_at + 4].copy_from_slice(&u32::MAX.to_le_bytes());
    assert_eq!(read_bytes(&bytes).expect("it is read").frame_count(), 100);

    let sizes = [0_u64, 80, 20].map(u64::to_le_bytes).concat();
    let mut bytes = [&b"RF64\xFF\xFF\xFF\xFFWAVE"[..], &chunk(b"ds64", &sizes)].concat();
    bytes.extend(format_chunk(3, 32, 1, 48_000));
    bytes.extend([&b"data\xFF\xFF\xFF\xFF"[..], &[0; 400]].concat());
    assert_eq!(read_bytes(&bytes).expect("it is read").frame_count(), 20);
}

#[test]
fn a_comment_is_read_before_and_after_the_samples_beside_other_texts() {
    let text = comment::encode("level", &prost_types::Struct::default(), 48_000);
    let info = [
        b"INFO".to_vec(),
        chunk(b"ISFT", b"x"),
        chunk(b"ICMT", text.as_bytes()),
    ]
    .concat();
    let (format, data) = (format_chunk(1, 16, 1, 48_000), chunk(b"data", &[0; 20]));
    let list = chunk(b"LIST", &info);
    for chunks in [
        [list.clone(), format.clone(), data.clone()],
        [
            format.clone(),
            chunk(b"junk", b"odd"),
            [data, list].concat(),
        ],
    ] {
        let recording = read_bytes(&wav(&chunks)).expect("it is read");
        let comment = recording.comment.as_deref().and_then(comment::decode);
        assert_eq!(
            comment.map(|comment| comment.analysis),
            Some("level".into())
        );
    }
}

#[test]
fn a_flac_has_its_samples_to_the_bit_and_its_comment() {
    let recording = read_bytes(RAMPS_FLAC).expect("it is read");
    assert_eq!((recording.rate_hz, recording.frame_count()), (96_000, 500));
    assert_eq!(recording.comment.as_deref(), Some("two ramps"));
    for k in 0..500 {
        let left = 32_000 * k as i32 - 8_000_000;
        let want = [left, (-left).div_euclid(3)].map(|sample| sample as f32 / 8_388_608.0);
        assert_eq!(
            [recording.channels[0][k], recording.channels[1][k]],
            want,
            "frame {k}"
        );
    }
}

#[test]
fn what_is_wrong_with_a_file_is_told_in_a_sentence_that_names_it() {
    let mut cut = float_wav(48_000, &[0.5; 100]);
    cut.truncate(cut.len() - 10);
    let cut_flac = &RAMPS_FLAC[..RAMPS_FLAC.len() - 20];
    let mut broken_flac = RAMPS_FLAC.to_vec();
    *broken_flac.last_mut().expect("it is not empty") ^= 1;
    let not_finite = float_wav(48_000, &[0.0, 0.5, f32::NAN]);
    let huge = wav(&[
        format_chunk(3, 64, 1, 48_000),
        chunk(b"data", &[0.5_f64, 1e300].map(f64::to_le_bytes).concat()),
    ]);
    let mut endless = float_wav(48_000, &[0.5; 4]);
    let size_at = endless.len() - 16 - 4;
    endless[size_at..size_at + 4].copy_from_slice(&1_382_400_004_u32.to_le_bytes());
    for (bytes, want) in [
        (Vec::new(), "it is empty"),
        (
            b"RIFF".to_vec(),
            "it is no recording: neither a WAV nor a FLAC file",
        ),
        (
            b"#!/bin/sh\necho hello\n".to_vec(),
            "it is no recording: neither a WAV nor a FLAC file",
        ),
        (float_wav(48_000, &[]), "it is empty"),
        (cut, "it is cut off: it announces 100 frames and holds 97"),
        (
            cut_flac.to_vec(),
            "it is cut off: it announces 500 frames and holds 384",
        ),
        (
            not_finite,
            "the sample in frame 2 of channel 1 is not finite",
        ),
        (huge, "the sample in frame 1 of channel 1 is not finite"),
        (
            float_wav(22_050, &[0.5]),
            "its rate is 22050 Hz, and 44100 to 192000 Hz are read",
        ),
        (
            endless,
            "it is too long: 345600001 samples in all its channels, and at most 345600000 are read \
             (2 h of one channel at 48 kHz)",
        ),
        (
            wav(&[format_chunk(1, 8, 1, 48_000), chunk(b"data", &[0; 4])]),
            "it holds samples of 8 bits; WAV of 16, 24 or 32 bits or float, and FLAC are read",
        ),
        (
            wav(&[format_chunk(7, 8, 1, 48_000), chunk(b"data", &[0; 4])]),
            "it holds samples of format 7; WAV of 16, 24 or 32 bits or float, and FLAC are read",
        ),
        (
            wav(&[format_chunk(1, 16, 65, 48_000), chunk(b"data", &[0; 130])]),
            "it has 65 channels, and 1 to 64 are read",
        ),
        (
            wav(&[format_chunk(1, 16, 1, 48_000)]),
            "it is damaged: it has no samples",
        ),
        (
            wav(&[chunk(b"data", &[0; 4])]),
            "it is damaged: its samples come before what says how they are written",
        ),
    ] {
        assert_eq!(sentence(&bytes), format!("take.wav: {want}"));
    }
    assert!(matches!(
        read_bytes(&broken_flac),
        Err(RecordingError::Damaged { .. } | RecordingError::Truncated { .. })
    ));
}

#[test]
fn missing_files_and_folders_are_told_apart() {
    let folder = tempfile::tempdir().expect("a folder can be made");
    let path = folder.path().join("take.wav");
    let missing = read(&path).expect_err("it is missing").to_string();
    assert_eq!(
        missing,
        format!("{}: there is no such file", path.display())
    );
    let no_file = read_as(folder.path(), "take.wav")
        .expect_err("it is a folder")
        .to_string();
    assert_eq!(no_file, "take.wav: it cannot be read: it is not a file");
}

#[test]
fn a_flac_that_is_called_wav_is_read_as_what_it_is() {
    let mut file = tempfile::Builder::new()
        .suffix(".wav")
        .tempfile()
        .expect("a file can be made");
    file.write_all(RAMPS_FLAC).expect("it can be written");
    assert_eq!(read(file.path()).expect("it is read").frame_count(), 500);
}

#[test]
fn channels_are_picked_from_1_and_0_means_the_only_one() {
    let stereo = Recording {
        rate_hz: 48_000,
        channels: vec![vec![0.1], vec![0.2]],
        comment: None,
    };
    let mono = Recording {
        channels: vec![vec![0.1]],
        ..stereo.clone()
    };
    assert_eq!(pick(&stereo, 2, "take.wav"), Ok(&[0.2][..]));
    assert_eq!(pick(&mono, 0, "take.wav"), Ok(&[0.1][..]));
    assert_eq!(pick(&mono, 1, "take.wav"), Ok(&[0.1][..]));
    for (recording, channel, want) in [
        (
            &stereo,
            3,
            "take.wav: there is no channel 3: it has 2, counted from 1",
        ),
        (
            &mono,
            2,
            "take.wav: there is no channel 2: it has 1, counted from 1",
        ),
        (
            &stereo,
            -1,
            "take.wav: there is no channel -1: it has 2, counted from 1",
        ),
        (
            &stereo,
            0,
            "take.wav: it has 2 channels and one is needed: name it as FILE:CH, here take.wav:1 to \
             take.wav:2",
        ),
    ] {
        let error = pick(recording, channel, "take.wav").expect_err("it is refused");
        assert_eq!(error.to_string(), want);
    }
}

proptest! {
    #[test]
    fn no_bytes_after_the_head_of_a_wav_make_it_panic(
        bytes in prop::collection::vec(any::<u8>(), 0..400),
        channel_count in 0_u16..70,
        tag in prop::sample::select(vec![1_u16, 3, 0xFFFE]),
        size: u32,
    ) {
        let _ = read_bytes(&bytes);
        let _ = read_bytes(&[&b"RIFF\0\0\0\0WAVE"[..], &bytes].concat());
        let mut file = wav(&[format_chunk(tag, 16, channel_count, 48_000)]);
        file.extend([&b"data"[..], &size.to_le_bytes(), &bytes].concat());
        let _ = read_bytes(&file);
        file.extend(chunk(b"LIST", &[b"INFOICMT", &bytes[..]].concat()));
        let _ = read_bytes(&file);
    }

    #[test]
    fn a_flac_with_a_byte_changed_is_read_as_it_was_or_refused(
        at in 4_usize..RAMPS_FLAC.len(), byte: u8,
    ) {
        let mut bytes = RAMPS_FLAC.to_vec();
        bytes[at] = byte;
        let whole = read_bytes(RAMPS_FLAC).expect("it is read");
        if let Ok(recording) = read_bytes(&bytes) {
            // What describes the sound has no checksum: it may say another rate, comment or width.
            prop_assert!(at < 129 || recording.channels == whole.channels, "byte {at}");
        }
    }

    #[test]
    fn a_flac_that_is_cut_anywhere_is_refused(length in 12_usize..RAMPS_FLAC.len()) {
        prop_assert!(read_bytes(&RAMPS_FLAC[..length]).is_err());
    }

    #[test]
    fn finite_samples_come_back_as_they_are(
        samples in prop::collection::vec(-2.0_f32..2.0, 1..5000),
        rate_hz in RATE_HZ_MIN..=RATE_HZ_MAX,
    ) {
        let recording = read_bytes(&float_wav(rate_hz, &samples)).expect("it is read");
        prop_assert_eq!(recording, Recording { rate_hz, channels: vec![samples], comment: None });
    }
}
