//! Values that rules take and refuse.
//!
//! What a person is told of them is compared in the tests of loading.

use super::{forward_url, keeps_secrets};

#[test]
fn an_address_to_forward_to_is_a_host_with_a_port_and_nothing_else() {
    for good in [
        "http://127.0.0.1:8428",
        "https://central.example",
        "http://[::1]:8086",
        "https://a-b.c:1/",
        "http://localhost:65535",
    ] {
        assert_eq!(forward_url(good), Ok(()), "{good}");
    }
    for bad in [
        "",
        "h:1",
        "ftp://h:1",
        "http://",
        "http://:1",
        "http:///x",
        "http://h:0",
        "http://h:65536",
        "http://h:",
        "http://h:1/x",
        "http://h:1?x",
        "http://h:1#x",
        "http://user:word@h:1",
        "http://h h",
        "http://h\n",
        "http://[::1",
        "http://[::g]:1",
        "http://::1",
        "HTTP://h:1",
        "http://h_1",
        "http://-h",
        "http://é",
        "http://1.2.3.4.5:x",
        "http://999.1.1.1",
        "http://h..i",
    ] {
        assert!(forward_url(bad).is_err(), "{bad}");
    }
    for own in [
        "http://127.0.0.1:1",
        "http://127.9.9.9",
        "http://localhost:1",
        "http://[::1]:1",
        "https://central.example",
    ] {
        assert!(keeps_secrets(own), "{own}");
    }
    for open in ["http://central.example", "http://10.0.0.1:1", "http://localhost.example", "http://[::2]:1"]
    {
        assert!(!keeps_secrets(open), "{open}");
    }
}
