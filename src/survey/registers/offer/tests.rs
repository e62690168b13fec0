//! What is offered of registers, put into a plant's settings, reads them.

use super::*;
use crate::modbus::{Answer, Exception, Failure};
use crate::settings::{DataBits, Origin, PortSettings};
use crate::survey::plant;
use crate::survey::registers::Wanted;
use proptest::prelude::*;
use std::collections::BTreeMap;

fn serial() -> Line {
    Line {
        name: "hall".to_owned(),
        way: ModbusWay::Serial(PortSettings {
            device: "/dev/serial/by-id/usb-adapter-if00".into(),
            baud: 9600,
            data_bits: DataBits::Eight,
            parity: Parity::None,
            stop_bits: StopBits::One,
        }),
    }
}

fn tcp() -> Line {
    Line {
        name: "skid".to_owned(),
        way: ModbusWay::Tcp {
            host: "10.0.0.7".to_owned(),
            port: 1502,
        },
    }
}

/// A slave that has these input registers and no others.
fn slave(number: u8, has: &BTreeMap<u16, u16>) -> SlaveSurvey {
    let wanted = Wanted {
        tables: vec![Table::Input],
        registers: 0..=99,
    };
    let mut slave = SlaveSurvey::new(number, &wanted);
    while let Some(request) = slave.poll_request() {
        let all = request.first()..request.first() + request.count();
        let registers: Option<Vec<u16>> = all.map(|at| has.get(&at).copied()).collect();
        let answer = registers.map_or(Answer::Exception(Exception(2)), Answer::Registers);
        slave.handle_outcome(Ok(answer));
    }
    slave
}

/// Every number that the settings read.
fn read(offered: &str, has: &BTreeMap<u16, u16>) -> Vec<f64> {
    let settings = plant::with(offered);
    let each = settings.routes.iter().map(|route| {
        let Origin::Register {
            slave,
            first,
            encoding,
            table,
            ..
        } = &route.origin
        else {
            panic!("{:?} is no register", route.origin);
        };
        assert_eq!((*slave, *table), (3, Table::Input));
        let all = *first..first + encoding.kind.registers();
        let registers: Vec<u16> = all.map(|at| has[&at]).collect();
        encoding.decode(&registers).unwrap()
    });
    each.collect()
}

#[test]
fn what_is_offered_reads_what_was_seen() {
    // 4.25 is 40880000 after IEEE 754.
    let has = BTreeMap::from([(4, 421), (7, 0xFFFE), (12, 0), (13, 0x4088), (20, 0)]);
    for line in [serial(), tcp()] {
        let report = report(&[slave(3, &has)], &line);
        let offered = report.all_settings();
        let mut numbers = read(&offered, &has);
        numbers.sort_by(f64::total_cmp);
        assert_eq!(numbers, [4.25, 421.0, 65534.0], "{offered}");
        let seen = report.seen(crate::units::Timestamp::from_millis(0));
        for words in [
            "slave 3, input registers",
            "4                       421",
            "7 as int16              -2",
            "12, 13 as float32 CDAB  4.25",
            "2 registers are 0",
            "95 registers refused: exception 02",
        ] {
            assert!(seen.contains(words), "want: {words}\n{seen}");
        }
    }
}

#[test]
fn a_device_that_heeds_no_number_is_told_once() {
    let has = BTreeMap::from([(4, 421)]);
    let slaves = [slave(3, &has), slave(4, &has)];
    let alike = report(&slaves, &tcp());
    assert_eq!((alike.rows.len(), alike.notes.len()), (1, 1));
    assert_eq!(report(&slaves, &serial()).rows.len(), 2);
}

#[test]
fn silence_offers_nothing() {
    let mut silent = SlaveSurvey::new(
        3,
        &Wanted {
            tables: vec![Table::Input],
            registers: 0..=9,
        },
    );
    silent.poll_request();
    silent.handle_outcome(Err(Failure::Silent));
    assert_eq!(report(&[silent], &tcp()), Report::default());
}

proptest! {
    /// Whatever a device holds, what is offered can be set and reads what is
    /// told.
    #[test]
    fn any_registers_make_valid_settings(
        has in prop::collection::btree_map(0..40u16, any::<u16>(), 0..20),
    ) {
        let report = report(&[slave(3, &has)], &serial());
        let told: Vec<f64> = report.rows.iter().flat_map(|row| &row.values).map(|valued| match valued.value {
            Seen::Number(number) => number,
            Seen::Word(_) => panic!("registers hold no words"),
        }).collect();
        for number in read(&report.all_settings(), &has) {
            prop_assert!(told.contains(&number), "{number} {told:?}");
        }
    }
}
