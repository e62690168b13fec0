//! The pages that the daemon serves.

use super::{read, told};

#[test]
fn pages_are_for_this_machine_unless_more_is_asked_for() {
    assert_eq!(read("").unwrap().web, None);
    let web = read("[web]\n").unwrap().web.unwrap();
    assert_eq!(web.listen.to_string(), "127.0.0.1:8480");
    assert_eq!(web.public_address, None);
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
