//! What the crew does when it is told of a condition.

use sumpward::simulate::year::Channel;

/// What a person who is told of it goes to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Reaction {
    /// Read it by hand, look at machine and mixer, and give the dose advised.
    Dose,
    /// See to this instrument.
    Probe(Channel),
    /// Hold the refractometer against titration.
    Concentration,
    /// Look where fluid goes, or where water comes in.
    Leaks,
    /// Read the mixer's outlet and set it right.
    Mixer,
    /// Measure pH again, smell, take a slide.
    Sour,
    /// Have hardness and chloride measured, look which tap is used.
    Minerals,
    /// Look at the pumps.
    Pumps,
    /// Make the check that is due.
    Check,
    /// Take note.
    Nothing,
}

/// What this condition has the crew do.
pub(crate) fn reaction(condition: &str) -> Reaction {
    let parts: Vec<&str> = condition.split('.').collect();
    let channel = |name: &str| {
        let mut all = Channel::GAUGES.into_iter().chain([Channel::Pumps]);
        all.find(|one| one.name() == name)
    };
    let any = |words: &[&str]| parts.iter().any(|part| words.contains(part));
    if let ["silent" | "disagrees" | "instrument", name, ..] = parts[..]
        && let Some(channel) = channel(name)
    {
        return Reaction::Probe(channel);
    }
    if any(&["pumps", "standing", "pumps_stopped"]) {
        return Reaction::Pumps;
    }
    if any(&["overdue", "check", "check_overdue"]) {
        return Reaction::Check;
    }
    if any(&["mixer"]) {
        return Reaction::Mixer;
    }
    if any(&["minerals", "hardness", "chloride", "conductivity"]) {
        return Reaction::Minerals;
    }
    if any(&["souring", "nitrite", "bacteria", "ph_drop"]) || parts[0] == "ph" {
        return Reaction::Sour;
    }
    if any(&["ph"]) {
        return Reaction::Sour;
    }
    if any(&[
        "loss",
        "gain",
        "leak",
        "ingress",
        "departure",
        "unexplained",
        "movement",
    ]) {
        return Reaction::Leaks;
    }
    if any(&["methods", "factor", "refractive_factor", "tramp_oil", "oil"]) {
        return Reaction::Concentration;
    }
    if any(&["concentration", "volume", "brix", "level", "dose_missed"]) {
        return Reaction::Dose;
    }
    Reaction::Nothing
}
