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

/// The sump with every rule that remembers readings.
fn remembering() -> Arc<SumpSetup> {
    let mut setup = (*setup()).clone();
    let rate = |direction| {
        Rule::Rate(RateRule {
            signal: Quantity::Concentration,
            direction,
            limit_per_hour: 0.2,
            over: Span::from_hours(1),
        })
    };
    let chart = Rule::Shifted(ChartRule {
        of: Charted::Concentration,
        run_in: 2,
        slack_sigmas: 0.1,
        limit_sigmas: 1.0,
    });
    let rules = Direction::ALL.map(rate).into_iter().chain([chart]);
    setup.rules = rules
        .map(|rule| RuleSetup {
            rule,
            priority: Priority::Low,
            manner: AlarmManner::default(),
        })
        .collect();
    Arc::new(setup)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// A restart at any point changes nothing: the same effects, to the bit.
    #[test]
    fn goes_on_from_a_snapshot_as_if_nothing_had_happened(steps in steps(), cut in 0usize..300) {
        let cut = cut.min(steps.len());
        let mut whole = SumpWatch::new(remembering(), ADMISSION, start());
        let (mut time, mut expected) = (start(), Vec::new());
        play(&mut whole, &mut time, &steps, &mut expected);

        let mut before = SumpWatch::new(remembering(), ADMISSION, start());
        let (mut time, mut effects) = (start(), Vec::new());
        play(&mut before, &mut time, &steps[..cut], &mut effects);
        let text = serde_json::to_string(&before.snapshot()).unwrap();
        let mut after = SumpWatch::restore(remembering(), ADMISSION, serde_json::from_str(&text).unwrap());
        play(&mut after, &mut time, &steps[cut..], &mut effects);
        prop_assert_eq!(effects, expected);
    }

    /// Ticks that were not due change nothing, however many come.
    #[test]
    fn needless_ticks_change_nothing(steps in steps()) {
        let mut plain = SumpWatch::new(remembering(), ADMISSION, start());
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
