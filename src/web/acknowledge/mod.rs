//! The page that the link in a message leads to: shows the alarm, and has it
//! acknowledged by a button.
//!
//! | what | answer |
//! | --- | --- |
//! | `GET /acknowledge/TOKEN` of an alarm that asks, or was acknowledged | 200, how it stands; with the button where it asks |
//! | `POST /acknowledge`, `token` in the form | 200 once it is on the disk; 200 too when this link has done it before |
//! | one that somebody else acknowledged before (POST), that is over, set aside, or has come again since | 409 |
//! | no token | 400 |
//! | a token that is not ours or was changed, or of somebody who is no contact any more | 403 |
//! | of an alarm that the journal does not know | 404 |
//! | of an expired token | 410 |
//! | the store cannot be asked, or it is not known whether it was written down | 503 |
//!
//! # What was thought of
//!
//! - **Opening is not pressing.** Mail scanners, previews and browsers open
//!   links. GET and HEAD read the journal and write nothing. The button is a form
//!   that posts; there is no script that could press it.
//! - **Once.** A ticket makes one entry, whose id is worked out from it. The
//!   engine takes an entry of one id once, and asks the journal for what it has
//!   forgotten itself; the entry is what remembers that the link was used, in the
//!   transaction of the acknowledgement. A kill in between leaves both or neither.
//! - **The right one.** The alarm's id holds when it was raised. What is over, or
//!   has come again, is not acknowledged by an old link, not even where that
//!   happens between looking and pressing: the engine compares the ids.
//! - **Forged requests of other sites** (CSRF) need the token, and who has the
//!   token needs no other site: there are no cookies and no logins to ride on.
//!   The policy lets the page post to its own origin only, and no site frame it.
//! - **Replay** does nothing twice. A token read on its way (a log of a proxy, a
//!   shoulder) lets its reader acknowledge this one alarm in its receiver's name
//!   until it expires, and nothing else; the address of the page is sent on to
//!   nobody (`no-referrer`), kept in no cache, and in no log of ours.
//! - **Guessing**: 128 bits of a MAC, compared in constant time, before anything
//!   else is looked at or said.

mod look;
mod page;

use std::path::PathBuf;
use std::sync::Arc;

use axum::extract::rejection::FormRejection;
use axum::extract::{Form as Posted, Path, State};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_SECURITY_POLICY, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Router, body::Body};
use serde::Deserialize;

use super::mishaps::{Mishap, Mishaps};
use crate::engine::{Entry, EntryKind, PLANT};
use crate::ingest::EntryOutcome;
use crate::ingest::control::EntryDoor;
use crate::notify::link::{Links, Ticket, TokenError};
use crate::notify::{About, Reader, Texts};
use crate::settings::{Contact, Settings};
use crate::store::StoreError;
use crate::units::Timestamp;

use look::{Look, Named, Stands};
use page::{Form, POLICY, Page};

/// What the page needs.
pub struct Acknowledge {
    /// The plant.
    pub settings: Arc<Settings>,
    /// Reads the links.
    pub links: Links,
    /// The words.
    pub texts: Texts,
    /// Takes the acknowledgement.
    pub door: EntryDoor,
    /// Counts links that are none.
    pub mishaps: Mishaps,
    /// The clock.
    pub clock: Arc<dyn Fn() -> Timestamp + Send + Sync>,
}

/// The page.
pub fn routes(acknowledge: Acknowledge) -> Router {
    Router::new()
        .route("/acknowledge/{token}", get(show))
        .route("/acknowledge", post(press))
        .with_state(Arc::new(acknowledge))
}

/// What comes of a request: a status and a page.
type Answer = (StatusCode, Box<Page>);

#[derive(Deserialize)]
struct Asked {
    token: String,
}

async fn show(State(desk): State<Arc<Acknowledge>>, Path(token): Path<String>) -> Response {
    let answer = match desk.admit(&token) {
        Err(refused) => refused,
        Ok(admitted) => match desk.look(&admitted).await {
            Err(refused) => refused,
            Ok(seen) => desk.seen(&admitted, &seen, &token),
        },
    };
    written(answer)
}

async fn press(
    State(desk): State<Arc<Acknowledge>>,
    form: Result<Posted<Asked>, FormRejection>,
) -> Response {
    let answer = match form {
        Ok(Posted(asked)) => desk.press(&asked.token).await,
        Err(_) => {
            desk.mishaps.tell(Mishap::BadLink);
            desk.refusal(StatusCode::BAD_REQUEST, "page.unreadable", None)
        }
    };
    written(answer)
}

fn written((status, page): Answer) -> Response {
    let headers = [
        (CONTENT_TYPE, "text/html; charset=utf-8".to_owned()),
        (CONTENT_SECURITY_POLICY, POLICY.clone()),
    ];
    (status, headers, Body::from(page.html())).into_response()
}

/// Somebody with a good token.
struct Admitted<'a> {
    ticket: Ticket,
    contact: &'a Contact,
    named: Named,
    /// Place of the sump; the plant stands behind the last.
    place: usize,
}

/// What was found about an alarm.
struct Seen {
    look: Look,
    /// Whether this link has done its work.
    used: bool,
}

impl Acknowledge {
    /// Who comes with this token, and about what.
    fn admit(&self, token: &str) -> Result<Admitted<'_>, Answer> {
        let ticket = self.links.read(token, (self.clock)()).map_err(|error| {
            let (status, key) = match error {
                TokenError::Unreadable => (StatusCode::BAD_REQUEST, "page.unreadable"),
                TokenError::Forged => (StatusCode::FORBIDDEN, "page.forged"),
                TokenError::Expired => (StatusCode::GONE, "page.expired"),
            };
            if error != TokenError::Expired {
                self.mishaps.tell(Mishap::BadLink);
            }
            self.refusal(status, key, None)
        })?;
        let mut contacts = self.settings.contacts.iter();
        let contact = contacts.find(|contact| *contact.name == *ticket.contact);
        let contact =
            contact.ok_or_else(|| self.refusal(StatusCode::FORBIDDEN, "page.forged", None))?;
        let unknown = || self.refusal(StatusCode::NOT_FOUND, "page.unknown", Some(contact));
        let named = Named::read(&ticket.alarm).ok_or_else(unknown)?;
        let mut sumps = self.settings.sumps.iter();
        let place = match sumps.position(|sump| *sump.name == *named.sump) {
            Some(place) => place,
            None if named.sump == PLANT => self.settings.sumps.len(),
            None => return Err(unknown()),
        };
        Ok(Admitted {
            ticket,
            contact,
            named,
            place,
        })
    }

    /// How the alarm stands.
    async fn look(&self, admitted: &Admitted<'_>) -> Result<Seen, Answer> {
        let folder: PathBuf = self.settings.store.folder.clone();
        let (named, id) = (admitted.named.clone(), admitted.ticket.alarm.clone());
        let entry = self.links.entry_id(&admitted.ticket);
        let asked = tokio::task::spawn_blocking(move || -> Result<_, StoreError> {
            let reader = crate::store::Reader::open(&folder)?;
            let used = reader.has_entry(&named.sump, &entry)?;
            let look = look::look(&reader, &id, &named)?;
            Ok(look.map(|look| Seen { look, used }))
        });
        let contact = Some(admitted.contact);
        match asked.await {
            Ok(Ok(Some(seen))) => Ok(seen),
            Ok(Ok(None)) => Err(self.refusal(StatusCode::NOT_FOUND, "page.unknown", contact)),
            Ok(Err(error)) => {
                self.mishaps.tell(Mishap::LateAnswer);
                tracing::debug!("an alarm cannot be looked up for a page: {error}");
                Err(self.refusal(StatusCode::SERVICE_UNAVAILABLE, "page.later", contact))
            }
            Err(_) => Err(self.refusal(StatusCode::SERVICE_UNAVAILABLE, "page.later", contact)),
        }
    }

    async fn press(&self, token: &str) -> Answer {
        let admitted = match self.admit(token) {
            Ok(admitted) => admitted,
            Err(refused) => return refused,
        };
        let before = match self.look(&admitted).await {
            Ok(seen) => seen,
            Err(refused) => return refused,
        };
        if before.used || before.look.stands != Stands::Asks {
            return self.pressed_in_vain(&admitted, &before);
        }
        let entry = Entry {
            id: self.links.entry_id(&admitted.ticket),
            time: (self.clock)(),
            sump: admitted.named.sump.clone(),
            by: Some(format!("{} (link)", admitted.contact.name)),
            supersedes: None,
            kind: EntryKind::Acknowledge {
                alarm: admitted.ticket.alarm.clone(),
            },
        };
        let outcome = self.door.enter(admitted.place as u32, entry).await;
        let after = match self.look(&admitted).await {
            Ok(seen) => seen,
            Err(refused) => return refused,
        };
        match outcome {
            // It is on the disk, and what it did with it.
            Some(EntryOutcome::Taken { .. }) => match &after.look.stands {
                Stands::Acknowledged { by, time } => {
                    let by = by.as_deref().unwrap_or_default();
                    let time = time.to_string();
                    let values = [("by", by), ("time", time.as_str())];
                    let state = self.says(admitted.contact, "page.done", &values);
                    (StatusCode::OK, self.page(&admitted, &after.look, state))
                }
                _ => self.pressed_in_vain(&admitted, &after),
            },
            Some(EntryOutcome::Known) => self.pressed_in_vain(&admitted, &after),
            Some(EntryOutcome::Refused { .. }) | None => self.refusal(
                StatusCode::SERVICE_UNAVAILABLE,
                "page.later",
                Some(admitted.contact),
            ),
        }
    }

    /// The button was pressed where there is nothing to press any more.
    fn pressed_in_vain(&self, admitted: &Admitted<'_>, seen: &Seen) -> Answer {
        let state = self.state(admitted.contact, seen);
        let page = self.page(admitted, &seen.look, state);
        let status = if seen.used {
            StatusCode::OK
        } else {
            StatusCode::CONFLICT
        };
        (status, page)
    }

    /// The link was opened.
    fn seen(&self, admitted: &Admitted<'_>, seen: &Seen, token: &str) -> Answer {
        let contact = admitted.contact;
        let mut page = self.page(admitted, &seen.look, self.state(contact, seen));
        let asks = seen.look.stands == Stands::Asks;
        if asks && !seen.used {
            let until = admitted.ticket.expires.to_string();
            page.asks = true;
            page.form = Some(Form {
                token: token.to_owned(),
                button: self.says(contact, "page.button", &[]),
                small: vec![
                    self.says(contact, "page.you_are", &[("contact", &contact.name)]),
                    self.says(contact, "page.good_until", &[("until", &until)]),
                ],
            });
        }
        let status = match seen.look.stands {
            Stands::Asks | Stands::Acknowledged { .. } => StatusCode::OK,
            _ if seen.used => StatusCode::OK,
            Stands::Over { .. } | Stands::SetAside | Stands::Newer => StatusCode::CONFLICT,
        };
        (status, page)
    }

    /// How it stands, in words.
    fn state(&self, contact: &Contact, seen: &Seen) -> String {
        let how = match &seen.look.stands {
            Stands::Asks => self.says(contact, "page.standing", &[]),
            Stands::Acknowledged { by: Some(by), time } => {
                let values = [("by", by.as_str()), ("time", &time.to_string())];
                self.says(contact, "page.acknowledged", &values)
            }
            Stands::Acknowledged { by: None, time } => {
                let values = [("time", &*time.to_string())];
                self.says(contact, "page.acknowledged_by_nobody_named", &values)
            }
            Stands::Over { time } => {
                self.says(contact, "page.over", &[("time", &time.to_string())])
            }
            Stands::SetAside => self.says(contact, "page.set_aside", &[]),
            Stands::Newer => self.says(contact, "page.newer", &[]),
        };
        if !seen.used {
            return how;
        }
        format!("{} {how}", self.says(contact, "page.done_before", &[]))
    }

    /// The alarm as it was told, and how it stands.
    fn page(&self, admitted: &Admitted<'_>, look: &Look, state: String) -> Box<Page> {
        let (time, line) = &look.told;
        let sump = self.settings.sumps.get(admitted.place);
        let about = About {
            sump: &admitted.named.sump,
            title: sump.map_or(&self.settings.plant.name, |sump| sump.title.as_str()),
            time: *time,
            measure: sump.unwrap_or(&self.settings.sumps[0]).dose.measure,
        };
        let message = self
            .texts
            .kept_alarm(&self.reader(Some(admitted.contact)), &about, line);
        Box::new(Page {
            state,
            message,
            ..self.bare(Some(admitted.contact))
        })
    }

    /// A page without an alarm.
    fn refusal(&self, status: StatusCode, key: &'static str, contact: Option<&Contact>) -> Answer {
        let reader = self.reader(contact);
        let page = Page {
            state: self.texts.sentence(&reader, (self.clock)(), key, &[]),
            ..self.bare(contact)
        };
        (status, Box::new(page))
    }

    fn bare(&self, contact: Option<&Contact>) -> Page {
        let reader = self.reader(contact);
        let title = self
            .texts
            .sentence(&reader, (self.clock)(), "page.title", &[]);
        Page {
            language: reader.language.to_owned(),
            title,
            ..Page::default()
        }
    }

    fn says(&self, contact: &Contact, key: &'static str, values: &[(&str, &str)]) -> String {
        let reader = self.reader(Some(contact));
        self.texts.sentence(&reader, (self.clock)(), key, values)
    }

    /// Whoever it is reads as they are told; of whom nothing is known, as the
    /// plant.
    fn reader<'a>(&'a self, contact: Option<&'a Contact>) -> Reader<'a> {
        match contact {
            Some(contact) => Reader {
                language: &contact.language,
                zone: &contact.time_zone,
            },
            None => Reader {
                language: &self.settings.texts.language,
                zone: &self.settings.plant.time_zone,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::Intake;
    use crate::settings::MessageTexts;
    use crate::units::Span;

    const PLANT_TEXT: &str = r#"
[plant]
name = "north"
[store]
folder = "./data"
[broker.main]
host = "127.0.0.1"
[fluid.a]
factor = 1.1
[sump.cell-a]
fluid = "a"
target = "8 %"
working_volume = "820 L"
vessel = { shape = "rectangular", length = "1.6 m", width = "0.9 m", height = "0.65 m" }
[sump.cell-a.channel.brix]
quantity = "brix"
topic = "cells/a/brix"
[contact.anna]
topic = "anna"
language = "de"
"#;

    fn desk(now: Timestamp) -> Acknowledge {
        let settings = Settings::from_texts(&[("plant.toml", PLANT_TEXT)], std::iter::empty());
        let clock: Arc<dyn Fn() -> Timestamp + Send + Sync> = Arc::new(move || now);
        Acknowledge {
            settings: Arc::new(settings.unwrap_or_else(|error| panic!("{error}"))),
            links: Links::new(
                "https://fluids.example.org",
                Span::from_hours(1),
                b"0123456789abcdef0123456789abcdef",
                "north",
            ),
            texts: Texts::new(&MessageTexts::default()).unwrap(),
            door: EntryDoor {
                ix: 2,
                intake: Intake::open(1).0,
                pending: Arc::default(),
                clock: Arc::clone(&clock),
            },
            mishaps: Mishaps::default(),
            clock,
        }
    }

    /// The status that a link of this contact about this alarm meets, when it is
    /// opened so long after it was written; 200 stands for being let in.
    fn status(contact: &str, alarm: &str, after: Span) -> u16 {
        let written = Timestamp::from_millis(1_772_457_900_000);
        let desk = desk(written + after);
        let url = desk.links.url(alarm, contact, written);
        let token = url.rsplit('/').next().unwrap();
        match desk.admit(token) {
            Ok(_) => 200,
            Err((status, page)) => {
                assert!(page.form.is_none() && page.message.is_empty());
                status.as_u16()
            }
        }
    }

    #[test]
    fn each_wrong_link_has_its_status() {
        let alarm = "cell-a/concentration.low/2026-03-02T13:05:00Z";
        let minute = Span::from_mins(1);
        assert_eq!(status("anna", alarm, minute), 200);
        assert_eq!(status("anna", alarm, Span::from_mins(60)), 200);
        assert_eq!(status("anna", alarm, Span::from_mins(61)), 410);
        assert_eq!(status("bert", alarm, minute), 403);
        let of_plant = "plant/source.main/2026-03-02T13:05:00Z";
        assert_eq!(status("anna", of_plant, minute), 200);
        let unknown = "cell-b/concentration.low/2026-03-02T13:05:00Z";
        assert_eq!(status("anna", unknown, minute), 404);
        assert_eq!(status("anna", "cell-a", minute), 404);
        let desk = desk(Timestamp::from_millis(0));
        for (token, status) in [("", 400), ("abc", 400), (&*"A".repeat(120), 403)] {
            let (refused, page) = desk.admit(token).err().unwrap();
            assert_eq!(refused.as_u16(), status, "{token}");
            // Of whom nothing is known reads as the plant does.
            assert_eq!(page.language, "en");
        }
        assert_eq!(desk.mishaps.count(Mishap::BadLink), 3);
    }
}
