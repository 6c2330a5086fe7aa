//! The Three Kilns, a fictional venue with three Wi-Fi channels and six links, and its plans by
//! brute force: every choice of rows is looked at, in whole kHz, with nothing of the daemon's.

use std::fmt::Write;

/// Bandwidth of every channel of the fictional table, in kHz.
const WIDTH_KHZ: i64 = 1_000;
/// Least gap between the centre of a product and the edge of a channel, in kHz: `guard_mhz`.
const GUARD_KHZ: i64 = 100;

/// Centres of the fictional table in kHz: between, above and within the Wi-Fi channels.
pub const CENTRES_KHZ: [i64; 17] = [
    2_401_300, 2_422_600, 2_423_900, 2_425_300, 2_426_400, 2_437_000, 2_447_700, 2_448_900,
    2_450_200, 2_451_400, 2_472_600, 2_474_100, 2_475_900, 2_477_200, 2_479_400, 2_481_800,
    2_482_900,
];

/// IEEE 802.11: channel n is centred on 2407 + 5 n MHz, 20 MHz wide: 1, 6 and 11.
pub const WIFI_KHZ: [[i64; 2]; 3] = [
    [2_402_000, 2_422_000],
    [2_427_000, 2_447_000],
    [2_452_000, 2_472_000],
];

/// The six links.
pub const LINKS: [&str; 6] = [
    "lectern",
    "drum-riser",
    "choir",
    "foyer",
    "monitor",
    "balcony",
];

/// What a row of the table is called.
pub fn name(row: usize) -> String {
    format!("K{}", row + 1)
}

/// The configuration of the venue; `interface` is its section.
pub fn configured(interface: &str) -> String {
    let mut text = format!(
        "site = \"three-kilns\"\n{interface}\n[radio]\n\
         occupied = [\"1 20 box office\", \"6 20 bar\", \"11 20 stage\"]\n\
         [[channel_table]]\nname = \"belt\"\nradiated_dbm = 10\nneeded_dbm = -84\n"
    );
    for (row, centre_khz) in CENTRES_KHZ.iter().enumerate() {
        let (mhz, khz) = (centre_khz / 1_000, centre_khz % 1_000);
        writeln!(
            text,
            "[[channel_table.channel]]\nname = \"{}\"\ncentre_mhz = {mhz}.{khz:03}\n\
             bandwidth_mhz = 1",
            name(row)
        )
        .expect("writing to a string does not fail");
    }
    for (number, link) in (1..).zip(LINKS) {
        writeln!(
            text,
            "[[link]]\nname = \"{link}\"\nsend = {number}\nreturn = {number}\n\
             channel_table = \"belt\""
        )
        .expect("writing to a string does not fail");
    }
    text
}

/// The same on the simulated rig in virtual time.
pub fn simulated() -> String {
    configured("[interface]\nbackend = \"simulated\"\ntime = \"virtual\"\nrate = 48000")
}

/// Edges of a row in kHz.
pub fn edges_khz(row: usize) -> [i64; 2] {
    [
        CENTRES_KHZ[row] - WIDTH_KHZ / 2,
        CENTRES_KHZ[row] + WIDTH_KHZ / 2,
    ]
}

/// Gap between two bands in kHz, negative where they overlap.
fn gap_khz(a: [i64; 2], b: [i64; 2]) -> i64 {
    (b[0] - a[1]).max(a[0] - b[1])
}

/// kHz from a row to the nearest Wi-Fi channel, negative inside.
pub fn separation_khz(row: usize) -> i64 {
    WIFI_KHZ
        .iter()
        .map(|wifi| gap_khz(edges_khz(row), *wifi))
        .min()
        .unwrap()
}

/// How bad a choice of rows is: pairs that overlap, rows that are not clear of the Wi-Fi, rows with
/// a product within the guard, and the least separation in kHz with its sign turned.
pub fn badness(rows: &[usize]) -> ([usize; 3], i64) {
    let mut overlapping = 0;
    for (place, a) in rows.iter().enumerate() {
        for b in &rows[place + 1..] {
            overlapping += usize::from(gap_khz(edges_khz(*a), edges_khz(*b)) < 0);
        }
    }
    let occupied = rows.iter().filter(|row| separation_khz(**row) < 0).count();
    let hit = rows.iter().filter(|row| is_hit(**row, rows)).count();
    let least = rows.iter().map(|row| separation_khz(*row)).min().unwrap();
    ([overlapping, occupied, hit], -least)
}

/// Whether a third-order product of some rows, `2a - b` or `a + b - c`, comes too near to a row.
fn is_hit(victim: usize, rows: &[usize]) -> bool {
    let [low, high] = edges_khz(victim);
    let mut products = rows.iter().flat_map(|a| {
        let seconds = rows.iter().filter(move |b| *b >= a);
        seconds.flat_map(move |b| {
            let taken = rows.iter().filter(move |c| *c != a && *c != b);
            taken.map(move |c| CENTRES_KHZ[*a] + CENTRES_KHZ[*b] - CENTRES_KHZ[*c])
        })
    });
    products.any(|product| (product - high).max(low - product) < GUARD_KHZ)
}

/// Every choice of so many rows of the table.
fn choices(count: usize) -> impl Iterator<Item = Vec<usize>> {
    let all = 1u32 << CENTRES_KHZ.len();
    let chosen = move |bits: u32| {
        let rows = (0..CENTRES_KHZ.len()).filter(move |row| bits >> row & 1 == 1);
        rows.collect()
    };
    (0..all)
        .filter(move |bits| bits.count_ones() as usize == count)
        .map(chosen)
}

/// The least badness of so many rows.
pub fn least_bad(count: usize) -> ([usize; 3], i64) {
    choices(count).map(|rows| badness(&rows)).min().unwrap()
}

/// How many rows fit cleanly at most.
pub fn most_that_fit() -> usize {
    let is_clean = |rows: Vec<usize>| badness(&rows).0 == [0; 3];
    let counts = (1..=CENTRES_KHZ.len()).rev();
    let mut fitting = counts.filter(|count| choices(*count).any(is_clean));
    fitting.next().unwrap_or(0)
}
