//! The messages, word by word.

use super::{read, told, variables};
use crate::engine::{ChannelKind, LimitLevel, MeterOf, Priority};
use crate::settings::{Origin, PayloadFormat, Reports, Scale, SenmlName, Settings};
use crate::units::{Quantity, Span};

#[test]
fn little_is_enough_and_the_rest_has_defaults() {
    let settings = read("").unwrap();
    let broker = &settings.brokers[0];
    assert_eq!(broker.client_id, "sumpward-north-main");
    assert_eq!(
        (broker.port, broker.keep_alive),
        (1883, Span::from_secs(30))
    );
    assert_eq!(settings.entry_topic, "sumpward/north/entry");
    let sump = &settings.sumps[0];
    assert_eq!(
        (sump.window.0.percent(), sump.window.1.percent()),
        (7.0, 9.0)
    );
    assert!((sump.max_volume.litres() - 861.0).abs() < 1e-9);
    let limits: Vec<_> = sump
        .limits
        .iter()
        .map(|limit| (limit.signal, limit.level, limit.threshold, limit.priority))
        .collect();
    let c = Quantity::Concentration;
    assert_eq!(
        limits,
        [
            (c, LimitLevel::LowLow, 6.0, Priority::High),
            (c, LimitLevel::Low, 7.0, Priority::Medium),
            (c, LimitLevel::High, 9.0, Priority::Low),
            (c, LimitLevel::HighHigh, 10.0, Priority::Medium),
        ]
    );
    let names: Vec<_> = settings
        .series
        .iter()
        .map(|series| &*series.channel)
        .collect();
    assert_eq!(names, ["brix", "concentration", "volume"]);
    assert_eq!(sump.volume_series.0, 2);
}

#[test]
fn every_mistake_is_told_at_once_with_its_place() {
    let extra = "\
[broker.main]
prot = 1884
keep_alive = \"1 s\"
[sump.cell-a]
tagret = \"8 %\"
working_volume = 820
fluid = \"soluble-b\"
window = [\"9 %\", \"10 %\"]
[sump.cell-a.channel.brix]
smooth = \"5\"
topic = \"cells/#/brix\"
[sump.cell-a.channel.level]
quantity = \"levle\"
[sump.cell-a.limits.ph]
low = 8.7
[contact.night]
sumps = [\"cell-a\", \"cell-b\"]
";
    told(
        extra,
        &[
            "z.toml:2:1: broker.main.prot: there is no such setting; did you mean \"port\"?",
            "z.toml:3:14: broker.main.keep_alive: 1 s is not allowed; allowed is 5 s to 18 h",
            "z.toml:5:1: sump.cell-a.tagret: there is no such setting; did you mean \"target\"?",
            "z.toml:6:18: sump.cell-a.working_volume: \"820\" is not a volume: the unit is missing; write a number and a unit (allowed: L, l, mL, m3, m³, gal(US))",
            "z.toml:7:9: sump.cell-a.fluid: there is no fluid \"soluble-b\"; did you mean \"soluble-a\"?",
            "z.toml:8:10: sump.cell-a.window: a window from 9 % to 10 % is not allowed; allowed is one around the target of 8 %",
            "z.toml:10:10: sump.cell-a.channel.brix.smooth: \"5\" is not a length of time: the unit is missing; write a number and a unit (allowed: ms, s, min, h, d)",
            "z.toml:11:9: sump.cell-a.channel.brix.topic: in \"cells/#/brix\" the # does not stand alone in the last level; write for example plant/a/#",
            "z.toml:12:22: sump.cell-a.channel.level.topic: is missing; write for example topic = \"cell-a/refractometer\"",
            "z.toml:13:12: sump.cell-a.channel.level.quantity: \"levle\" is not one of them; did you mean \"level\"?",
            "z.toml:14:21: sump.cell-a.limits.ph: this sump has no channel that measures ph, so its limits can never be watched",
            "z.toml:17:20: contact.night.sumps[1]: there is no sump \"cell-b\"; did you mean \"cell-a\"?",
        ],
    );
}

#[test]
fn wrong_kinds_hide_nothing_else() {
    let extra = "\
sumps = 3
[broker.main]
port = \"many\"
receive_maximum = 70000
[sump.cell-a]
title = 5
limits = true
[sump.cell-a.dose]
turnovers = \"few\"
step = \"1 kg\"
[sump.cell-b]
[fluid.x]
factor = 1
points = [[\"1 °Bx\"]]
[[contact]]
topic = \"x\"
";
    told(
        extra,
        &[
            "z.toml:1:1: sumps: there is no such setting; did you mean \"sump\"?",
            "z.toml:3:8: broker.main.port: expected a whole number from 0 to 65535, found \"many\"",
            "z.toml:4:19: broker.main.receive_maximum: expected a whole number from 0 to 65535, found 70000",
            "z.toml:6:9: sump.cell-a.title: expected text in quotes, found 5",
            "z.toml:7:10: sump.cell-a.limits: expected a table, found true",
            "z.toml:9:13: sump.cell-a.dose.turnovers: expected a number, found \"few\"",
            "z.toml:10:8: sump.cell-a.dose.step: \"1 kg\" is not a volume: that is not one of its units; write a number and a unit (allowed: L, l, mL, m3, m³, gal(US))",
            "z.toml:11:7: sump.cell-b.fluid: is missing; write for example fluid = \"soluble-a\"",
            "z.toml:11:7: sump.cell-b.target: is missing; write for example target = \"8 %\"",
            "z.toml:11:7: sump.cell-b.vessel: is missing; write for example a table vessel with shape, length, width and height",
            "z.toml:11:7: sump.cell-b.working_volume: is missing; write for example working_volume = \"820 L\"",
            "z.toml:14:10: fluid.x.points: write either factor or points, not both",
            "z.toml:15:1: contact: expected a table, found a list",
        ],
    );
}

#[test]
fn a_broken_file_hides_nothing_in_the_others() {
    let files = [
        ("a.toml", "[plant\nname = 1\n"),
        (
            "b.toml",
            "[store]\nfolder = \"d\"\nfodler = 1\n[sump.x]\ntarget = 8\nfluid = \"y\"\n",
        ),
    ];
    let error = Settings::from_texts(&files, variables(&[])).unwrap_err();
    let lines: Vec<String> = error.mistakes.iter().map(ToString::to_string).collect();
    assert_eq!(lines.len(), 3, "{error}");
    assert!(lines[0].starts_with("a.toml:1:7: not TOML: "), "{error}");
    assert!(
        lines[1].starts_with("b.toml:3:1: store.fodler: "),
        "{error}"
    );
    assert!(
        lines[2].starts_with("b.toml:5:10: sump.x.target: "),
        "{error}"
    );
}

#[test]
fn no_message_may_mean_two_things() {
    let extra = "\
[messages]
entry_topic = \"cells/a/entry\"
[sump.cell-a.channel.level]
quantity = \"level\"
topic = \"cells/a/brix\"
[sump.cell-a.channel.ph]
quantity = \"ph\"
topic = \"cells/+/entry\"
[sump.cell-a.channel.t1]
quantity = \"temperature\"
topic = \"cells/a/all\"
payload = \"json\"
value = \"/t/1\"
[sump.cell-a.channel.t2]
quantity = \"temperature\"
topic = \"cells/a/all\"
payload = \"json\"
value = \"/t/2\"
[broker.second]
host = \"127.0.0.1\"
client_id = \"sumpward-north-main\"
";
    let extra = extra.replace("[messages]", "[messages]\nbroker = \"main\"");
    told(
        &extra,
        &[
            "z.toml:6:9: sump.cell-a.channel.level.topic: messages on \"cells/a/brix\" already go to sump.cell-a.channel.brix.topic; give each channel messages of its own",
            "z.toml:9:9: sump.cell-a.channel.ph.topic: messages on \"cells/+/entry\" already go to messages.entry_topic; give each channel messages of its own",
            "z.toml:22:13: broker.second.client_id: \"sumpward-north-main\" is also the client id at the same broker of broker.main; each would throw the other out",
        ],
    );
}

#[test]
fn limits_and_volumes_must_fit_each_other() {
    let extra = "\
[sump.cell-a]
max_volume = \"1000 L\"
[sump.cell-a.dose]
strongest_premix = \"7 %\"
[sump.cell-a.limits.concentration]
low = \"9.5 %\"
[sump.cell-a.channel.ph]
quantity = \"ph\"
topic = \"cells/a/ph\"
value = \"/x\"
plausible = [12, 4]
[sump.cell-a.limits.ph]
dead_band = 2
";
    told(
        extra,
        &[
            "z.toml:2:14: sump.cell-a.max_volume: 1000.0 L is not allowed; allowed is more than working_volume (820.0 L), at most what tank and lines hold (936.0 L)",
            "z.toml:4:20: sump.cell-a.dose.strongest_premix: 7 % is not allowed; allowed is more than the target of 8 %, up to 100 %",
            "z.toml:6:7: sump.cell-a.limits.concentration.low: low (9.5 %) must be below high (9 %)",
            "z.toml:10:1: sump.cell-a.channel.ph.value: has no effect: it is for payload = \"json\" only",
            "z.toml:11:13: sump.cell-a.channel.ph.plausible: the lowest plausible value (12 pH) must be below the highest (4 pH)",
            "z.toml:13:13: sump.cell-a.limits.ph.dead_band: dead_band (2 pH) must be below the room from low to high (0.9 pH)",
        ],
    );
}

#[test]
fn a_low_high_limit_of_level_makes_room_or_is_told() {
    let level = "[sump.cell-a.channel.level]\nquantity = \"level\"\ntopic = \"l\"\nunit = \"mm\"\n";
    let settings = read(&format!(
        "{level}[sump.cell-a.limits.level]\nlow = false\nhigh_high = \"900 L\"\n"
    ))
    .unwrap();
    let sump = &settings.sumps[0];
    assert_eq!(sump.max_volume.litres(), 900.0);
    let volumes: Vec<_> = sump
        .limits
        .iter()
        .filter(|limit| limit.signal == Quantity::Volume)
        .map(|limit| (limit.level, limit.threshold.round()))
        .collect();
    assert_eq!(
        volumes,
        [
            (LimitLevel::LowLow, 574.0),
            (LimitLevel::High, 836.0),
            (LimitLevel::HighHigh, 900.0),
        ]
    );
    let scale = &settings.routes[1].scale;
    assert!(matches!(scale, Scale::Line(line) if line.apply(35.0) == 0.035));
    told(
        &format!(
            "{level}[sump.cell-a]\nmax_volume = \"850 L\"\nlimits.level.high_high = \"860 L\"\n"
        ),
        &[
            "z.toml:7:26: sump.cell-a.limits.level.high_high: 860.0 L is not allowed; allowed is at most max_volume (850.0 L)",
        ],
    );
}

#[test]
fn a_misspelt_setting_is_told_once() {
    told(
        "[sump.b]\nfluid = \"soluble-a\"\ntargte = \"8 %\"\nworking_volume = \"1 L\"\n\
         vessel = { shape = \"rectangular\", hight = \"1 m\", width = \"1 m\", length = \"1 m\" }\n",
        &[
            "z.toml:3:1: sump.b.targte: there is no such setting; did you mean \"target\"?",
            "z.toml:5:35: sump.b.vessel.hight: there is no such setting; did you mean \"height\"?",
        ],
    );
}

#[test]
fn odd_names_and_passwords_hide_nothing_else() {
    let extra = "\
[broker.main]
password = \"open sesame\"
[sump.cell-a]
fluid = \"Soluble A\"
\"two words\" = 1
[contact.Night]
";
    let files = [
        ("plant.toml", super::PLANT),
        ("fluids/Soluble A.toml", super::FLUID),
        ("z.toml", extra),
    ];
    let error = Settings::from_texts(&files, variables(&[])).unwrap_err();
    assert_eq!(
        error.to_string(),
        "\
fluids/Soluble A.toml: \"Soluble A\" cannot be a name: it becomes part of topics, so it has 1 to 64 of a-z, 0-9, - and _
z.toml:2:1: broker.main.password: a password does not belong into a settings file, which people copy and print; write password_file = \"…\" or set SUMPWARD__BROKER__MAIN__PASSWORD
z.toml:4:9: sump.cell-a.fluid: there is no fluid \"Soluble A\"; there is none to choose from
z.toml:5:1: sump.cell-a: \"two words\" cannot be the name of a setting: only letters, digits, - and _ can
z.toml:6:10: contact.Night: \"Night\" cannot be a name: it becomes part of topics, so it has 1 to 64 of a-z, 0-9, - and _"
    );
}

#[test]
fn metrics_of_edge_nodes_are_told_what_they_lack() {
    let extra = "\
[sump.cell-a.channel.ph]
quantity = \"ph\"
payload = \"sparkplug\"
topic = \"x\"
node = \"gateway-1\"
device = \"a/b\"
[sump.cell-a.channel.level]
quantity = \"level\"
payload = \"sparkplug\"
node = \"hall-3/+\"
metric = \"\"
[sump.cell-a.channel.brix]
device = \"tank\"
[sump.cell-a.channel.t1]
quantity = \"temperature\"
payload = \"sparkplug\"
node = \"hall-3/gateway-1\"
metric = \"T\"
[sump.cell-a.channel.t2]
quantity = \"temperature\"
payload = \"sparkplug\"
node = \"hall-3/gateway-1\"
metric = \"T\"
";
    told(
        extra,
        &[
            "z.toml:1:22: sump.cell-a.channel.ph.metric: is missing; write for example metric = \"Fluid/Brix\"",
            "z.toml:4:1: sump.cell-a.channel.ph.topic: has no effect: it is for payloads other than \"sparkplug\" only",
            "z.toml:5:8: sump.cell-a.channel.ph.node: \"gateway-1\" is not allowed; allowed is the group and the name of an edge node, as hall-3/gateway-1",
            "z.toml:6:10: sump.cell-a.channel.ph.device: \"a/b\" is not allowed; allowed is the name of a device of the node, without /",
            "z.toml:10:8: sump.cell-a.channel.level.node: \"hall-3/+\" holds + or #, but one exact topic is needed here",
            "z.toml:11:10: sump.cell-a.channel.level.metric: \"\" is not allowed; allowed is the full name of a metric, of 1 to 1000 bytes",
            "z.toml:13:1: sump.cell-a.channel.brix.device: has no effect: it is for payload = \"sparkplug\" only",
            "z.toml:23:10: sump.cell-a.channel.t2.metric: \"T\" of the messages on \"spBv1.0/hall-3/NDATA/gateway-1\" already goes to sump.cell-a.channel.t1.metric; give each channel a part of its own",
        ],
    );
    let good = "[sump.cell-a.channel.ph]\nquantity = \"ph\"\npayload = \"sparkplug\"\n\
                node = \"hall-3/gateway-1\"\ndevice = \"tank\"\nmetric = \"Fluid/pH\"\n";
    let settings = read(good).unwrap();
    let Origin::Metric { metric, .. } = &settings.routes[1].origin else {
        panic!("{:?}", settings.routes);
    };
    let parts = (&*metric.group, &*metric.node, metric.device.as_deref());
    assert_eq!(parts, ("hall-3", "gateway-1", Some("tank")));
    let silent_after = settings.sumps[0].channels[1].silent_after;
    assert_eq!(
        silent_after,
        Span::from_hours(24),
        "it reports changes only"
    );
}

#[test]
fn meters_and_switches_are_told_what_they_lack() {
    let channel = |text: &str| format!("[sump.cell-a.channel.x]\ntopic = \"x\"\n{text}\n");
    for (text, words) in [
        (
            "quantity = \"metered\"\nof = \"premix\"",
            "strength = \"6 %\"",
        ),
        (
            "quantity = \"metered\"\nof = \"beer\"",
            "water, concentrate, premix",
        ),
        (
            "quantity = \"metered\"\nunit = \"L\"\nper_pulse = \"1 L\"",
            "counts pulses",
        ),
        (
            "quantity = \"brix\"\nper_pulse = \"1 L\"",
            "quantity = \"metered\"",
        ),
        (
            "quantity = \"brix\"\nrolls_over_at = 65536",
            "quantity = \"metered\"",
        ),
        ("quantity = \"brix\"\non = [\"on\"]", "quantity = \"state\""),
        (
            "quantity = \"state\"\non = [\"1\"]\noff = [\"1\"]",
            "stands for on already",
        ),
    ] {
        let error = read(&channel(text)).unwrap_err().to_string();
        assert!(error.contains(words), "{text}\n{error}");
    }
    let text = "quantity = \"metered\"\nper_pulse = \"0.5 L\"\nrolls_over_at = 65536";
    let settings = read(&channel(text)).unwrap();
    let channel = settings.sumps[0].channels.iter().find(|c| &*c.name == "x");
    let ChannelKind::Meter { counts, of, .. } = channel.unwrap().kind else {
        panic!("{channel:?}");
    };
    assert_eq!((counts.rolls_over_at, of), (Some(32_768.0), MeterOf::Water));
}

#[test]
fn what_messages_say_beside_the_value_must_fit_the_channel() {
    let channel = |text: &str| format!("[sump.cell-a.channel.x]\ntopic = \"x\"\n{text}\n");
    let brix = "quantity = \"brix\"\n";
    let pack = "payload = \"senml\"\n";
    let json = "payload = \"json\"\n";
    for (text, words) in [
        (
            format!("{brix}{pack}"),
            "x.name: is missing; write for example name = ",
        ),
        (format!("{brix}{pack}name = \"a b\""), "has ' ' in it"),
        (
            format!("{brix}{pack}name = \"/a\""),
            "must begin with a letter or digit",
        ),
        (
            format!("{brix}{pack}name = \"a\"\nvalue = \"/v\""),
            "value: has no effect: it is for payload = \"json\" only",
        ),
        (
            format!("{brix}{pack}name = \"a\"\ntime = \"/t\""),
            "time: has no effect",
        ),
        (
            format!("{brix}{pack}name = \"a\"\ntime_format = \"rfc3339\""),
            "time_format: has no effect",
        ),
        (
            format!("{brix}{pack}name = \"a\"\nunit_from = \"/u\""),
            "unit_from: has no effect",
        ),
        (
            format!("{brix}{pack}name = \"a\"\nstatus = \"/s\""),
            "status: has no effect",
        ),
        (
            format!("{brix}{json}name = \"a\""),
            "name: has no effect: it is for payload = \"senml\" only",
        ),
        (format!("{brix}name = \"a\""), "name: has no effect"),
        (
            format!("{brix}{json}status = \"/s\""),
            "status_good: is missing",
        ),
        (
            format!("{brix}{json}status = \"/s\"\nstatus_good = []"),
            "status_good: is a list of one word or more",
        ),
        (
            format!("{brix}{json}status_good = [0]"),
            "it is for messages with status",
        ),
        (
            format!("{brix}{json}status = \"s\"\nstatus_good = [0]"),
            "status: \"s\" is no JSON Pointer",
        ),
        (
            format!("{brix}{json}unit_from = \"u\""),
            "unit_from: \"u\" is no JSON Pointer",
        ),
        (
            format!("quantity = \"state\"\n{json}unit_from = \"/u\""),
            "which a state has not",
        ),
        (
            format!("quantity = \"metered\"\nper_pulse = \"1 L\"\n{json}unit_from = \"/u\""),
            "with it the number counts pulses",
        ),
    ] {
        let error = read(&channel(&text)).unwrap_err().to_string();
        assert!(error.contains(words), "{text}\n{error}");
    }
}

#[test]
fn several_channels_of_one_pack_need_a_name_each() {
    let channel = |name: &str, of: &str| {
        format!(
            "[sump.cell-a.channel.{name}]\nquantity = \"ph\"\ntopic = \"t\"\npayload = \"senml\"\nname = \"{of}\"\n"
        )
    };
    let settings = read(&[channel("x", "m/x"), channel("y", "m/y")].concat()).unwrap();
    let formats: Vec<_> = settings.routes[1..]
        .iter()
        .map(|route| match &route.origin {
            Origin::Topic { format, .. } => format.clone(),
            other => panic!("{other:?} is no topic"),
        })
        .collect();
    let senml = |name| PayloadFormat::Senml {
        name: SenmlName::new("", name).unwrap(),
        reports: Reports::Quantity(Quantity::Ph),
    };
    assert_eq!(formats, [senml("m/x"), senml("m/y")]);
    told(
        &[channel("x", "m/x"), channel("y", "m/x")].concat(),
        &[
            "z.toml:8:9: sump.cell-a.channel.y.topic: \"m/x\" of the messages on \"t\" already goes to sump.cell-a.channel.x.topic; give each channel a part of its own",
        ],
    );
}
