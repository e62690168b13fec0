use super::super::pdu::Table;
use super::super::pdu::{AnswerError, Exception};
use super::*;

const SLAVE: u8 = 3;

fn ms(millis: u64) -> Duration {
    Duration::from_millis(millis)
}

fn setup() -> RtuSetup {
    RtuSetup {
        timing: Timing::of(9600),
        timeout: ms(200),
        latency: ms(1000),
        pause: Duration::ZERO,
    }
}

/// A link that has rested, what it counts, and a request for two registers.
fn rested() -> (RtuLink, Counts, Request, Duration) {
    let link = RtuLink::new(setup(), Duration::ZERO);
    let now = link.ready_at();
    let request = Request::new(Table::Input, 10, 2).unwrap();
    (link, Counts::default(), request, now)
}

fn frame(slave: u8, words: &[u8]) -> Vec<u8> {
    rtu::encode(slave, words)
}

fn answer() -> Vec<u8> {
    frame(SLAVE, &[4, 4, 0, 1, 0, 2])
}

#[test]
fn rests_for_the_latency_after_opening() {
    let (link, ..) = rested();
    // 1 s, 256 characters of 11 bits at 9600 bit/s, and 3.5 of silence.
    assert_eq!(link.ready_at().as_millis(), 1000 + 293 + 4);
    assert_eq!(link.deadline(), None);
}

#[test]
fn an_answer_may_come_in_portions() {
    let (mut link, mut counts, request, now) = rested();
    let sent = link.ask(SLAVE, request, now, &mut counts);
    assert_eq!(sent, frame(SLAVE, &[4, 0, 10, 0, 2]));
    let answer = answer();
    assert_eq!(
        link.handle_input(&answer[..2], now + ms(30), &mut counts),
        None
    );
    // 16 ms between portions of an adapter.
    assert_eq!(
        link.handle_input(&answer[2..6], now + ms(46), &mut counts),
        None
    );
    let got = link.handle_input(&answer[6..], now + ms(62), &mut counts);
    assert_eq!(got, Some(Ok(Answer::Registers(vec![1, 2]))));
    assert_eq!(link.ready_at(), now + ms(62) + setup().timing.silence());
    assert_eq!(counts, Counts::default());
}

#[test]
fn an_exception_ends_the_request() {
    let (mut link, mut counts, request, now) = rested();
    link.ask(SLAVE, request, now, &mut counts);
    let refusal = frame(SLAVE, &[0x84, 2]);
    let got = link.handle_input(&refusal, now + ms(30), &mut counts);
    assert_eq!(got, Some(Ok(Answer::Exception(Exception(2)))));
}

#[test]
fn a_late_answer_is_dropped_and_counted() {
    let (mut link, mut counts, request, now) = rested();
    link.ask(SLAVE, request, now, &mut counts);
    let deadline = link.deadline().unwrap();
    // 8 and 9 characters on the wire, and the timeout.
    assert_eq!((deadline - now).as_millis(), 200 + 19);
    assert_eq!(link.give_up(deadline, &mut counts), Failure::Silent);
    let rest = link.ready_at() - deadline;
    assert_eq!(rest.as_millis(), 1000 + 10 + 4);
    let late = deadline + ms(900);
    assert_eq!(link.handle_input(&answer(), late, &mut counts), None);
    // The same request again: its own answer is waited for.
    link.ask(SLAVE, request, link.ready_at(), &mut counts);
    assert_eq!(counts.late_answers, 1);
    assert!(link.deadline().is_some());
}

#[test]
fn bytes_during_the_rest_prolong_it_to_a_silence() {
    let (mut link, mut counts, ..) = rested();
    let end = link.ready_at();
    let last = end - Duration::from_millis(1);
    link.handle_input(&[0], last, &mut counts);
    assert_eq!(link.ready_at(), last + setup().timing.silence());
    // Early ones do not.
    let (mut link, ..) = rested();
    link.handle_input(&[0], ms(5), &mut counts);
    assert_eq!(link.ready_at(), end);
}

#[test]
fn what_is_not_the_answer_is_dropped_up_to_the_next_silence() {
    let unfit: [(Vec<u8>, Failure); 7] = [
        (vec![0], Failure::OtherSlave { found: 0 }),
        (
            frame(4, &[4, 4, 0, 1, 0, 2]),
            Failure::OtherSlave { found: 4 },
        ),
        (frame(SLAVE, &[3, 4, 0, 1, 0, 2]), {
            let (asked, function) = (4, 3);
            AnswerError::Function { asked, function }.into()
        }),
        (frame(SLAVE, &[4, 2, 0, 1]), {
            let (asked, found) = (4, 2);
            AnswerError::ByteCount { asked, found }.into()
        }),
        ([answer(), vec![0]].concat(), Failure::Surplus),
        (vec![SLAVE, 4, 4, 0, 1, 0, 2, 0, 0], {
            let computed = super::super::crc::crc16(&[SLAVE, 4, 4, 0, 1, 0, 2]);
            rtu::FrameError::Check { found: 0, computed }.into()
        }),
        (vec![SLAVE, 4, 4], Failure::Cut),
    ];
    for (bytes, why) in unfit {
        // Alone it is the reason of the failure.
        let (mut link, mut counts, request, now) = rested();
        link.ask(SLAVE, request, now, &mut counts);
        assert_eq!(link.handle_input(&bytes, now + ms(20), &mut counts), None);
        // Right behind it nothing is believed.
        assert_eq!(
            link.handle_input(&answer(), now + ms(21), &mut counts),
            None
        );
        let told = link.give_up(link.deadline().unwrap(), &mut counts);
        if why != Failure::Cut {
            assert_eq!(told, why);
        }
        // After a silence the answer is.
        let (mut link, mut counts, request, now) = rested();
        link.ask(SLAVE, request, now, &mut counts);
        link.handle_input(&bytes, now + ms(20), &mut counts);
        let got = link.handle_input(&answer(), now + ms(160), &mut counts);
        assert_eq!(got, Some(Ok(Answer::Registers(vec![1, 2]))), "after {why}");
        assert_eq!(counts.late_answers + counts.noise_bytes.min(1), 1, "{why}");
    }
}

#[test]
fn a_beginning_alone_is_cut() {
    let (mut link, mut counts, request, now) = rested();
    link.ask(SLAVE, request, now, &mut counts);
    link.handle_input(&[SLAVE, 4, 4], now + ms(20), &mut counts);
    let deadline = link.deadline().unwrap();
    assert_eq!(link.give_up(deadline, &mut counts), Failure::Cut);
    assert_eq!(counts.noise_bytes, 3);
}

#[test]
fn noise_without_end_takes_no_memory() {
    let (mut link, mut counts, request, now) = rested();
    link.ask(SLAVE, request, now, &mut counts);
    for _ in 0..1000 {
        link.handle_input(&[0x55; 100], now + ms(20), &mut counts);
    }
    assert_eq!(link.burst.len(), LONGEST);
    link.give_up(now + ms(300), &mut counts);
    assert_eq!(counts.noise_bytes, 100_000);
}
