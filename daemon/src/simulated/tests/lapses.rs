//! What comes and goes: sleep, dropouts, walks, charges, plugs in the wrong place.

use super::*;

#[test]
fn a_neighbour_is_heard_20_db_lower_and_links_that_share_a_return_add_up() {
    let mut spec = RigSpec::healthy(RATE_HZ, 2);
    spec.returns = vec![
        PathSettings {
            noise_dbfs: None,
            ..PathSettings::default()
        };
        3
    ];
    spec.links[0].settings = LinkSettings {
        hears: "link-2".into(),
        gain_db: -6.0,
        ..wire()
    };
    spec.links[1].settings = wire();
    let mut interface = SimulatedInterface::new(&spec);
    let tone = sine(1000.0, 0.5, 4800);
    let silence = vec![0.0; 4800];
    let mut heard = vec![Vec::new(); 3];
    let sends = [&silence[..], &tone[..], &silence[..]];
    interface
        .exchange(0, &sends, &mut heard, Duration::ZERO)
        .expect("it is there");
    let difference_db = level_dbfs(&heard[0]) - level_dbfs(&heard[1]);
    assert!(
        (difference_db + 26.0).abs() < 1e-5,
        "got {difference_db} dB"
    );
    assert!(heard[2].iter().all(|&x| x == 0.0));

    spec.links[1].return_index = 0;
    spec.links[0].settings = wire();
    let heard = play_on(&spec, &tone);
    assert!(heard[0].iter().zip(&tone).all(|(sum, x)| *sum == 2.0 * x));
}

#[test]
fn a_sleeping_link_is_silent_until_300_ms_after_the_first_sound() {
    let settings = LinkSettings {
        idle_below_dbfs: Some(-50.0),
        wake_s: 0.3,
        ..wire()
    };
    let heard = play_on(&quiet_rig(settings), &vec![0.1; 48_000]);
    let first = heard[0].iter().position(|&x| x != 0.0);
    assert_eq!(first, Some(14_400));
}

#[test]
fn dropouts_are_heard_where_the_link_says_that_they_are() {
    let mut spec = quiet_rig(LinkSettings {
        dropouts_per_minute: 60.0,
        ..wire()
    });
    spec.rig.seed = 9;
    let heard = play_on(&spec, &vec![0.5; 480_000]);
    let told: Vec<Dropout> = spec.links[0]
        .dropouts(9, RATE_HZ)
        .take_while(|dropout| dropout.end_frame() <= 480_000)
        .collect();
    assert!(told.len() >= 4, "got {} in 10 s", told.len());
    let missing = heard[0].iter().filter(|&&x| x == 0.0).count() as u64;
    assert_eq!(
        missing,
        told.iter().map(|dropout| dropout.frame_count).sum::<u64>()
    );
    for dropout in told {
        let range = dropout.first_frame as usize..dropout.end_frame() as usize;
        assert!(heard[0][range].iter().all(|&x| x == 0.0));
    }
}

#[test]
fn a_walk_beyond_10_m_brings_dropouts_where_the_link_says_and_none_before() {
    let settings = LinkSettings {
        walk: vec![(0.0, 1.0), (5.0, 10.0), (10.0, 20.0)],
        ..wire()
    };
    let spec = quiet_rig(settings);
    let heard = play_on(&spec, &vec![0.5; 480_000]);
    let told: Vec<Dropout> = spec.links[0]
        .dropouts(spec.rig.seed, RATE_HZ)
        .take_while(|dropout| dropout.end_frame() <= 480_000)
        .collect();
    // From 5 to 10 s the mean of (d/10)² - 1 is 4/3 a second, and 20/3 are expected: fewer than 2
    // come with a probability of 1 %.
    assert!(told.len() >= 2 && told[0].first_frame > 240_000, "{told:?}");
    for dropout in told {
        let range = dropout.first_frame as usize..dropout.end_frame() as usize;
        assert!(heard[0][range].iter().all(|&x| x == 0.0));
    }
}

#[test]
fn a_charge_of_1_s_leaves_the_receivers_noise_alone() {
    let settings = LinkSettings {
        runs_for_s: 1.0,
        ..wire()
    };
    let mut spec = quiet_rig(settings);
    spec.links[0].settings.noise_dbfs = Some(-60.0);
    let heard = play_on(&spec, &vec![0.5; 96_000]);
    let largest = heard[0][48_000..]
        .iter()
        .fold(0.0_f32, |a, x| a.max(x.abs()));
    // Gaussian noise of an RMS of 7.07e-4 stays below 6 of them.
    assert!(largest > 1e-4 && largest < 4.3e-3, "{largest}");
    assert!((heard[0][0] - 0.5).abs() < 4.3e-3);
}

#[test]
fn a_link_is_fed_by_the_send_and_heard_at_the_return_that_it_is_plugged_into() {
    let mut spec = RigSpec::healthy(RATE_HZ, 2);
    let plug = |fed_by, heard_at| LinkSettings {
        delay_ms: 0.0,
        fed_by,
        heard_at,
        noise_dbfs: None,
        low_corner_hz: 0.0,
        ..LinkSettings::default()
    };
    let loudest = |spec: &RigSpec| -> Vec<bool> {
        let heard = play_on(spec, &vec![0.5; 1000]);
        let is_loud = |sound: &Vec<f32>| sound.iter().any(|x| x.abs() > 0.1);
        heard.iter().map(is_loud).collect()
    };
    // All but the first send are turned down.
    let quiet = PathSettings {
        gain_db: -120.0,
        ..PathSettings::default()
    };
    spec.sends = vec![PathSettings::default(), quiet.clone(), quiet];
    spec.links[1].settings = plug(Some(1), None);
    spec.links[0].settings = plug(Some(0), None);
    assert_eq!(loudest(&spec), [false, true, false]);
    spec.links[0].settings = plug(None, Some(3));
    assert_eq!(loudest(&spec), [false, true, true]);
    spec.links[0].settings = plug(None, Some(0));
    assert_eq!(loudest(&spec), [false, true, false]);
}

#[test]
fn waking_moves_the_delay_and_sleeping_again_moves_it_anew() {
    let settings = LinkSettings {
        delay_ms: 10.0,
        resync_jitter_ms: 5.0,
        idle_below_dbfs: Some(-50.0),
        idle_after_s: 0.1,
        wake_s: 0.02,
        ..wire()
    };
    // Awake from 40 ms on, a click at 60 ms; the same again half a second later.
    let mut sound = vec![0.0_f32; 48_000];
    for start in [0, 24_000] {
        sound[start + 960..start + 2000].fill(0.01);
        sound[start + 2880] = 1.0;
    }
    let heard = play_on(&quiet_rig(settings), &sound);
    let delays: Vec<usize> = [2880, 26_880]
        .map(|click| {
            let after = &heard[0][click..click + 2000];
            let loudest = |best: usize, n: usize| if after[n] > after[best] { n } else { best };
            (0..2000).fold(0, loudest)
        })
        .to_vec();
    assert!(
        delays.iter().all(|delay| (240..=720).contains(delay)),
        "got {delays:?} frames"
    );
    assert_ne!(delays[0], delays[1]);
    assert!(
        delays.iter().all(|&delay| delay != 480),
        "got {delays:?} frames"
    );
}
