//! What falls silent together is one alarm.

use super::*;

fn silences(bench: &Bench) -> Vec<(String, Transition, Vec<String>)> {
    let bodies = bench.journal().into_iter().map(|record| &record.body);
    let lines = bodies.filter_map(|body| match body {
        JournalBody::Alarm(line) => Some((
            line.condition.to_string(),
            line.transition,
            line.silent_with
                .iter()
                .map(|name| name.to_string())
                .collect(),
        )),
        _ => None,
    });
    let of_silence = lines.filter(|(condition, ..)| condition.starts_with("silent."));
    of_silence.collect()
}

fn annunciated(bench: &Bench) -> Vec<(String, Vec<String>)> {
    let silences = silences(bench).into_iter();
    let told = silences
        .filter(|(_, step, _)| matches!(step, Transition::Raised | Transition::Unsuppressed));
    told.map(|(condition, _, with)| (condition, with)).collect()
}

#[test]
fn a_device_with_two_channels_that_dies_is_told_of_once() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    let later = Event::Tick(minute(180));
    bench.watch.step(&later, &mut bench.effects);
    let with_level = vec!["level".to_owned()];
    assert_eq!(annunciated(&bench), [("silent.brix".into(), with_level)]);
    // One of them speaks again: the other is told of for itself.
    for m in 180..240 {
        bench.read(BRIX, minute(m), 4.2);
    }
    let told = annunciated(&bench);
    assert_eq!(told.len(), 2, "{told:?}");
    assert_eq!(told[1], ("silent.level".into(), vec![]));
}

#[test]
fn what_falls_silent_later_is_told_for_itself() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    for m in 60..70 {
        bench.read(LEVEL, minute(m), 0.9);
    }
    let later = Event::Tick(minute(180));
    bench.watch.step(&later, &mut bench.effects);
    let told = [
        ("silent.brix".into(), vec![]),
        ("silent.level".into(), vec![]),
    ];
    assert_eq!(annunciated(&bench), told);
}

#[test]
fn however_soon_a_plant_wants_to_hear_of_it() {
    let mut setup = (*setup()).clone();
    for channel in &mut setup.channels {
        channel.silent_after = Span::from_mins(2);
    }
    let mut bench = Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    };
    bench.run(0..60, 8.0, 900.0);
    let later = Event::Tick(minute(63));
    bench.watch.step(&later, &mut bench.effects);
    let with_level = vec!["level".to_owned()];
    assert_eq!(annunciated(&bench), [("silent.brix".into(), with_level)]);
}
