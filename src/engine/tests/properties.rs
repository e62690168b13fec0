//! What holds for any readings: restarts and ticks change nothing.

use proptest::prelude::*;

use super::*;

#[derive(Debug, Clone)]
struct Step {
    wait_secs: i64,
    channel: u16,
    value: f64,
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let step = (0i64..400, 0u16..2, 0f64..1.0).prop_map(|(wait_secs, channel, x)| Step {
        wait_secs,
        channel,
        value: if channel == BRIX {
            2.0 + 4.0 * x
        } else {
            0.6 + 0.4 * x
        },
    });
    prop::collection::vec(step, 1..300)
}

fn play(watch: &mut SumpWatch, time: &mut Timestamp, steps: &[Step], out: &mut Vec<Effect>) {
    for step in steps {
        *time = *time + Span::from_secs(step.wait_secs);
        watch.step(&reading(step.channel, *time, *time, step.value), out);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// A restart at any point changes nothing: the same effects, to the bit.
    #[test]
    fn goes_on_from_a_snapshot_as_if_nothing_had_happened(steps in steps(), cut in 0usize..300) {
        let cut = cut.min(steps.len());
        let mut whole = SumpWatch::new(setup(), ADMISSION, start());
        let (mut time, mut expected) = (start(), Vec::new());
        play(&mut whole, &mut time, &steps, &mut expected);

        let mut before = SumpWatch::new(setup(), ADMISSION, start());
        let (mut time, mut effects) = (start(), Vec::new());
        play(&mut before, &mut time, &steps[..cut], &mut effects);
        let text = serde_json::to_string(&before.snapshot()).unwrap();
        let mut after = SumpWatch::restore(setup(), ADMISSION, serde_json::from_str(&text).unwrap());
        play(&mut after, &mut time, &steps[cut..], &mut effects);
        prop_assert_eq!(effects, expected);
    }

    /// Ticks that were not due change nothing, however many come.
    #[test]
    fn needless_ticks_change_nothing(steps in steps()) {
        let mut plain = SumpWatch::new(setup(), ADMISSION, start());
        let mut ticked = plain.clone();
        let (mut expected, mut effects) = (Vec::new(), Vec::new());
        let mut time = start();
        for step in &steps {
            let next = time + Span::from_secs(step.wait_secs);
            let mut tick = time.ceil(GRID);
            while tick <= next {
                ticked.step(&Event::Tick(tick), &mut effects);
                tick = tick + Span::from_secs(20);
            }
            time = next;
            let event = reading(step.channel, time, time, step.value);
            plain.step(&event, &mut expected);
            ticked.step(&event, &mut effects);
        }
        prop_assert_eq!(effects, expected);
    }
}
