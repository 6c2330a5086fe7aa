//! Plans: worked examples, published rulers, and what is said where not all links fit.
//!
//! The independent check by trying everything is in `brute_force`.

use super::{assert_mhz, edges};
use goodwire_radio::band::{Band, Occupancy};
use goodwire_radio::plan::{Certainty, Flaw, Member, Plan, PlanError, Request, Rules, plan};
use goodwire_radio::products::{Extent, are_free};
use goodwire_radio::rank::standings;
use goodwire_radio::ruler::shortest;
use goodwire_radio::table::{Row, Table};

fn table(rows: impl IntoIterator<Item = (String, f64)>, bandwidth_mhz: f64) -> Table {
    let rows: Vec<Row> = rows
        .into_iter()
        .map(|(name, centre_mhz)| Row {
            name,
            centre_mhz,
            bandwidth_mhz,
        })
        .collect();
    Table::check(&rows).unwrap()
}

/// Channels 0.2 MHz wide every 0.4 MHz from 606 MHz on.
fn raster(row_count: u32) -> Table {
    let row = |n: u32| (n.to_string(), 606.0 + 0.4 * f64::from(n));
    table((0..row_count).map(row), 0.2)
}

fn planned(table: &Table, occupied: &Occupancy, link_count: usize, rules: Rules) -> Plan {
    plan(&Request {
        table,
        occupied,
        fixed: &[],
        link_count,
        rules,
    })
    .unwrap()
}

/// Wi-Fi on 1, 6 and 11, 20 MHz wide.
fn three_networks() -> Occupancy {
    Occupancy::union([
        edges(2402.0, 2422.0),
        edges(2427.0, 2447.0),
        edges(2452.0, 2472.0),
    ])
}

/// Eight channels, 1 MHz wide.
fn eight_channels() -> Table {
    let rows = [
        ("A", 2410.0),
        ("B", 2424.0),
        ("C", 2425.0),
        ("D", 2449.0),
        ("E", 2474.0),
        ("F", 2476.0),
        ("G", 2479.0),
        ("H", 2482.0),
    ];
    table(rows.map(|(name, mhz)| (name.to_owned(), mhz)), 1.0)
}

/// By hand. Edges: A 2409.5 to 2410.5, 8.5 above 2402 and so 8.5 MHz to go; B to E 1.5 MHz from
/// the nearest network; F 3.5, G 6.5, H 9.5. The three widest are F, G and H: 2·2479 - 2482 = 2476
/// is F, which forbids them together. With E or a channel of the lower gaps the least separation
/// is 1.5. B is the first of them; of 2424, 2479, 2482 the nearest products are 2421 and 2427 to
/// B, 2476 to G and 2485 to H, each 3 MHz from a centre, 2.5 from an edge.
#[test]
fn beside_wi_fi_on_1_6_and_11_three_links_go_to_b_g_and_h_1_5_mhz_clear() {
    let rules = Rules {
        guard_mhz: 0.5,
        ..Rules::default()
    };
    let plan = planned(&eight_channels(), &three_networks(), 3, rules);
    assert_eq!(plan.rows, [1, 6, 7]);
    assert_mhz(plan.separation_mhz_least.unwrap(), 1.5, "least separation");
    assert_eq!(plan.certainty, Certainty::Exact);
    assert_eq!(plan.flaws, []);
}

/// The same by hand for two links: G and H, 3 MHz apart, 2G - H and 2H - G beside them.
#[test]
fn two_links_go_to_g_and_h_6_5_mhz_clear_and_with_a_clearance_of_7_mhz_only_one_fits() {
    let plan = planned(&eight_channels(), &three_networks(), 2, Rules::default());
    assert_eq!(plan.rows, [6, 7]);
    assert_mhz(plan.separation_mhz_least.unwrap(), 6.5, "least separation");
    let rules = Rules {
        clearance_mhz: 7.0,
        ..Rules::default()
    };
    let plan = planned(&eight_channels(), &three_networks(), 2, rules);
    assert_eq!([plan.fitting_count, plan.rows.len()], [1, 2]);
    assert_eq!(plan.fitting_certainty, Certainty::Exact);
    // One channel is too near in every choice of two; least bad is the pair that misses least.
    assert_eq!(plan.rows, [6, 7]);
    let [
        Flaw::Occupied {
            row: 6,
            separation_mhz,
        },
    ] = plan.flaws[..]
    else {
        panic!("{:?}", plan.flaws);
    };
    assert_mhz(separation_mhz, 6.5, "separation of G");
}

/// By hand: H 9.5, G 6.5, F 3.5, then B, C, D, E 1.5 each, A -8.5 inside and 100 % occupied.
#[test]
fn channels_rank_h_g_f_then_four_equals_then_the_occupied_one() {
    let standings = standings(&eight_channels(), &three_networks(), &[], Extent::Centre);
    let ranks: Vec<_> = standings.iter().map(|s| s.rank).collect();
    assert_eq!(ranks, [8, 4, 4, 4, 4, 3, 2, 1]);
    assert_mhz(standings[0].separation_mhz.unwrap(), -8.5, "A");
    assert_eq!(standings[0].overlap_percent, 100.0);
    assert_eq!(standings[7].intermodulation_gap_mhz, None);
}

/// By hand, with G and H in use: products 2476 and 2485. F is 2475.5 to 2476.5, the product in
/// its middle: -0.5, which puts it behind all that are not hit. E ends at 2474.5, 1.5 from 2476.
#[test]
fn with_g_and_h_in_use_a_product_hits_f_by_0_5_mhz_and_ranks_it_behind_e() {
    let table = eight_channels();
    let carriers = [table.bands()[6], table.bands()[7]];
    let standings = standings(&table, &three_networks(), &carriers, Extent::Centre);
    let gap_mhz = |row: usize| standings[row].intermodulation_gap_mhz.unwrap();
    assert_mhz(gap_mhz(5), -0.5, "F");
    assert_mhz(gap_mhz(4), 1.5, "E");
    assert!(standings[5].rank > standings[4].rank);
    // 8.5 MHz inside a network is worse than a product.
    assert_eq!([standings[5].rank, standings[0].rank], [7, 8]);
}

/// Source: the lengths of shortest Golomb rulers, OEIS A003022: on an even raster with a guard of
/// one step, n links fit into that many steps and not into one less.
#[test]
fn three_to_seven_links_fit_on_a_raster_as_long_as_the_ruler_and_not_on_one_step_less() {
    let rules = Rules {
        guard_mhz: 0.3,
        ..Rules::default()
    };
    for order in 3..=7 {
        let length = *shortest(order).unwrap().last().unwrap();
        let nothing = Occupancy::default();
        let on_ruler = planned(&raster(length + 1), &nothing, order, rules);
        assert_eq!(on_ruler.flaws, [], "{order} links");
        assert_eq!(on_ruler.rows.len(), order);
        assert_eq!(on_ruler.certainty, Certainty::Exact);
        let on_less = planned(&raster(length), &nothing, order, rules);
        assert_eq!(on_less.fitting_count, order - 1);
        assert_eq!(on_less.fitting_certainty, Certainty::Exact);
        assert_eq!(on_less.rows.len(), order);
        assert!(!on_less.flaws.is_empty());
    }
}

/// By hand: rows at 606.0, 606.4 and 606.8 only. 2·606.4 - 606.0 = 606.8 and 2·606.4 - 606.8 =
/// 606.0 hit the outer two in the middle, 606.0 + 606.8 - 606.4 the middle one itself; each 0.1 MHz
/// from the edges.
#[test]
fn three_links_on_three_even_channels_get_all_and_hear_by_what_each_is_hit() {
    let plan = planned(&raster(3), &Occupancy::default(), 3, Rules::default());
    assert_eq!([plan.fitting_count, plan.rows.len()], [2, 3]);
    let [a, b, c] = [0, 1, 2].map(Member::Row);
    let want = [(a, [b, b, c]), (b, [a, c, b]), (c, [b, b, a])];
    for (flaw, want) in plan.flaws.iter().zip(want) {
        let Flaw::Product {
            victim,
            made_of,
            gap_mhz,
            ..
        } = *flaw
        else {
            panic!("{flaw:?}");
        };
        assert_eq!((victim, made_of), want);
        assert_mhz(gap_mhz, -0.1, "gap");
    }
    assert_eq!(plan.flaws.len(), 3);
}

#[test]
fn five_links_on_a_table_of_three_rows_leave_two_without_a_channel() {
    let plan = planned(&raster(3), &Occupancy::default(), 5, Rules::default());
    assert_eq!(plan.rows, [0, 1, 2]);
    assert_eq!(plan.flaws[0], Flaw::NotPlaced { link_count: 2 });
    assert_eq!(plan.fitting_count, 2);
}

/// A link that stays at 606.4 MHz: beside it 606.0 and 606.8 make it a triple with equal steps.
#[test]
fn a_link_that_stays_is_planned_around_and_is_not_hit_by_products_of_the_new_ones() {
    let table = raster(8);
    let fixed: [Band; 1] = [table.bands()[1]];
    let plan = plan(&Request {
        table: &table,
        occupied: &Occupancy::default(),
        fixed: &fixed,
        link_count: 2,
        rules: Rules::default(),
    })
    .unwrap();
    assert_eq!(plan.flaws, []);
    // Rows 0 and 2 with 1 are evenly spaced; 0 and 3 with 1 are 0 1 3 of the ruler.
    assert_eq!(plan.rows, [0, 3]);
}

#[test]
fn no_links_need_no_channel_and_that_is_exact() {
    let plan = planned(&raster(3), &Occupancy::default(), 0, Rules::default());
    assert_eq!((plan.rows.len(), plan.certainty), (0, Certainty::Exact));
    assert_eq!(plan.flaws, []);
}

/// Too much to search: 10 links on 400 rows beside a television channel at 478 to 486 MHz. The
/// plan is clean all the same, looked at pair by pair, and says how much better one might be: the
/// best without any product would take the ten rows farthest up, 621.2 to 624.8 MHz, 135 MHz away.
#[test]
fn ten_links_on_400_channels_get_a_clean_plan_that_says_a_heuristic_found_it_and_its_bound() {
    let rows = (0..400).map(|n| (n.to_string(), 465.2 + 0.4 * f64::from(n)));
    let table = table(rows, 0.2);
    let occupied = Occupancy::union([edges(478.0, 486.0)]);
    let rules = Rules {
        guard_mhz: 0.3,
        ..Rules::default()
    };
    let plan = planned(&table, &occupied, 10, rules);
    assert_eq!(plan.certainty, Certainty::Heuristic);
    assert_eq!((plan.rows.len(), plan.flaws.len()), (10, 0));
    let bands: Vec<Band> = plan.rows.iter().map(|&row| table.bands()[row]).collect();
    assert!(are_free(&bands, 0.3, Extent::Centre));
    assert!(bands.windows(2).all(|pair| !pair[0].overlaps(&pair[1])));
    let least_mhz = plan.separation_mhz_least.unwrap();
    let bound_mhz = plan.separation_mhz_bound.unwrap();
    assert!(least_mhz < bound_mhz && bound_mhz < 135.2);
    // The shortest ruler with ten marks is 55 steps long, 22 MHz: no plan begins higher than
    // 624.8 - 22 - 0.1 MHz, 116.7 MHz from 486.
    assert!(least_mhz < 116.8, "{least_mhz} MHz");
    // The greedy Sidon sequence (OEIS A005282, from memory: 1 2 4 8 13 21 31 45 66 81) needs 80
    // steps for ten, 32 MHz: 624.8 - 32 - 0.1 - 486 is what a plan filled by frequency reaches.
    assert!(least_mhz > 106.6, "{least_mhz} MHz");
}

#[test]
fn more_than_64_links_and_a_guard_below_0_mhz_are_refused() {
    let (table, nothing) = (raster(4), Occupancy::default());
    let refused = |link_count, guard_mhz| {
        plan(&Request {
            table: &table,
            occupied: &nothing,
            fixed: &table.bands()[..2],
            link_count,
            rules: Rules {
                guard_mhz,
                ..Rules::default()
            },
        })
        .unwrap_err()
    };
    assert_eq!(refused(63, 0.1), PlanError::TooManyLinks { link_count: 65 });
    let error = refused(2, -0.1);
    assert_eq!(
        error.to_string(),
        "the guard is -0.1 MHz: it has to be 0 or more"
    );
    assert!(matches!(refused(2, f64::NAN), PlanError::Negative { .. }));
}
