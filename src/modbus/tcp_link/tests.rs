use super::super::pdu::{Exception, Table};
use super::super::tcp::StreamError;
use super::*;

fn ms(millis: u64) -> Duration {
    Duration::from_millis(millis)
}

fn link() -> (TcpLink, Counts, Request) {
    let setup = TcpSetup {
        timeout: ms(200),
        pause: ms(5),
    };
    let request = Request::new(Table::Holding, 10, 1).unwrap();
    (TcpLink::new(setup, ms(0)), Counts::default(), request)
}

fn answer(transaction: u16, unit: u8, register: u8) -> Vec<u8> {
    tcp::encode(transaction, unit, &[3, 2, 0, register])
}

#[test]
fn an_answer_is_known_by_its_number() {
    let (mut link, mut counts, request) = link();
    let sent = link.ask(1, request, ms(0), &mut counts);
    assert_eq!(sent, tcp::encode(1, 1, &[3, 0, 10, 0, 1]));
    assert_eq!(link.give_up(ms(200), &mut counts), Failure::Silent);
    assert_eq!(link.ready_at(), ms(205));
    link.ask(1, request, ms(205), &mut counts);
    // The late answer, then the answer, in one portion and a half.
    let stream = [answer(1, 1, 7), answer(2, 1, 8)].concat();
    assert_eq!(link.handle_input(&stream[..15], ms(210), &mut counts), None);
    assert_eq!(counts.late_answers, 1);
    let got = link.handle_input(&stream[15..], ms(211), &mut counts);
    assert_eq!(got, Some(Ok(Answer::Registers(vec![8]))));
    assert_eq!((link.deadline(), link.ready_at()), (None, ms(216)));
}

#[test]
fn exceptions_and_unfit_answers_end_the_request() {
    let (mut link, mut counts, request) = link();
    link.ask(1, request, ms(0), &mut counts);
    let refusal = tcp::encode(1, 1, &[0x83, 0x0B]);
    let got = link.handle_input(&refusal, ms(1), &mut counts);
    assert_eq!(got, Some(Ok(Answer::Exception(Exception(0x0B)))));
    link.ask(1, request, ms(2), &mut counts);
    let got = link.handle_input(&answer(2, 9, 7), ms(3), &mut counts);
    assert_eq!(got, Some(Err(Failure::OtherSlave { found: 9 })));
    assert!(!link.is_broken());
}

#[test]
fn another_protocol_breaks_the_connection() {
    let (mut link, mut counts, request) = link();
    link.ask(1, request, ms(0), &mut counts);
    let got = link.handle_input(b"SSH-2.0-x\r\n", ms(1), &mut counts);
    let protocol = StreamError::Protocol(u16::from_be_bytes(*b"H-"));
    assert_eq!(got, Some(Err(Failure::Stream(protocol))));
    assert!(link.is_broken());
    assert_eq!(counts.noise_bytes, 11);
}

#[test]
fn three_requests_without_a_byte_break_it_too() {
    let (mut link, mut counts, request) = link();
    for round in 0..3 {
        assert!(!link.is_broken());
        link.ask(1, request, ms(300 * round), &mut counts);
        link.give_up(ms(300 * round + 200), &mut counts);
    }
    assert!(link.is_broken());
}

#[test]
fn bytes_that_come_late_keep_the_connection() {
    let (mut link, mut counts, request) = link();
    for round in 0..3 {
        link.ask(1, request, ms(300 * round), &mut counts);
        link.give_up(ms(300 * round + 200), &mut counts);
    }
    link.handle_input(&answer(3, 1, 7), ms(801), &mut counts);
    assert!(!link.is_broken());
    assert_eq!(counts.late_answers, 1);
}
