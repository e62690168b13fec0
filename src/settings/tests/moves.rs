//! Rates of change, control charts and pumps that stand, as people write them.

use super::{read, told};
use crate::engine::{Charted, Direction, Priority, Rule, SumpSetup};
use crate::units::{Quantity, Span};

const PROBES: &str = "\
[sump.cell-a.channel.ph]
quantity = \"ph\"
topic = \"cells/a/ph\"
[sump.cell-a.channel.temperature]
quantity = \"temperature\"
topic = \"cells/a/temperature\"
[sump.cell-a.channel.conductivity]
quantity = \"conductivity\"
topic = \"cells/a/conductivity\"
[sump.cell-a.channel.level]
quantity = \"level\"
topic = \"cells/a/level\"
";

fn sump(extra: &str) -> SumpSetup {
    let settings = read(extra).unwrap_or_else(|e| panic!("{e}"));
    (*settings.sumps[0]).clone()
}

type Limits = Vec<(Quantity, Direction, f64, Span)>;

fn rates(sump: &SumpSetup) -> Limits {
    let rules = sump.rules.iter().filter_map(|setup| match &setup.rule {
        Rule::Rate(rate) => Some((rate.signal, rate.direction, rate.limit_per_hour, rate.over)),
        _ => None,
    });
    rules.collect()
}

fn charts(sump: &SumpSetup) -> Vec<(Charted, u16, f64, f64)> {
    let rules = sump.rules.iter().filter_map(|setup| match &setup.rule {
        Rule::Shifted(chart) => Some((
            chart.of,
            chart.run_in,
            chart.slack_sigmas,
            chart.limit_sigmas,
        )),
        _ => None,
    });
    rules.collect()
}

#[test]
fn what_is_measured_has_the_limits_that_the_trade_knows() {
    use Direction::{Falling, Rising};
    let (two, one) = (Span::from_hours(2), Span::from_hours(1));
    assert_eq!(
        rates(&sump(PROBES)),
        [
            (Quantity::Concentration, Falling, 0.5, two),
            (Quantity::Concentration, Rising, 0.5, two),
            (Quantity::Ph, Falling, 0.3, two),
            (Quantity::Ph, Rising, 0.3, two),
            (Quantity::Temperature, Rising, 10.0, one),
        ]
    );
    let bare = rates(&sump(""));
    assert!(bare.iter().all(|rate| rate.0 == Quantity::Concentration));
    assert_eq!(bare.len(), 2);
}

#[test]
fn a_rate_can_be_set_and_switched_off_each_way() {
    let extra = format!(
        "{PROBES}[sump.cell-a.rules]\nph_rate = false\n\
         concentration_rate = {{ falling = \"4.8 %/d\", rising = false, over = \"4 h\", priority = \"medium\" }}\n\
         conductivity_rate = {{ rising = \"0.2 mS/cm/h\" }}\n\
         level_rate = {{ falling = \"2 %/h\" }}\ntemperature_rate = false\n"
    );
    let sump = sump(&extra);
    let four = Span::from_hours(4);
    let found = rates(&sump);
    assert_eq!(found.len(), 3);
    let near = |(signal, direction, limit, over): (Quantity, Direction, f64, Span), right: f64| {
        assert!((limit - right).abs() < 1e-9, "{signal}: {limit}");
        assert_eq!(over, four);
        (signal, direction)
    };
    use Direction::{Falling, Rising};
    assert_eq!(near(found[0], 0.2), (Quantity::Concentration, Falling));
    assert_eq!(near(found[1], 200.0), (Quantity::Conductivity, Rising));
    // 2 % of 820 L.
    assert_eq!(near(found[2], 16.4), (Quantity::Volume, Falling));
    let rule = sump
        .rules
        .iter()
        .find(|one| matches!(one.rule, Rule::Rate(_)));
    assert_eq!(rule.unwrap().priority, Priority::Medium);
}

#[test]
fn charts_are_kept_of_ph_and_the_factor_and_of_concentration_where_it_is_written() {
    let ph = (Charted::Ph, 20, 1.5, 5.0);
    let factor = (Charted::RefractiveFactor, 3, 1.0, 5.0);
    assert_eq!(charts(&sump(PROBES)), [ph, factor]);
    let own = "[sump.cell-a.rules]\nconcentration_shifted = { run_in = 30, slack = 1.0, limit = 6 }\n\
               refractive_factor_shifted = false\n";
    let own = charts(&sump(own));
    assert_eq!(own, [(Charted::Concentration, 30, 1.0, 6.0)]);
}

#[test]
fn pumps_that_stand_are_told_where_shifts_are_known() {
    let after = |extra: &str| {
        let sump = sump(extra);
        sump.rules.iter().find_map(|setup| match setup.rule {
            Rule::PumpsStopped { after } => Some(after),
            _ => None,
        })
    };
    let shifts = "[shifts]\nweek = [\"mon-fri 06:00-22:00\"]\n";
    assert_eq!(after(""), None);
    assert_eq!(after(shifts), Some(Span::from_mins(30)));
    let off = format!("{shifts}[sump.cell-a.rules]\npumps_stopped = false\n");
    assert_eq!(after(&off), None);
    let own = format!("{shifts}[sump.cell-a.rules.pumps_stopped]\nafter = \"2 h\"\n");
    assert_eq!(after(&own), Some(Span::from_hours(2)));
}

#[test]
fn what_is_wrong_is_told() {
    told(
        "\
[sump.cell-a.rules]
ph_rate = { falling = \"0.3/h\" }
level_rate = { over = \"2 h\" }
[sump.cell-a.rules.concentration_rate]
falling = \"0.5 %\"
rising = \"0 %/h\"
over = \"10 min\"
[sump.cell-a.rules.refractive_factor_shifted]
run_in = 1
slack = -1
[sump.cell-a.rules.pumps_stopped]
after = \"5 s\"
",
        &[
            "z.toml:2:1: sump.cell-a.rules.ph_rate: this sump has no channel that measures ph, so its limits can never be watched",
            "z.toml:3:1: sump.cell-a.rules.level_rate: this sump has no channel that measures volume, so its limits can never be watched",
            "z.toml:5:11: sump.cell-a.rules.concentration_rate.falling: \"0.5 %\" is not a number; write it as a change and the time that it is over, as \"0.5 %/h\" (times: min, h, d)",
            "z.toml:6:10: sump.cell-a.rules.concentration_rate.rising: 0 %/h is not allowed; allowed is 0.001 %/h to 100 %/h",
            "z.toml:7:8: sump.cell-a.rules.concentration_rate.over: 10 min is not allowed; allowed is 1 h to 3 d",
            "z.toml:9:10: sump.cell-a.rules.refractive_factor_shifted.run_in: 1 is not allowed; allowed is 2 to 90",
            "z.toml:10:9: sump.cell-a.rules.refractive_factor_shifted.slack: -1 is not allowed; allowed is 0 to 10",
            "z.toml:12:9: sump.cell-a.rules.pumps_stopped.after: 5 s is not allowed; allowed is 1 min to 1 d",
        ],
    );
}

#[test]
fn a_rate_without_a_limit_is_told() {
    told(
        &format!("{PROBES}[sump.cell-a.rules.level_rate]\nover = \"2 h\"\n"),
        &[
            "z.toml:13:20: sump.cell-a.rules.level_rate.falling: is missing; write for example falling = \"2 %/h\"",
        ],
    );
}
