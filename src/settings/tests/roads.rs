//! Mail, webhooks, and who is told when.

use super::{read, read_with, told};
use crate::alarm::Priority;
use crate::settings::MailSecurity;
use crate::units::{Span, Timestamp};

const SECRET: (&str, &str) = (
    "SUMPWARD__WEBHOOK__BOOK__SECRET",
    "0123456789abcdef0123456789abcdef",
);

#[test]
fn the_roads_of_a_contact_are_read() {
    let extra = "\
[mail]
server = \"mail.example.org\"
user = \"sumpward\"
from = \"sumpward@example.org\"
[webhook.book]
url = \"https://book.example.org/in?plant=north\"
[contact.anna]
mail = \"anna@example.org\"
webhook = \"book\"
priorities = \"medium\"
hours = [\"mon-fri 06:00-14:00\"]
time_zone = \"Europe/Vienna\"
language = \"de\"
escalate_after = \"20 min\"
escalate_to = \"lead\"
digest = \"06:30\"
[contact.lead]
topic = \"lead\"
";
    let env = [("SUMPWARD__MAIL__PASSWORD", "open sesame"), SECRET];
    let settings = read_with(extra, &env).unwrap();
    let mail = settings.messages.mail.as_ref().unwrap();
    assert_eq!(mail.port, 587);
    assert!(matches!(mail.security, MailSecurity::StartTls(_)));
    assert_eq!(
        mail.login.as_ref().unwrap().password.reveal(),
        "open sesame"
    );
    let book = &settings.messages.webhooks[0];
    assert_eq!((book.port, book.target.as_str()), (443, "/in?plant=north"));
    assert_eq!(settings.messages.expire_after, Span::from_hours(72));
    let (anna, lead) = (&settings.contacts[0], &settings.contacts[1]);
    assert_eq!((anna.webhook, &*anna.language), (Some(0), "de"));
    let escalation = anna.escalation.unwrap();
    assert_eq!((escalation.after, escalation.to), (Span::from_mins(20), 1));
    assert_eq!(anna.digest.unwrap().to_string(), "06:30:00");
    assert_eq!((&*lead.language, lead.priorities), ("en", Priority::Low));
    assert!(!format!("{settings:?}").contains("sesame"));
}

#[test]
fn messages_wait_for_the_working_hours_of_their_contact() {
    let extra = "\
[contact.anna]
topic = \"anna\"
hours = [\"mon-fri 06:00-14:00\"]
time_zone = \"Europe/Vienna\"
[contact.bert]
topic = \"bert\"
hours = [\"mon-fri 06:00-14:00\"]
high_waits = true
";
    let settings = read(extra).unwrap();
    let at = |text| Timestamp::parse(text).unwrap();
    let (anna, bert) = (&settings.contacts[0], &settings.contacts[1]);
    // A Friday afternoon in November: Vienna is an hour ahead of UTC.
    let friday = at("2026-11-27T15:00:00Z");
    let monday = at("2026-11-30T05:00:00Z");
    assert_eq!(anna.told_at(friday, Priority::Medium), monday);
    assert_eq!(anna.told_at(friday, Priority::High), friday);
    let monday_utc = at("2026-11-30T06:00:00Z");
    assert_eq!(bert.told_at(friday, Priority::High), monday_utc);
    let working = at("2026-11-30T09:00:00Z");
    assert_eq!(anna.told_at(working, Priority::Low), working);
}

#[test]
fn what_is_wrong_with_roads_is_told_where_it_stands() {
    let extra = "\
[mail]
server = \"smtp://mail\"
security = \"none\"
user = \"x\"
from = \"Sumpward <a@b>\"
[webhook.book]
url = \"ftp://x\"
[contact.a]
mail = \"anna\"
webhook = \"buch\"
priorities = \"urgent\"
hours = [\"mon-fri\"]
language = \"fr\"
escalate_after = \"0 s\"
escalate_to = \"b\"
digest = \"6\"
[contact.b]
escalate_to = \"a\"
[contact.c]
high_waits = true
";
    told(
        extra,
        &[
            "z.toml:2:10: mail.server: \"smtp://mail\" is not allowed; allowed is a name or address alone, without :// and without port",
            "z.toml:4:1: mail.user: has no effect: it is for security = \"starttls\" and \"tls\" only",
            "z.toml:5:8: mail.from: \"Sumpward <a@b>\" is not allowed; allowed is an address alone, as anna@example.org, in plain letters",
            "z.toml:6:10: webhook.book.secret_file: is missing; write for example secret_file = \"webhook.secret\"",
            "z.toml:7:7: webhook.book.url: \"ftp://x\" is not allowed; allowed is http:// or https://, a host, and a path, without user and #",
            "z.toml:9:8: contact.a.mail: \"anna\" is not allowed; allowed is an address alone, as anna@example.org, in plain letters",
            "z.toml:10:11: contact.a.webhook: there is no webhook \"buch\"; allowed here: book",
            "z.toml:11:14: contact.a.priorities: \"urgent\" is not one of them; allowed here: low, medium, high",
            "z.toml:12:10: contact.a.hours[0]: \"mon-fri\" is not a shift: write its days, a space and its hours, as \"mon-fri 06:00-22:00\"",
            "z.toml:13:12: contact.a.language: there is no language \"fr\"; allowed here: de, en",
            "z.toml:14:18: contact.a.escalate_after: 0 s is not allowed; allowed is 1 s to 7 d",
            "z.toml:16:10: contact.a.digest: \"6\" is not allowed; allowed is a time of day, as 06:30",
            "z.toml:17:10: contact.b.escalate_after: is missing; write for example escalate_after = \"30 min\", to go with escalate_to",
            "z.toml:20:1: contact.c.high_waits: has no effect: it is for contacts with hours only",
        ],
    );
}

#[test]
fn a_chain_of_contacts_must_end_with_somebody_who_can_be_told() {
    let extra = "\
[contact.a]
topic = \"a\"
escalate_after = \"5 min\"
escalate_to = \"b\"
[contact.b]
topic = \"b\"
escalate_after = \"5 min\"
escalate_to = \"a\"
[contact.c]
topic = \"c\"
escalate_after = \"5 min\"
escalate_to = \"d\"
[contact.d]
[contact.e]
mail = \"e@example.org\"
";
    told(
        extra,
        &[
            "plant.toml: mail: is missing; write for example [mail] with server = \"mail.example.org\", for contacts with mail",
            "z.toml:4:15: contact.a.escalate_to: the chain comes back to \"a\"; it must end with somebody who escalates to nobody",
            "z.toml:8:15: contact.b.escalate_to: the chain comes back to \"b\"; it must end with somebody who escalates to nobody",
            "z.toml:12:15: contact.c.escalate_to: \"d\" has neither mail nor webhook nor topic, so that nothing can be told there",
        ],
    );
}

#[test]
fn secrets_do_not_stand_in_settings() {
    let extra = "\
[mail]
server = \"m\"
from = \"a@b\"
password = \"open sesame\"
[webhook.book]
url = \"https://x\"
secret = \"open sesame\"
";
    let told = read(extra).unwrap_err().to_string();
    assert!(told.contains("SUMPWARD__MAIL__PASSWORD"), "{told}");
    assert!(told.contains("SUMPWARD__WEBHOOK__BOOK__SECRET"), "{told}");
    assert!(!told.contains("sesame"), "{told}");
    let short = [("SUMPWARD__WEBHOOK__BOOK__SECRET", "sesame")];
    let told = read_with("[webhook.book]\nurl = \"https://x\"\n", &short);
    let told = told.unwrap_err().to_string();
    assert!(
        told.contains("fewer than 16") && !told.contains("sesame"),
        "{told}"
    );
}
