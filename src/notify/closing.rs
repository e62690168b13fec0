//! What mails about alarms end with.

use crate::engine::AlarmLine;
use crate::settings::Contact;

/// Lines that come after the text of a mail to this contact, where there are
/// any.
pub(super) fn closing_lines(_line: &AlarmLine, _contact: &Contact) -> Option<String> {
    None
}
