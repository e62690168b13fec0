use proptest::prelude::*;

use super::*;

/// Partial volumes, worked out twice; see the heads of the files.
const TABLES: [&str; 2] = [
    include_str!("../../tests/reference/tank_volumes.csv"),
    include_str!("../../tests/reference/tank_volumes_dished.csv"),
];

fn m(metres: f64) -> Length {
    Length::from_metres(metres)
}

fn litres(litres: f64) -> Volume {
    Volume::from_litres(litres)
}

/// The tank of one row; `D=1.2 L=2.0` names its dimensions in metres. Rows of
/// open-topped shapes give no height, so they get one above every level used.
fn tank(shape: &str, heads: &str, dimensions: &str) -> Vessel {
    let height = m(3.0);
    let number = |name: &str| -> f64 {
        let text = dimensions
            .split(' ')
            .find_map(|pair| pair.strip_prefix(name)?.strip_prefix('='));
        text.map_or(0.0, |text| text.parse().unwrap())
    };
    let get = |name: &str| m(number(name));
    let head = || match heads {
        "flat" => Head::Flat,
        "ellipsoidal_2to1" => Head::Ellipsoidal2To1,
        "hemispherical" => Head::Hemispherical,
        "torispherical" => Head::Dished(Dish::new(number("crown"), number("knuckle")).unwrap()),
        other => panic!("unknown heads {other}"),
    };
    match shape {
        "rectangular" => Vessel::rectangular(get("L"), get("W"), height),
        "rectangular_sloped_floor" => Vessel::sloped_floor(get("L"), get("W"), get("rise"), height),
        "horizontal_cylinder" => Vessel::horizontal_cylinder(get("D"), get("L"), head()),
        "vertical_cylinder" => Vessel::vertical_cylinder(get("D"), head(), height),
        "vertical_cone_bottom" | "vertical_truncated_cone_bottom" => {
            Vessel::cone_bottom(get("D"), get("cone_height"), get("outlet_d"), height)
        }
        other => panic!("unknown shape {other}"),
    }
    .unwrap()
}

#[test]
fn agrees_with_every_row_of_the_tables() {
    let mut rows = 0;
    for table in TABLES {
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(table.as_bytes());
        for row in reader.records() {
            let row = row.unwrap();
            let vessel = tank(&row[0], &row[1], &row[2]);
            let (level, want): (f64, f64) = (row[3].parse().unwrap(), row[4].parse().unwrap());
            let (_, decimals) = row[4].split_once('.').unwrap();
            let last_digit = 0.1f64.powi(decimals.len() as i32);
            let got = vessel.volume(m(level)).litres();
            assert!((got - want).abs() <= last_digit, "{row:?} gave {got}");
            let back = vessel.level_for(litres(want)).metres();
            assert!((back - level).abs() <= 1e-4, "{row:?} gave level {back}");
            rows += 1;
        }
    }
    assert_eq!(rows, 70 + 147);
}

#[test]
fn below_the_bottom_is_empty_and_above_the_top_full() {
    let vessel = Vessel::horizontal_cylinder(m(1.2), m(2.0), Head::Flat).unwrap();
    assert_eq!(vessel.volume(m(-0.1)).litres(), 0.0);
    assert_eq!(vessel.volume(m(9.0)), vessel.full_volume());
    assert_eq!(vessel.height(), m(1.2));
    assert_eq!(vessel.level_for(litres(-5.0)), m(0.0));
    assert_eq!(vessel.level_for(litres(1e6)), m(1.2));
}

#[test]
fn refuses_dimensions_that_make_no_tank() {
    let told = Vessel::rectangular(m(1.0), m(0.0), m(1.0)).unwrap_err();
    assert_eq!(
        told.to_string(),
        "the tank's width is 0.000 m; give a length above 0 m"
    );
    let told = Vessel::sloped_floor(m(1.0), m(1.0), m(0.8), m(0.6)).unwrap_err();
    assert!(
        told.to_string().contains("more than its height of 0.600 m"),
        "{told}"
    );
    assert!(Vessel::horizontal_cylinder(m(-1.0), m(1.0), Head::Flat).is_err());
    assert!(Vessel::cone_bottom(m(1.0), m(0.5), m(1.2), m(2.0)).is_err());
    assert!(Vessel::cone_bottom(m(1.0), m(0.5), m(-0.1), m(2.0)).is_err());
    assert!(Vessel::cone_bottom(m(1.0), m(2.5), m(0.0), m(2.0)).is_err());
    assert!(Vessel::vertical_cylinder(m(f64::NAN), Head::Flat, m(1.0)).is_err());
    let told = Vessel::vertical_cylinder(m(2.0), Head::Hemispherical, m(0.9)).unwrap_err();
    assert!(
        told.to_string()
            .contains("bottom depth is 1.000 m, more than its height of 0.900 m"),
        "{told}"
    );
}

fn any_head() -> impl Strategy<Value = Head> {
    prop_oneof![
        Just(Head::Flat),
        Just(Head::Ellipsoidal2To1),
        Just(Head::Hemispherical),
        (0.5f64..3.0, 0.001f64..0.499)
            .prop_map(|(crown, knuckle)| Head::Dished(Dish::new(crown, knuckle).unwrap())),
    ]
}

/// Tables whose rows may be close and whose volumes may stand still.
pub(super) fn any_table() -> impl Strategy<Value = StrappingTable> {
    let step = (0.001f64..0.5, prop_oneof![Just(0.0), 0.001f64..500.0]);
    (
        prop_oneof![Just(0.0), 0.0f64..50.0],
        prop::collection::vec(step, 1..40),
    )
        .prop_filter_map("a tank that holds nothing", |(first, steps)| {
            let mut points = vec![(m(0.0), litres(first))];
            for (rise, more) in steps {
                let (level, volume) = points[points.len() - 1];
                points.push((m(level.metres() + rise), litres(volume.litres() + more)));
            }
            StrappingTable::new(&points).ok()
        })
}

fn any_vessel() -> impl Strategy<Value = Vessel> {
    prop_oneof![
        6 => any_shape(),
        1 => any_table().prop_map(Vessel::Strapped),
    ]
}

/// A tank by its dimensions.
fn any_shape() -> impl Strategy<Value = Vessel> {
    let size = || 0.05f64..8.0;
    let share = || 0.01f64..1.0;
    prop_oneof![
        (size(), size(), size())
            .prop_map(|(l, w, h)| Vessel::rectangular(m(l), m(w), m(h)).unwrap()),
        (size(), size(), size(), share()).prop_map(|(l, w, h, s)| Vessel::sloped_floor(
            m(l),
            m(w),
            m(h * s),
            m(h)
        )
        .unwrap()),
        (size(), size(), any_head()).prop_map(|(d, l, heads)| Vessel::horizontal_cylinder(
            m(d),
            m(l),
            heads
        )
        .unwrap()),
        (size(), size(), share(), 0.0f64..1.0).prop_map(|(d, h, cone, outlet)| {
            Vessel::cone_bottom(m(d), m(h * cone), m(d * outlet), m(h)).unwrap()
        }),
        (size(), size(), any_head()).prop_map(|(d, h, bottom)| {
            Vessel::vertical_cylinder(m(d), bottom, m(h + 0.5 * d)).unwrap()
        }),
    ]
}

proptest! {
    #[test]
    fn volume_never_falls_as_the_level_rises(
        vessel in any_vessel(), a in -0.1f64..1.1, b in -0.1f64..1.1, close in any::<bool>(),
    ) {
        let top = vessel.height().metres();
        let b = if close { a + 1e-9 * b } else { b };
        let (low, high) = (a.min(b) * top, a.max(b) * top);
        let rise = vessel.volume(m(high)).litres() - vessel.volume(m(low)).litres();
        prop_assert!(rise >= -1e-9, "fell by {}", -rise);
    }

    #[test]
    fn level_for_is_the_inverse_of_volume(vessel in any_vessel(), share in 0.0f64..=1.0) {
        let (least, most) = (vessel.volume(m(0.0)).litres(), vessel.full_volume().litres());
        let volume = litres(least + share * (most - least));
        let level = vessel.level_for(volume);
        prop_assert!((vessel.volume(level).litres() - volume.litres()).abs() <= 1e-8);
    }

    #[test]
    fn the_surface_is_the_slope_of_the_volume(vessel in any_shape(), share in 0.05f64..0.95) {
        let top = vessel.height().metres();
        let (level, step) = (share * top, 1e-5 * top);
        let rise = vessel.volume(m(level + step)).litres() - vessel.volume(m(level - step)).litres();
        let slope = rise / (2.0 * step);
        prop_assert!((vessel.litres_per_metre(m(level)) / slope - 1.0).abs() < 1e-3);
    }
}
