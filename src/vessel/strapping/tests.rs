use proptest::prelude::*;

use super::*;
use crate::vessel::tests::any_table;
use crate::vessel::{Head, Vessel};

fn points(rows: &[(f64, f64)]) -> Vec<(Length, Volume)> {
    let point =
        |&(level, volume): &(f64, f64)| (Length::from_metres(level), Volume::from_litres(volume));
    rows.iter().map(point).collect()
}

fn told(rows: &[(f64, f64)]) -> String {
    StrappingTable::new(&points(rows)).unwrap_err().to_string()
}

#[test]
fn passes_through_every_point() {
    let rows = [
        (0.0, 12.0),
        (0.1, 80.0),
        (0.35, 80.0),
        (0.4, 300.0),
        (0.9, 310.0),
    ];
    let table = StrappingTable::new(&points(&rows)).unwrap();
    for (level, volume) in rows {
        assert!((1000.0 * table.volume(level) - volume).abs() < 1e-9);
    }
    assert_eq!(table.height(), 0.9);
    let vessel = Vessel::Strapped(table);
    // Between two equal volumes there is nothing to rise.
    assert!((vessel.volume(Length::from_metres(0.2)).litres() - 80.0).abs() < 1e-9);
    assert_eq!(vessel.litres_per_metre(Length::from_metres(0.2)), 0.0);
    assert_eq!(
        vessel.level_for(Volume::from_litres(5.0)),
        Length::default()
    );
    assert_eq!(vessel.volume(Length::from_metres(-1.0)).litres(), 12.0);
}

#[test]
fn two_points_are_a_box_and_evenly_spaced_ones_stay_straight() {
    for rows in [
        vec![(0.0, 0.0), (0.8, 800.0)],
        vec![(0.0, 0.0), (0.1, 100.0), (0.5, 500.0), (0.8, 800.0)],
    ] {
        let table = StrappingTable::new(&points(&rows)).unwrap();
        for level in [0.0, 0.03, 0.1, 0.42, 0.8] {
            assert!((table.volume(level) - level).abs() < 1e-12);
            assert!((table.surface(level) - 1.0).abs() < 1e-12);
        }
    }
}

/// A parabola, worked out by hand: V = h² at 0, 1, 2 and 3 has the slopes 0, 2,
/// 4 and 6, none of which needs to be limited, so that the table is exact.
#[test]
fn a_parabola_is_exact() {
    let rows = [(0.0, 0.0), (1.0, 1000.0), (2.0, 4000.0), (3.0, 9000.0)];
    let table = StrappingTable::new(&points(&rows)).unwrap();
    for level in [0.0, 0.3, 0.5, 1.7, 2.2, 3.0] {
        assert!((table.volume(level) - level * level).abs() < 1e-12);
        assert!((table.surface(level) - 2.0 * level).abs() < 1e-12);
    }
}

/// The reason for a cubic: a lying cylinder of 1.2 m strapped every 100 mm.
#[test]
fn between_points_it_is_nearer_to_the_tank_than_straight_lines() {
    let m = Length::from_metres;
    let tank = Vessel::horizontal_cylinder(m(1.2), m(2.0), Head::Flat).unwrap();
    let levels = (0..=12).map(|step| m(0.1 * f64::from(step)));
    let strapped: Vec<_> = levels.map(|level| (level, tank.volume(level))).collect();
    let table = Vessel::Strapped(StrappingTable::new(&strapped).unwrap());
    let (mut cubic, mut straight) = (0f64, 0f64);
    for pair in strapped.windows(2) {
        let middle = m(0.5 * (pair[0].0.metres() + pair[1].0.metres()));
        let truth = tank.volume(middle).litres();
        let mean = 0.5 * (pair[0].1.litres() + pair[1].1.litres());
        cubic = cubic.max((table.volume(middle).litres() - truth).abs());
        straight = straight.max((mean - truth).abs());
    }
    assert!(cubic < 0.5 * straight, "{cubic} L against {straight} L");
}

#[test]
fn tells_what_makes_no_table() {
    for (rows, expected) in [
        (
            &[(0.0, 0.0)][..],
            "the table has 1 points; it needs 2 to 500",
        ),
        (
            &[(0.1, 0.0), (0.2, 5.0)],
            "the table begins at 0.100 m; begin it with the volume at 0 m, the lowest inside \
             point, or what is below would be a guess",
        ),
        (
            &[(0.0, -1.0), (0.2, 5.0)],
            "row 1 says -1.0 L; a tank holds 0 L or more",
        ),
        (
            &[(0.0, 0.0), (0.2, 5.0), (0.2, 6.0)],
            "row 3 says 0.200 m after 0.200 m; put the rows in order, each level once",
        ),
        (
            &[(0.0, 0.0), (0.2, 5.0), (0.3, 4.0)],
            "row 3 says 4.0 L after 5.0 L; a fuller tank does not hold less",
        ),
        (
            &[(0.0, 5.0), (0.2, 5.0)],
            "the table says 5.0 L at every level; a tank holds more when it is fuller",
        ),
        (
            &[(0.0, 0.0), (f64::NAN, 5.0)],
            "row 2 holds what is no finite number; measure it again",
        ),
    ] {
        assert_eq!(told(rows), expected);
    }
    let many: Vec<_> = (0..501)
        .map(|row| (f64::from(row), f64::from(row)))
        .collect();
    assert!(told(&many).starts_with("the table has 501 points"));
    assert!(StrappingTable::new(&points(&many[..500])).is_ok());
}

proptest! {
    /// In a piece the surface is a parabola, which Simpson's rule integrates
    /// exactly.
    #[test]
    fn the_surface_is_the_slope_of_the_volume(
        table in any_table(), piece in any::<prop::sample::Index>(), a in 0.0f64..1.0, b in 0.0f64..1.0,
    ) {
        let place = piece.index(table.knots.len() - 1);
        let (low, high) = (table.knots[place], table.knots[place + 1]);
        let at = |share: f64| low.level + share * (high.level - low.level);
        let (from, to) = (at(a.min(b)), at(a.max(b)));
        let sum = table.surface(from) + 4.0 * table.surface(0.5 * (from + to)) + table.surface(to);
        let rise = table.volume(to) - table.volume(from);
        prop_assert!((sum * (to - from) / 6.0 - rise).abs() <= 1e-9 * (high.volume - low.volume) + 1e-13);
    }
}
