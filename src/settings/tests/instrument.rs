//! How instruments are watched, as people write it down.

use super::read;
use crate::engine::{ChannelKind, ChannelSetup, InstrumentSetup, Probe, SwitchOf};
use crate::units::Span;

fn text(keys: &str) -> String {
    format!("[sump.cell-a.channel.x]\ntopic = \"x\"\n{keys}\n")
}

fn x(keys: &str) -> ChannelSetup {
    let settings = read(&text(keys)).unwrap_or_else(|e| panic!("{keys}\n{e}"));
    let mut channels = settings.sumps[0].channels.iter();
    channels.find(|one| &*one.name == "x").unwrap().clone()
}

#[test]
fn what_is_not_written_has_its_default() {
    let usual = InstrumentSetup {
        frozen_after: Some(Span::from_hours(6)),
        noise_limit: None,
        uncertainty: 0.1,
        spike_share: 0.2,
        function_check: Span::from_mins(15),
        probe: Probe::Other,
    };
    assert_eq!(x("quantity = \"ph\"").instrument, usual);
    let level = x("quantity = \"level\"").instrument;
    assert_eq!((level.probe, level.uncertainty), (Probe::Surface, 0.005));
}

#[test]
fn what_is_written_holds() {
    let written = "quantity = \"temperature\"\nfrozen_after = \"12 h\"\nnoise_limit = \"0.5 K\"\n\
                   spike_share = \"35 %\"\nfunction_check = \"1 h\"\nuncertainty = \"0.2 K\"";
    let set = InstrumentSetup {
        frozen_after: Some(Span::from_hours(12)),
        noise_limit: Some(0.5),
        uncertainty: 0.2,
        spike_share: 0.35,
        function_check: Span::from_hours(1),
        probe: Probe::Other,
    };
    assert_eq!(x(written).instrument, set);
    let never = x("quantity = \"ph\"\nfrozen_after = false");
    assert_eq!(never.instrument.frozen_after, None);
}

#[test]
fn what_cannot_be_is_told_with_its_key() {
    for (keys, key) in [
        ("frozen_after = \"5 min\"", "frozen_after"),
        ("frozen_after = \"40 d\"", "frozen_after"),
        ("noise_limit = \"0 °Bx\"", "noise_limit"),
        ("noise_limit = \"1 K\"", "noise_limit"),
        ("spike_share = \"60 %\"", "spike_share"),
        ("function_check = \"2 d\"", "function_check"),
        ("of = \"pumps\"", "\"metered\" or quantity = \"state\""),
    ] {
        let keys = format!("quantity = \"brix\"\n{keys}");
        let error = read(&text(&keys)).unwrap_err().to_string();
        assert!(error.contains(key), "{keys}\n{error}");
    }
}

#[test]
fn a_state_may_be_of_the_pumps() {
    let kind = |keys: &str| x(&format!("quantity = \"state\"\n{keys}")).kind;
    let of = |of| ChannelKind::Switch { of };
    assert_eq!(kind("of = \"pumps\""), of(SwitchOf::Pumps));
    assert_eq!(kind("of = \"other\""), of(SwitchOf::Other));
    assert_eq!(kind(""), of(SwitchOf::Other));
    let keys = "quantity = \"state\"\nof = \"water\"";
    let error = read(&text(keys)).unwrap_err().to_string();
    assert!(error.contains("pumps, other"), "{error}");
}
