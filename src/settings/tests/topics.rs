//! Which topics channels take, by themselves and by template.

use super::{read, told};
use crate::settings::{Origin, Route};

fn topics_and_part(route: &Route) -> (Vec<&str>, Option<String>) {
    let Origin::Topic { topics, format, .. } = &route.origin else {
        panic!("{:?} is no topic", route.origin);
    };
    let topics = topics.iter().map(String::as_str).collect();
    (topics, format.part())
}

fn topics(route: &Route) -> Vec<&str> {
    topics_and_part(route).0
}

#[test]
fn a_channel_may_have_several_topics_of_which_none_is_taken_twice() {
    let settings = read("[sump.cell-a.channel.brix]\ntopic = [\"a/1\", \"b/+\"]\n").unwrap();
    assert_eq!(topics(&settings.routes[0]), ["a/1", "b/+"]);
    assert_eq!(
        read("[sump.cell-a.channel.brix]\ntopic = [\"a\"]\n").unwrap(),
        read("[sump.cell-a.channel.brix]\ntopic = \"a\"\n").unwrap()
    );
    told(
        "[sump.cell-a.channel.brix]\ntopic = [\"a/1\", \"a/#/b\", \"a/+\"]\n",
        &[
            "z.toml:2:17: sump.cell-a.channel.brix.topic[1]: in \"a/#/b\" the # does not stand alone in the last level; write for example plant/a/#",
        ],
    );
    told(
        "[sump.cell-a.channel.brix]\ntopic = [\"a/1\", \"a/+\"]\n",
        &[
            "z.toml:2:17: sump.cell-a.channel.brix.topic[1]: messages on \"a/+\" already go to sump.cell-a.channel.brix.topic[0]; give each channel messages of its own",
        ],
    );
    told(
        "[sump.cell-a.channel.brix]\ntopic = []\n",
        &[
            "z.toml:2:9: sump.cell-a.channel.brix.topic: is a list of one topic or more, found 0 items",
        ],
    );
}

#[test]
fn channels_without_a_topic_take_it_from_the_template() {
    let settings = read(
        "[broker.main.template]\ntopic = \"plant/{sump}/{channel}\"\npayload = \"json\"\nvalue = \"/v\"\n\
         [sump.cell-a.channel.ph]\nquantity = \"ph\"\n\
         [sump.cell-a.channel.t]\nquantity = \"temperature\"\npayload = \"number\"\n",
    )
    .unwrap();
    let all: Vec<_> = settings.routes.iter().flat_map(topics).collect();
    assert_eq!(all, ["cells/a/brix", "plant/cell-a/ph", "plant/cell-a/t"]);
    assert_eq!(settings.brokers[0].template.as_deref(), Some("plant/+/+"));
    let parts: Vec<_> = settings
        .routes
        .iter()
        .map(|route| topics_and_part(route).1)
        .collect();
    assert_eq!(parts, [None, Some("/v".to_owned()), None]);
}

#[test]
fn the_channel_may_stand_in_the_message_instead_of_the_topic() {
    let settings = read(
        "[broker.main.template]\ntopic = \"plant/{sump}\"\npayload = \"json\"\nvalue = \"/{channel}/v\"\n\
         [sump.cell-a.channel.ph]\nquantity = \"ph\"\n\
         [sump.cell-a.channel.t]\nquantity = \"temperature\"\n",
    )
    .unwrap();
    let parts: Vec<_> = settings.routes[1..].iter().map(topics_and_part).collect();
    let one = |part: &str| (vec!["plant/cell-a"], Some(part.to_owned()));
    assert_eq!(parts, [one("/ph/v"), one("/t/v")]);
}

#[test]
fn templates_that_can_mean_two_things_are_told() {
    let at = "broker.main.template.topic: ";
    for (topic, words) in [
        ("plant/sump-{sump}/{channel}", "\"sump-{sump}\" is neither"),
        ("plant/{machine}/{channel}", "\"{machine}\" is neither"),
        ("{sump}/{sump}/{channel}", "{sump} stands in it twice"),
        (
            "plant/{channel}",
            "it does not say where the sump's name stands",
        ),
        (
            "plant/{sump}",
            "all channels of a sump would read the same value",
        ),
        ("plant/{sump}/{channel}/#", "holds + or #"),
        (
            "sumpward/{sump}/{channel}",
            "takes in topics that we publish to",
        ),
    ] {
        let error = read(&format!("[broker.main.template]\ntopic = \"{topic}\"\n")).unwrap_err();
        let told = error.to_string();
        assert!(
            told.starts_with(&format!("z.toml:2:9: {at}")) && told.contains(words),
            "{topic}: {told}"
        );
        assert_eq!(error.mistakes.len(), 1, "{told}");
    }
}

#[test]
fn what_a_template_takes_in_is_no_filters_too() {
    told(
        "[broker.main.template]\ntopic = \"cells/{sump}/{channel}\"\n\
         [sump.cell-a.channel.ph]\nquantity = \"ph\"\ntopic = \"cells/+/acidity\"\n\
         [sump.cell-a.channel.t]\nquantity = \"temperature\"\ntopic = \"cells/cell-a/level\"\n\
         [sump.cell-a.channel.level]\nquantity = \"level\"\n",
        &[
            "z.toml:5:9: sump.cell-a.channel.ph.topic: messages on \"cells/+/acidity\" already go to broker.main.template.topic; give each channel messages of its own",
            "z.toml:8:9: sump.cell-a.channel.t.topic: messages on \"cells/cell-a/level\" already go to sump.cell-a.channel.level.topic; give each channel messages of its own",
        ],
    );
}
