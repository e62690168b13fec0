//! The crew's hands: actions done to the plant, and what is written down.

use crate::simulate::plant::{Fault, Plant, PlantError};

use super::{Crew, CrewAction, CrewEntry, CrewEntryKind, Task};

/// Who the entries are signed by.
const SIGNED: &str = "maintenance";

impl Crew {
    /// Does everything that is due by the plant's time, and gives the entries
    /// to be sent, in order.
    ///
    /// # Errors
    /// When the plant refuses an action, such as draining more than there is;
    /// what came before it is done.
    pub fn work(&mut self, plant: &mut Plant) -> Result<Vec<CrewEntry>, PlantError> {
        let mut entries = Vec::new();
        for action in self.due(plant.now()) {
            entries.push(self.carry_out(&action, plant)?);
        }
        Ok(entries)
    }

    /// Does one action at the plant's time, and gives the entry to be sent.
    ///
    /// # Errors
    /// When the plant refuses the action; nothing is done then.
    pub fn carry_out(
        &mut self,
        action: &CrewAction,
        plant: &mut Plant,
    ) -> Result<CrewEntry, PlantError> {
        let kind = self.do_task(action.sump, &action.task, plant)?;
        self.written += 1;
        Ok(CrewEntry {
            id: format!("crew-{}-{}", plant.now().millis(), self.written),
            time: plant.now(),
            sump: action.sump.to_owned(),
            by: SIGNED,
            kind,
        })
    }

    fn do_task(
        &mut self,
        sump: &str,
        task: &Task,
        plant: &mut Plant,
    ) -> Result<CrewEntryKind, PlantError> {
        Ok(match task {
            Task::Acknowledge { alarm } => CrewEntryKind::Acknowledge {
                alarm: alarm.clone(),
            },
            Task::HandReading => {
                let value = plant.hand_brix(sump)?;
                self.measured(sump, value, plant.now());
                CrewEntryKind::HandReading {
                    quantity: "brix",
                    value: value.degrees(),
                }
            }
            Task::RepairMixer => note(match plant.fix(sump, Fault::LeanDrift)? {
                true => {
                    "mixer had run out of concentrate and its float valve stuck: both set right"
                }
                false => "mixer checked: nothing found",
            }),
            Task::Drain { litres, advice } => {
                plant.drain(sump, *litres)?;
                CrewEntryKind::Event {
                    what: "drained",
                    litres: Some(*litres),
                    channel: None,
                    advice: Some(advice.clone()),
                }
            }
            Task::Add {
                litres,
                strength_pct,
                advice,
            } => {
                plant.add(sump, *litres, *strength_pct)?;
                addition(*litres, *strength_pct, advice)
            }
            Task::CleanProbe { channel } => {
                plant.clean_probe(sump, *channel)?;
                CrewEntryKind::Event {
                    what: "probe_cleaned",
                    litres: None,
                    channel: Some(channel.name()),
                    advice: None,
                }
            }
            Task::ReconnectProbe { channel } => {
                let name = channel.name();
                note(match plant.fix(sump, Fault::SilentChannel(*channel))? {
                    true => format!("cable of the {name} probe was loose: plugged in again"),
                    false => format!("cable of the {name} probe checked: nothing found"),
                })
            }
        })
    }
}

fn note(text: impl Into<String>) -> CrewEntryKind {
    CrewEntryKind::Note { text: text.into() }
}

fn addition(litres: f64, strength_pct: f64, advice: &str) -> CrewEntryKind {
    let premix = strength_pct > 0.0;
    CrewEntryKind::Addition {
        what: if premix { "premix" } else { "water" },
        litres,
        strength_pct: premix.then_some(strength_pct),
        advice: advice.to_owned(),
    }
}
