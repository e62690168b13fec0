//! Calibrations as people write them down.

use super::{FLUID, PLANT, read, told, variables};
use crate::chemistry::{ConductivityProbe, Judgement};
use crate::engine::{Calibration, ChannelSetup};
use crate::settings::{Remarked, Scale, Settings, SettingsError};

const THERMOMETER: &str = "\
[sump.cell-a.channel.temperature]
quantity = \"temperature\"
topic = \"cells/a/temperature\"
";

/// A channel `x` of this quantity with this calibration, beside a thermometer.
fn channel(quantity: &str, calibration: &str) -> String {
    format!(
        "{THERMOMETER}[sump.cell-a.channel.x]\nquantity = \"{quantity}\"\ntopic = \"x\"\n\
         [sump.cell-a.channel.x.calibration]\n{calibration}\n"
    )
}

fn x(settings: &Settings) -> &ChannelSetup {
    let mut channels = settings.sumps[0].channels.iter();
    channels.find(|channel| &*channel.name == "x").unwrap()
}

fn read_x(quantity: &str, calibration: &str) -> (Settings, ChannelSetup) {
    let settings = read(&channel(quantity, calibration)).unwrap_or_else(|e| panic!("{e}"));
    let channel = x(&settings).clone();
    (settings, channel)
}

#[test]
fn an_electrode_is_read_in_buffers_by_salt_or_by_bottle() {
    let by_salt = "date = \"2026-03-02\"\ntemperature = \"25 °C\"\n\
                   points = [[\"phosphate\", \"-2.0 mV\"], [\"borax\", \"-136.5 mV\"]]";
    let by_bottle =
        "temperature = \"25 °C\"\npoints = [[6.865, \"-2.0 mV\"], [\"9.18 pH\", \"-0.1365 V\"]]";
    for written in [by_salt, by_bottle] {
        let (settings, channel) = read_x("ph", written);
        // The first case of tests/reference/ph_calibration_cases.csv.
        let Calibration::Electrode { electrode, .. } = channel.input.calibration else {
            panic!("{channel:?}");
        };
        assert!((electrode.slope_share() - 0.9821).abs() < 5e-5);
        assert!((electrode.offset().millivolts() - -9.843).abs() < 5e-4);
        assert_eq!(channel.input.temperature, Some(1), "after brix");
        assert_eq!(settings.remarks, []);
        let scale = &settings.routes[2].scale;
        assert!(matches!(scale, Scale::Line(line) if line.apply(-88.0) == -88.0));
    }
}

#[test]
fn what_an_electrode_reports_is_written_in_millivolts_or_volts() {
    let files = channel("ph", "offset = \"0 mV\"\nslope = \"100 %\"");
    let with_unit = files.replace("topic = \"x\"", "topic = \"x\"\nunit = \"V\"");
    let settings = read(&with_unit).unwrap();
    let scale = &settings.routes[2].scale;
    assert!(matches!(scale, Scale::Line(line) if line.apply(-0.088) == -88.0));
    let error = read(&with_unit.replace("\"V\"", "\"pH\"")).unwrap_err();
    assert!(error.to_string().contains("(allowed: mV, V)"), "{error}");
}

#[test]
fn a_worn_electrode_is_remarked_upon_and_not_refused() {
    let worn = "date = \"2026-03-02\"\ntemperature = \"25 °C\"\n\
                points = [[\"phosphate\", \"50 mV\"], [\"phthalate\", \"190 mV\"]]";
    let (settings, _) = read_x("ph", worn);
    let judged: Vec<_> = settings
        .remarks
        .iter()
        .filter_map(|remark| match remark.about {
            Remarked::Electrode(remark) => Some(remark.judgement()),
            _ => None,
        })
        .collect();
    assert_eq!(judged, [Judgement::Replace, Judgement::Watch]);
    assert_eq!(
        settings.remarks[1].to_string(),
        "z.toml:7:24: sump.cell-a.channel.x.calibration: calibrated 2026-03-02: the offset is \
         43.4 mV at pH 7, beyond what is good: clean the electrode, look to its reference and \
         calibrate again in fresh buffers"
    );
    assert_eq!(settings.remarks[2].about, Remarked::BuffersAside);
}

#[test]
fn check_tells_remarks_and_is_content() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("fluids")).unwrap();
    let worn = channel("ph", "offset = \"35 mV\"\nslope = \"98 %\"");
    for (name, text) in [
        ("plant.toml", PLANT),
        ("fluids/soluble-a.toml", FLUID),
        ("z.toml", &worn),
    ] {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let checked = crate::cli::check::check(folder.path(), variables(&[]));
    assert_eq!(checked.status, 0);
    let advice = checked
        .text
        .lines()
        .find(|line| line.starts_with("advice: "));
    let advice = advice.expect("there is advice");
    assert!(
        advice.contains("z.toml:7:24: sump.cell-a.channel.x.calibration: the offset is 35.0 mV"),
        "{advice}"
    );
    assert!(
        checked.text.ends_with("the settings are right\n"),
        "{}",
        checked.text
    );
}

#[test]
fn a_conductivity_instrument_is_what_its_unit_says() {
    let probe = |calibration: &str| match read_x("conductivity", calibration).1.input.calibration {
        Calibration::Probe(probe) => probe,
        other => panic!("{other:?}"),
    };
    let constant = probe("compensation = \"linear\"\ncell_constant = \"0.48 1/cm\"");
    assert!(
        matches!(constant, ConductivityProbe::Conductance(cell, _) if cell.constant().per_cm() == 0.48)
    );
    // 1278 µS/cm over 2556 µS, and the reading in a standard over its own value.
    let conductance = channel(
        "conductivity",
        "compensation = \"linear\"\nstandard = \"kcl-1413\"\nshown = \"2.556 mS\"\ntemperature = \"20 °C\"",
    )
    .replace("topic = \"x\"", "topic = \"x\"\nunit = \"mS\"");
    let settings = read(&conductance).unwrap();
    let Calibration::Probe(ConductivityProbe::Conductance(cell, _)) =
        x(&settings).input.calibration
    else {
        panic!("{settings:?}");
    };
    assert!((cell.constant().per_cm() - 0.5).abs() < 1e-12);
    let own = probe(
        "compensation = \"by_instrument\"\nstandard = \"1413 µS/cm\"\nshown = \"1400 µS/cm\"",
    );
    assert!(
        matches!(own, ConductivityProbe::Compensated(factor) if factor.get() == 1413.0 / 1400.0)
    );
    let plain = read_x("conductivity", "compensation = \"by_instrument\"").1;
    assert_eq!(plain.input.temperature, None);
    let (settings, _) = read_x(
        "conductivity",
        "compensation = \"iso7888\"\nstandard = \"kcl-1413\"\nshown = \"1300 µS/cm\"\ntemperature = \"25 °C\"",
    );
    let about = settings.remarks.iter().map(|remark| remark.about);
    assert!(matches!(
        about.collect::<Vec<_>>()[..],
        [Remarked::NaturalWater, Remarked::Probe(_)]
    ));
}

fn with_fluid(fluid: &str, calibration: &str) -> Result<Settings, SettingsError> {
    let extra = channel("brix", calibration);
    let files = [
        ("plant.toml", PLANT),
        ("fluids/soluble-a.toml", fluid),
        ("z.toml", &extra),
    ];
    Settings::from_texts(&files, variables(&[]))
}

#[test]
fn a_refractometer_takes_the_coefficient_of_the_fluid() {
    let fluid = format!("{FLUID}temperature_coefficient = \"-0.08 °Bx/K\"\n");
    let written = "compensation = \"per_kelvin\"\nzero = \"0.3 °Bx\"\ntemperature = \"20 °C\"\n\
                   span = [\"10.1 °Bx\", \"10 °Bx\"]";
    let settings = with_fluid(&fluid, written).unwrap();
    let Calibration::Refractometer(instrument) = x(&settings).input.calibration else {
        panic!("{settings:?}");
    };
    assert!(instrument.compensation().needs_temperature());
    assert_eq!(x(&settings).input.temperature, Some(1));
    let told = with_fluid(FLUID, written).unwrap_err().to_string();
    assert!(
        told.contains("the data sheet of soluble-a has no"),
        "{told}"
    );
    let wrong = format!("{FLUID}temperature_coefficient = \"0.08 °Bx/K\"\n");
    let told = with_fluid(&wrong, written).unwrap_err().to_string();
    assert!(told.contains("readings fall as it warms"), "{told}");
}

#[test]
fn a_second_compensation_is_refused_with_words() {
    let twice = "the instrument compensates for temperature itself (compensation = \
                 \"by_instrument\"), and to do so twice falsifies the reading; leave this out, or \
                 switch the instrument's own compensation off and write another compensation";
    let calibration = "compensation = \"by_instrument\"\ncoefficient = \"2 %/K\"\n\
                       temperature_channel = \"temperature\"";
    told(
        &channel("conductivity", calibration),
        &[
            &format!("z.toml:9:1: sump.cell-a.channel.x.calibration.coefficient: {twice}"),
            &format!("z.toml:10:1: sump.cell-a.channel.x.calibration.temperature_channel: {twice}"),
        ],
    );
    for (quantity, calibration) in [
        (
            "brix",
            "compensation = \"by_instrument\"\nzero = \"0.1 °Bx\"\ntemperature = \"20 °C\"",
        ),
        (
            "brix",
            "compensation = \"by_instrument\"\ntemperature_channel = \"temperature\"",
        ),
        (
            "conductivity",
            "compensation = \"by_instrument\"\nstandard = \"kcl-1413\"\nshown = \"1.4 mS/cm\"\ntemperature = \"20 °C\"",
        ),
    ] {
        let error = read(&channel(quantity, calibration)).unwrap_err();
        assert!(error.to_string().contains(twice), "{error}");
    }
}

#[test]
fn every_wrong_calibration_says_what_to_do() {
    let points = |points: &str| format!("temperature = \"25 °C\"\npoints = {points}");
    let cases = [
        ("ph", String::new(), "points: is missing; write for example points = "),
        ("ph", points("[[\"phosphate\", \"0 mV\"]]"), "takes 2 or 3 buffers; 1 are given"),
        (
            "ph",
            points("[[\"phosphate\", \"0 mV\"], [6.9, \"1 mV\"]]"),
            "two of the buffers are 6.865 pH and 6.900 pH",
        ),
        (
            "ph",
            points("[[\"phosphate\", \"-134 mV\"], [\"borax\", \"0 mV\"]]"),
            "the buffers are exchanged",
        ),
        (
            "ph",
            points("[[\"phosfate\", \"0 mV\"], [\"borax\", \"-134 mV\"]]"),
            "did you mean \"phosphate\"?",
        ),
        (
            "ph",
            points("[[\"phosphate\"], [\"borax\", \"-134 mV\"]]"),
            "is a list of a buffer and the reading in it",
        ),
        (
            "ph",
            points("[[\"carbonate\", \"-180 mV\"], [\"borax\", \"-134 mV\"]]\nbuffers = \"hj1147\""),
            "has no carbonate buffer",
        ),
        (
            "ph",
            "temperature = \"70 °C\"\npoints = [[\"phosphate\", \"0 mV\"], [\"borax\", \"-134 mV\"]]".into(),
            "from 0.0 °C to 60.0 °C, not at 70.0 °C",
        ),
        ("ph", "offset = \"0 mV\"\nslope = \"30 %\"".into(), "no electrode's"),
        ("ph", "offset = \"0 mV\"".into(), "slope: is missing"),
        (
            "ph",
            format!("{}\nslope = \"98 %\"", points("[]")),
            "write either points or offset and slope",
        ),
        (
            "ph",
            "offset = \"0 mV\"\nslope = \"98 %\"\nzero = \"0 °Bx\"".into(),
            "it is for quantity = \"brix\" only",
        ),
        (
            "ph",
            "offset = \"0 mV\"\nslope = \"98 %\"\ntemperature_channel = \"temprature\"".into(),
            "did you mean \"temperature\"?",
        ),
        (
            "ph",
            "offset = \"0 mV\"\nslope = \"98 %\"\ndate = \"last week\"".into(),
            "\"last week\" is not a date",
        ),
        ("conductivity", String::new(), "compensation: is missing"),
        (
            "conductivity",
            "compensation = \"by_instrument\"\ncell_constant = \"0.5 1/cm\"".into(),
            "conductance is never compensated",
        ),
        (
            "conductivity",
            "compensation = \"linear\"\ncoefficient = \"20 %/K\"".into(),
            "give 0.5 to 3.5 %/K",
        ),
        (
            "conductivity",
            "compensation = \"iso7888\"\ncoefficient = \"2 %/K\"".into(),
            "it is for compensation = \"linear\" only",
        ),
        (
            "conductivity",
            "compensation = \"linear\"\nstandard = \"kcl-1413\"\ntemperature = \"25 °C\"".into(),
            "shown: is missing",
        ),
        (
            "conductivity",
            "compensation = \"linear\"\nstandard = \"kcl-1413\"\nshown = \"14 mS/cm\"\ntemperature = \"25 °C\"".into(),
            "more than a factor of 2",
        ),
        (
            "conductivity",
            "compensation = \"linear\"\ncell_constant = \"500 1/cm\"".into(),
            "0.001 to 100 1/cm can be",
        ),
        (
            "conductivity",
            "compensation = \"linear\"\ncell_constant = \"1 1/cm\"\nstandard = \"kcl-1413\"".into(),
            "write either cell_constant or standard and shown",
        ),
        (
            "brix",
            "compensation = \"as_water\"\nzero = \"0.1 °Bx\"".into(),
            "temperature: is missing",
        ),
        (
            "brix",
            "compensation = \"by_instrument\"\nzero = \"4 °Bx\"".into(),
            "zero the instrument itself",
        ),
        (
            "brix",
            "compensation = \"by_instrument\"\nspan = [\"4 °Bx\", \"10 °Bx\"]".into(),
            "check the reference",
        ),
        ("level", String::new(), "it is for quantity = \"ph\", \"conductivity\" or \"brix\" only"),
    ];
    for (quantity, calibration, words) in cases {
        match read(&channel(quantity, &calibration)) {
            Ok(_) => panic!("{calibration} passes"),
            Err(error) => assert!(error.to_string().contains(words), "{calibration}\n{error}"),
        }
    }
}

#[test]
fn a_compensation_needs_a_thermometer() {
    let without = channel("ph", "offset = \"0 mV\"\nslope = \"98 %\"").replace(THERMOMETER, "");
    told(
        &without,
        &[
            "z.toml:4:24: sump.cell-a.channel.x.calibration: needs the temperature of the fluid, and \
             this sump has no channel that measures it; add one with quantity = \"temperature\", or \
             let the instrument do it",
        ],
    );
}
