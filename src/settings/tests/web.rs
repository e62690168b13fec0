//! The pages that the daemon serves.

use super::{read, read_with, told};
use crate::units::Span;

#[test]
fn pages_are_for_this_machine_unless_more_is_asked_for() {
    assert_eq!(read("").unwrap().web, None);
    let web = read("[web]\n").unwrap().web.unwrap();
    assert_eq!(web.listen.to_string(), "127.0.0.1:8480");
    assert_eq!((&web.public_address, &web.key), (&None, &None));
    assert_eq!(web.link_valid, Span::from_hours(72));
    assert_eq!(web.metrics_max_series, 20_000);
    let extra = "[web]\nlisten = \"0.0.0.0:80\"\nopen_to_network = true\n";
    let web = read(extra).unwrap().web.unwrap();
    assert_eq!(web.listen.to_string(), "0.0.0.0:80");
    told(
        "[web]\nlisten = \"0.0.0.0:80\"\n",
        &[
            "z.toml:2:10: web.listen: 0.0.0.0:80 can be reached from other machines; write \
             open_to_network = true if that is meant, or listen on 127.0.0.1 and let a server \
             that encrypts hand requests on",
        ],
    );
    told(
        "[web]\nmetrics_max_series = 2000000\n",
        &["z.toml:2:22: web.metrics_max_series: 2000000 is not allowed; allowed is 0 to 1000000"],
    );
    told(
        "[web]\nlisten = \"8480\"\npublic_address = \"http://fluids.example.org\"\n",
        &[
            "z.toml:2:10: web.listen: \"8480\" is not allowed; allowed is an address and a port, \
             as 127.0.0.1:8480 or [::1]:8480",
            "z.toml:3:18: web.public_address: \"http://fluids.example.org\" is not allowed; \
             allowed is https:// and a host, perhaps with a path, without user, ? and #; http:// \
             for this machine alone",
        ],
    );
}

#[test]
fn the_key_of_links_stands_in_no_settings_file_and_is_long() {
    let extra = "[web]\npublic_address = \"https://fluids.example.org\"\nlink_valid = \"8 h\"\n";
    let key = "0123456789abcdef0123456789abcdef";
    let settings = read_with(extra, &[("SUMPWARD__WEB__KEY", key)]).unwrap();
    assert!(!format!("{settings:?}").contains(key));
    let web = settings.web.unwrap();
    assert_eq!(web.link_valid, Span::from_hours(8));
    assert_eq!(web.key.unwrap().reveal(), key);
    let error = read_with(extra, &[("SUMPWARD__WEB__KEY", "open sesame")]).unwrap_err();
    let told = error.to_string();
    assert!(
        told.contains("web.key_file") && !told.contains("sesame"),
        "{told}"
    );
    let error = read(&format!("{extra}key = \"{key}\"\n")).unwrap_err();
    let told = error.to_string();
    assert!(told.contains("web.key") && !told.contains(key), "{told}");
}
