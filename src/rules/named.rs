//! From the name of a condition back to it.

use crate::model::Mineral;
use crate::units::Quantity;

use super::{Charted, Check, Condition, Direction, LimitLevel, PlanStep, Step};

impl Condition {
    /// The condition that is written so. Of those that are written alike, as a
    /// mineral's bound and a limit of it, any one.
    pub fn named(name: &str) -> Option<Condition> {
        fixed()
            .find(|one| one.to_string() == name)
            .or_else(|| about_something(name))
    }
}

/// Every condition that names nothing out of the settings.
fn fixed() -> impl Iterator<Item = Condition> {
    let signals = Quantity::ALL.into_iter().flat_map(|signal| {
        let limits = LimitLevel::ALL.into_iter().flat_map(move |level| {
            [
                Condition::Limit(signal, level),
                Condition::Ahead(signal, level),
            ]
        });
        let rates = Direction::ALL.map(|direction| Condition::Rate(signal, direction));
        limits.chain(rates)
    });
    let steps = [Step::Watch, Step::Act].into_iter().flat_map(|step| {
        let minerals = Mineral::ALL.map(|mineral| Condition::Mineral(mineral, step));
        let others = [Condition::Excess(step), Condition::Souring(step)];
        minerals.into_iter().chain(others)
    });
    let of_plan = [PlanStep::Watch, PlanStep::Act].into_iter();
    let of_plan = of_plan.flat_map(|step| [Condition::Nitrite(step), Condition::PhDrop(step)]);
    let charts = [
        Charted::Concentration,
        Charted::Ph,
        Charted::RefractiveFactor,
    ];
    let plain = [
        Condition::Loss,
        Condition::Gain,
        Condition::DoseMissed,
        Condition::Contradicted,
        Condition::Mixer,
        Condition::TrampOil,
        Condition::Factor,
        Condition::Disk,
        Condition::StartUp,
        Condition::PumpsStopped,
    ];
    signals
        .chain(steps)
        .chain(of_plan)
        .chain(charts.map(Condition::Shifted))
        .chain(Check::ALL.map(Condition::Overdue))
        .chain(plain)
}

/// A condition of something that has a name in the settings.
fn about_something(name: &str) -> Option<Condition> {
    let (kind, rest) = name.split_once('.')?;
    let of = match kind {
        "silent" => Condition::Silent,
        "disagrees" => Condition::Disagrees,
        "instrument" => Condition::Instrument,
        "own" => Condition::Own,
        "source" => Condition::Source,
        "stock" => Condition::Stock,
        "forward" => Condition::Forward,
        _ => return None,
    };
    Some(of(rest.into()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_is_found_by_how_it_is_written() {
        let named = [
            "silent.brix-2",
            "disagrees.ph",
            "instrument.brix",
            "own.too-warm",
            "source.main",
            "stock.a",
            "forward.archive",
        ];
        let named = named.map(|name| Condition::named(name).unwrap_or_else(|| panic!("{name}")));
        for condition in fixed().chain(named) {
            let name = condition.to_string();
            let found = Condition::named(&name).unwrap_or_else(|| panic!("{name}"));
            assert_eq!(found.to_string(), name);
        }
        for name in [
            "",
            "silent",
            "concentration",
            "concentration.middle",
            "ph.low.x",
        ] {
            assert_eq!(Condition::named(name), None, "{name}");
        }
        // Every kind is among them.
        let kinds = fixed().map(|condition| condition.kind());
        let kinds: std::collections::BTreeSet<&str> = kinds.collect();
        assert_eq!(kinds.len() + 7, 27);
    }
}
