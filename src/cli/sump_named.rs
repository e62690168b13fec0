//! The sump that a command line names.

use std::sync::Arc;

use crate::engine::SumpSetup;
use crate::settings::{Settings, nearest};

/// There is no such sump.
#[derive(Debug, thiserror::Error)]
#[error("there is no sump \"{found}\"; {offer}")]
pub struct NoSump {
    /// The name given, shortened when it is long.
    found: String,
    /// The nearest one, or all.
    offer: String,
}

/// The sumps of these names; all where none is named.
pub(super) fn sumps_named<'a>(
    settings: &'a Settings,
    names: &[String],
) -> Result<Vec<&'a Arc<SumpSetup>>, NoSump> {
    match names {
        [] => Ok(settings.sumps.iter().collect()),
        names => names
            .iter()
            .map(|name| sump_named(settings, name))
            .collect(),
    }
}

/// The sump of this name.
pub(super) fn sump_named<'a>(
    settings: &'a Settings,
    name: &str,
) -> Result<&'a Arc<SumpSetup>, NoSump> {
    let found = settings.sumps.iter().find(|sump| *sump.name == *name);
    found.ok_or_else(|| {
        let names = || settings.sumps.iter().map(|sump| &*sump.name);
        let offer = match nearest(name, names()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("there are: {}", names().collect::<Vec<_>>().join(", ")),
        };
        NoSump {
            found: name.chars().take(70).collect(),
            offer,
        }
    })
}
