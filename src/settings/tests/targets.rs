//! Servers that get what is stored.

use super::{read_with, told};
use crate::settings::{Forwarded, History};
use crate::units::Span;

#[test]
fn a_target_is_read() {
    let extra = "\
[forward.history]
url = \"http://127.0.0.1:8086\"
org = \"north\"
bucket = \"fluids\"
what = [\"readings\", \"alarms\"]
sumps = [\"cell-a\"]
history = \"all\"
batch = 500
timeout = \"10 s\"
[forward.other]
url = \"https://series.example.org/\"
";
    let env = [("SUMPWARD__FORWARD__HISTORY__TOKEN", "open-sesame")];
    let settings = read_with(extra, &env).unwrap();
    let (history, other) = (&settings.forward[0], &settings.forward[1]);
    assert_eq!(history.token.as_ref().unwrap().reveal(), "open-sesame");
    assert_eq!((history.org.as_str(), history.batch), ("north", 500));
    let what = Forwarded {
        readings: true,
        alarms: true,
        ..Forwarded::default()
    };
    assert_eq!((history.what, history.history), (what, History::All));
    assert_eq!(history.sumps.as_deref(), Some(&["cell-a".into()][..]));
    assert_eq!(history.timeout, Span::from_secs(10));
    assert!(history.tls.is_none() && other.tls.is_some());
    assert!(other.what.doses && other.what.entries && other.sumps.is_none());
    assert_eq!((other.history, other.org.as_str()), (History::FromNow, ""));
    assert!(!format!("{settings:?}").contains("sesame"));
}

#[test]
fn what_is_wrong_with_a_target_is_told_where_it_stands() {
    let extra = "\
[forward.a]
url = \"http://127.0.0.1:8086/influx\"
token = \"x\"
[forward.b]
url = \"127.0.0.1:8086\"
what = [\"reading\"]
sumps = [\"cell-b\"]
[forward.c]
url = \"http://anna:word@h:1\"
ca_file = \"ca.pem\"
history = \"none\"
batch = 7
timeout = \"0 s\"
what = []
[forward.d]
org = \"o\"
url = \"http://[::1\"
";
    let path = "host and port alone: lines always go to /api/v2/write there, and a path would be \
                dropped unseen; put the server behind a host or port of its own";
    let plain = "http:// or https:// with host and port, as http://127.0.0.1:8086, without user";
    told(
        extra,
        &[
            &format!(
                "z.toml:2:7: forward.a.url: \"http://127.0.0.1:8086/influx\" is not allowed; allowed is {path}"
            ),
            "z.toml:3:1: forward.a.token: a password does not belong into a settings file, which people copy and print; write password_file = \"…\" or set SUMPWARD__FORWARD__A__TOKEN",
            &format!(
                "z.toml:5:7: forward.b.url: \"127.0.0.1:8086\" is not allowed; allowed is {plain}"
            ),
            "z.toml:6:9: forward.b.what[0]: \"reading\" is not one of them; did you mean \"readings\"?",
            "z.toml:7:10: forward.b.sumps[0]: there is no sump \"cell-b\"; did you mean \"cell-a\"?",
            &format!(
                "z.toml:9:7: forward.c.url: \"http://…@h:1\" is not allowed; allowed is {plain}"
            ),
            "z.toml:10:11: forward.c.ca_file: the file cannot be read: No such file or directory (os error 2)",
            "z.toml:11:11: forward.c.history: \"none\" is not one of them; allowed here: from_now, all",
            "z.toml:12:9: forward.c.batch: 7 is not allowed; allowed is 100 to 100000",
            "z.toml:13:11: forward.c.timeout: 0 s is not allowed; allowed is 1 s to 10 min",
            "z.toml:14:8: forward.c.what: is a list of words, at least one, found 0 items",
            &format!(
                "z.toml:17:7: forward.d.url: \"http://[::1\" is not allowed; allowed is {plain}"
            ),
        ],
    );
}
