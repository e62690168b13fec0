//! Serial ports, Modbus and loops in the settings.

use crate::line::{CheckKind, LineEnd, Place, Shape};
use crate::modbus::{NumberKind, Order, Table};
use crate::settings::{ModbusWay, Origin, Parity, Scale, Settings, StopBits};

use super::{read, told};

const WIRES: &str = r#"
[modbus.hall]
device = "/dev/serial/by-id/adapter"
parity = "none"
latency = "2 s"
[modbus.skid]
host = "10.0.0.7"
[serial.bench]
device = "/dev/ttyS1"
line_end = "crlf"
pattern = "BX={brix} T={temp} *"
checksum = { kind = "xor" }
[serial.logger]
device = "/dev/ttyS2"
delimiter = ";"
header_lines = 1
"#;

/// The wires, and a channel `x` with these keys.
fn with(channel: &str) -> String {
    format!("{WIRES}[sump.cell-a.channel.x]\n{channel}\n")
}

fn origin(channel: &str) -> (Origin, Scale) {
    let settings = read(&with(channel)).unwrap();
    let mut place = settings.sumps[0].channels.iter();
    let place = place.position(|channel| &*channel.name == "x").unwrap();
    let route = settings
        .routes
        .iter()
        .find(|route| usize::from(route.channel) == place);
    let route = route.unwrap();
    (route.origin.clone(), route.scale.clone())
}

#[test]
fn wires_and_their_defaults() {
    let settings = read(WIRES).unwrap();
    let [hall, skid] = &settings.modbus[..] else {
        panic!("{:?}", settings.modbus);
    };
    let ModbusWay::Serial(port) = &hall.way else {
        panic!("{hall:?}");
    };
    // Modbus over serial line V1.02: 19200 bit/s, two stop bits without parity.
    assert_eq!(
        (port.baud, port.parity, port.stop_bits),
        (19_200, Parity::None, StopBits::Two)
    );
    assert_eq!((hall.timeout.millis(), hall.latency.millis()), (500, 2000));
    let (host, port) = ("10.0.0.7".to_owned(), 502);
    assert_eq!(skid.way, ModbusWay::Tcp { host, port });
    let [bench, logger] = &settings.serial[..] else {
        panic!("{:?}", settings.serial);
    };
    assert_eq!(
        (bench.end, bench.longest, bench.port.baud),
        (LineEnd::CrLf, 512, 9600)
    );
    let checksum = bench.format.checksum.unwrap();
    assert_eq!(
        (checksum.kind, checksum.mark, checksum.start),
        (CheckKind::Xor, b'*', None)
    );
    let columns = matches!(logger.format.shape, Shape::Columns(c) if c.header == 1);
    assert!(columns, "{logger:?}");
}

#[test]
fn a_channel_names_its_registers() {
    let (origin, scale) = origin(
        "quantity = \"conductivity\"\nmodbus = \"hall\"\nslave = 3\nregister = 12\n\
         registers = \"input\"\nnumber = \"int32\"\norder = \"CDAB\"\nscale = 0.1\nunit = \"mS/cm\"",
    );
    let Origin::Register {
        source,
        slave,
        table,
        first,
        encoding,
    } = origin
    else {
        panic!("{origin:?}");
    };
    assert_eq!((source, slave, table, first), (0, 3, Table::Input, 12));
    assert_eq!(
        (encoding.kind, encoding.order),
        (NumberKind::Int32, Order::LowRegisterFirst)
    );
    // 25 tenths of mS/cm, the low register first.
    let tenths = encoding.decode(&[25, 0]).unwrap();
    assert!(matches!(scale, Scale::Line(line) if line.apply(tenths) == 2500.0));
}

#[test]
fn a_channel_names_its_place_in_lines() {
    let (field, _) = origin("quantity = \"temperature\"\nserial = \"bench\"\nfield = \"temp\"");
    let (source, place) = (0, Place::Field(1));
    assert_eq!(field, Origin::Line { source, place });
    let (column, _) = origin("quantity = \"temperature\"\nserial = \"logger\"\ncolumn = 2");
    let (source, place) = (1, Place::Column(2));
    assert_eq!(column, Origin::Line { source, place });
}

#[test]
fn any_channel_may_be_on_a_loop() {
    let text = "quantity = \"level\"\ntopic = \"x\"\nunit = \"mA\"\nloop = [\"50 mm\", \"650 mm\"]";
    let settings = read(&with(text)).unwrap();
    let channel = settings.sumps[0]
        .channels
        .iter()
        .find(|channel| &*channel.name == "x");
    let range = channel.unwrap().input.current_loop.unwrap();
    let current = crate::units::Current::from_milliamperes(12.0);
    assert!((range.value(current) - 0.35).abs() < 1e-12);
}

#[test]
fn mistakes_in_wires_are_told() {
    let text = "\
[modbus.a]
device = \"ttyUSB0\"
host = \"10.0.0.7\"
[modbus.b]
host = \"tcp://10.0.0.7\"
baud = 9600
timeout = \"5 s\"
[modbus.c]
device = \"ttyUSB0\"
timeout = \"5 s\"
latency = \"1 s\"
[modbus.d]
device = \"/dev/ttyS1\"
[serial.e]
device = \"/dev/ttyS1\"
data_bits = 9
pattern = \"{a}{b}\"
checksum = { kind = \"crc32\", mark = \"**\" }
[serial.f]
device = \"/dev/ttyS1\"
delimiter = \",\"
";
    told(
        text,
        &[
            "z.toml:3:8: modbus.a.host: write either device or host, not both",
            "z.toml:5:8: modbus.b.host: \"tcp://10.0.0.7\" is not allowed; allowed is a name or address alone, without :// and without port",
            "z.toml:6:1: modbus.b.baud: has no effect: it is for lines with a device only",
            "z.toml:9:10: modbus.c.device: \"ttyUSB0\" is not allowed; allowed is the whole path of a device, such as /dev/serial/by-id/…",
            "z.toml:11:11: modbus.c.latency: 1 s is not allowed; allowed is 5 s to 1 min",
            "z.toml:16:13: serial.e.data_bits: 9 is not allowed; allowed is 7 or 8",
            "z.toml:17:11: serial.e.pattern: two fields stand side by side; write a blank or other text between them, as the lines have it",
            "z.toml:18:21: serial.e.checksum.kind: \"crc32\" is not one of them; allowed here: xor, sum, crc16",
            "z.toml:18:37: serial.e.checksum.mark: \"**\" is not allowed; allowed is one character of ASCII",
            "z.toml:20:10: serial.f.device: /dev/ttyS1 is already the port of modbus.d; a port has one source",
        ],
    );
}

#[test]
fn every_source_has_a_name_of_its_own() {
    told(
        "[modbus.main]\nhost = \"10.0.0.7\"\n[serial.control]\ndevice = \"/dev/ttyS1\"\n\
         delimiter = \";\"\n[serial.main]\ndevice = \"/dev/ttyS2\"\ndelimiter = \";\"\n\
         [broker.control]\nhost = \"10.0.0.8\"\n[messages]\nbroker = \"main\"\n",
        &[
            "z.toml:1:9: modbus.main: \"main\" is already the name of broker.main; choose another",
            "z.toml:3:9: serial.control: \"control\" is already the name of the control socket, which reports on topics of its own; choose another",
            "z.toml:6:9: serial.main: \"main\" is already the name of broker.main; choose another",
            "z.toml:9:9: broker.control: \"control\" is already the name of the control socket, which reports on topics of its own; choose another",
        ],
    );
}

#[test]
fn no_sump_takes_the_topics_of_sources() {
    let sump = "fluid = \"soluble-a\"\ntarget = \"8 %\"\nworking_volume = \"820 L\"\n\
        vessel = { shape = \"rectangular\", length = \"1.6 m\", width = \"0.9 m\", height = \"0.65 m\" }\n";
    told(
        &format!("[sump.source]\n{sump}"),
        &[
            "z.toml:1:7: sump.source: \"source\" is already the name of the topics on which sources report; choose another",
        ],
    );
    assert!(read(&format!("[sump.sources]\n{sump}")).is_ok());
}

#[test]
fn a_channel_that_would_be_silent_between_two_readings_is_told() {
    let channel = |poll: &str, more: &str| {
        with(&format!(
            "quantity = \"brix\"\nmodbus = \"hall\"\nregisters = \"input\"\nslave = 3\n\
             register = 12\nnumber = \"uint16\"\n{more}"
        ))
        .replace(
            "[modbus.hall]",
            &format!("[modbus.hall]\npoll = \"{poll}\""),
        )
    };
    for (poll, more, words) in [
        (
            "10 s",
            "silent_after = \"10 s\"",
            "x.silent_after: modbus.hall is asked every 10 s only, so that the channel would be called silent each time after 10 s",
        ),
        (
            "1 h",
            "",
            "x.silent_after: modbus.hall is asked every 1 h only",
        ),
    ] {
        let error = read(&channel(poll, more)).expect_err(poll).to_string();
        assert!(error.contains(words), "want: {words}\n{error}");
    }
    for (poll, more) in [
        ("10 s", "silent_after = \"11 s\""),
        ("1 h", "silent_after = false"),
    ] {
        assert!(read(&channel(poll, more)).is_ok(), "{poll}, {more}");
    }
}

#[track_caller]
fn refused(channel: &str, words: &[&str]) {
    let error = read(&with(channel)).expect_err(channel).to_string();
    for word in words {
        assert!(error.contains(word), "{channel}\nwant: {word}\n{error}");
    }
}

#[test]
fn mistakes_in_channels_of_wires_are_told() {
    let register = |text: &str| {
        format!("quantity = \"brix\"\nmodbus = \"hall\"\nregisters = \"input\"\n{text}")
    };
    let good = "slave = 3\nregister = 12\nnumber = \"float32\"\norder = \"CDAB\"";
    assert!(read(&with(&register(good))).is_ok());
    for (text, words) in [
        (
            good.replace("= 3", "= 248"),
            "x.slave: 248 is not allowed; allowed is 1 to 247",
        ),
        (good.replace("= 3", "= 0"), "x.slave: 0 is not allowed"),
        (good.replace("slave = 3", ""), "x.slave: is missing"),
        (
            good.replace("= 12", "= 65535"),
            "x.register: 65535 is not allowed; allowed is 0 to 65534",
        ),
        (
            good.replace("= 12", "= -1"),
            "x.register: -1 is not allowed",
        ),
        (
            good.replace("float32", "float"),
            "x.number: \"float\" is not one of them",
        ),
        (
            good.replace("CDAB", "DCAB"),
            "x.order: \"DCAB\" is not one of them",
        ),
        (
            good.replace("order = \"CDAB\"", ""),
            "x.order: is missing; write for example order = \"ABCD\"",
        ),
        (
            good.replace("float32", "uint16"),
            "x.order: \"CDAB\" is not one of them; allowed here: AB, BA",
        ),
        (format!("{good}\nscale = 0.0"), "x.scale: 0 is not allowed"),
        (
            format!("{good}\ntopic = \"x\""),
            "x.topic: has no effect: it is for channels of a broker only",
        ),
        (format!("{good}\nfield = \"x\""), "x.field: has no effect"),
        (
            format!("{good}\nserial = \"bench\""),
            "write either modbus or serial, not both",
        ),
    ] {
        refused(&register(&text), &[words]);
    }
    for (text, words) in [
        (
            "modbus = \"hal\"",
            "there is no modbus line \"hal\"; did you mean \"hall\"?",
        ),
        ("serial = \"bench\"", "x.field: is missing"),
        (
            "serial = \"bench\"\nfield = \"brx\"",
            "there is no field \"brx\"; did you mean \"brix\"?",
        ),
        (
            "serial = \"bench\"\nfield = \"brix\"\ncolumn = 1",
            "x.column: has no effect",
        ),
        ("serial = \"logger\"", "x.column: is missing"),
        (
            "serial = \"logger\"\ncolumn = 0",
            "x.column: 0 is not allowed",
        ),
        (
            "topic = \"x\"\nslave = 3",
            "x.slave: has no effect: it is for channels with modbus",
        ),
    ] {
        refused(&format!("quantity = \"brix\"\n{text}"), &[words]);
    }
    // A device behind TCP may have any unit.
    let unit = register(good)
        .replace("hall", "skid")
        .replace("= 3", "= 255");
    assert!(read(&with(&unit)).is_ok());
}

#[test]
fn mistakes_in_loops_are_told() {
    for (text, words) in [
        ("quantity = \"brix\"\nunit = \"mA\"", "x.loop: is missing"),
        (
            "quantity = \"brix\"\nloop = [\"0 °Bx\", \"30 °Bx\"]",
            "x.unit: is missing; write for example unit = \"mA\"",
        ),
        (
            "quantity = \"brix\"\nunit = \"mA\"\nloop = [\"0 °Bx\"]",
            "is a list of the values at 4 mA and at 20 mA, found 1 items",
        ),
        (
            "quantity = \"brix\"\nunit = \"mA\"\nloop = [\"5 °Bx\", \"5 °Bx\"]",
            "two different numbers",
        ),
        (
            "quantity = \"brix\"\nunit = \"mA\"\nloop = [\"0 L\", \"5 °Bx\"]",
            "x.loop[0]",
        ),
        (
            "quantity = \"brix\"\nunit = \"V\"\nloop = [\"0 °Bx\", \"5 °Bx\"]",
            "x.unit: \"V\" is not one of them",
        ),
        (
            "quantity = \"metered\"\nunit = \"mA\"\nloop = [\"0 L\", \"5 L\"]",
            "x.loop: has no effect",
        ),
    ] {
        refused(&format!("topic = \"x\"\n{text}"), &[words]);
    }
}

fn channels(first: &str, second: &str) -> Result<Settings, crate::settings::SettingsError> {
    let channel = |name: &str, text: &str| {
        format!(
            "[sump.cell-a.channel.{name}]\nquantity = \"brix\"\nmodbus = \"hall\"\n\
             registers = \"input\"\n{text}\n"
        )
    };
    read(&format!(
        "{WIRES}{}{}",
        channel("x", first),
        channel("y", second)
    ))
}

#[test]
fn numbers_that_overlap_are_told() {
    let float = "slave = 3\nregister = 12\nnumber = \"float32\"\norder = \"ABCD\"";
    let clashing = [
        "slave = 3\nregister = 13\nnumber = \"uint16\"",
        "slave = 3\nregister = 11\nnumber = \"float32\"\norder = \"ABCD\"",
        "slave = 3\nregister = 12\nnumber = \"float32\"\norder = \"CDAB\"",
    ];
    for other in clashing {
        let error = channels(float, other).unwrap_err().to_string();
        assert!(
            error.contains("overlaps with another number at sump.cell-a.channel.x.register"),
            "{error}"
        );
    }
    // The same number may serve two channels; another slave has its own.
    assert!(channels(float, float).is_ok());
    assert!(channels(float, "slave = 4\nregister = 13\nnumber = \"uint16\"").is_ok());
    assert!(channels(float, "slave = 3\nregister = 14\nnumber = \"uint16\"").is_ok());
}
