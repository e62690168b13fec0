//! What holds where a plant settles nothing, and where each number is from.
//!
//! "Memory" is a number of the trade recalled without its source at hand;
//! "choice" is one of our own, with its reason. config/ tells the same to the
//! people who write settings.

use crate::engine::Priority;
use crate::units::{Quantity, RelativeCoefficient, Span};

/// First level of topics. Choice.
pub(super) const BASE_TOPIC: &str = "sumpward";
/// Language of messages. Choice: one that most who set a plant up can read.
pub(super) const LANGUAGE: &str = "en";
/// Time zone of the plant. Choice: it means the same everywhere, and the
/// machine's own zone is often not the plant's.
pub(super) const TIME_ZONE: &str = "UTC";
/// Time until a reading is on the disk. Choice: twenty commits a second wear
/// no disk; alarms never wait for it.
pub(super) const COMMIT_AFTER: Span = Span::from_millis(50);
/// Waiting messages. Choice: some 50 MB, weeks of alarms.
pub(super) const OUTBOX_MAX_ROWS: u32 = 100_000;
/// Age at which readings are packed. Choice: a shift can be looked at as plain
/// rows.
pub(super) const PACK_AFTER: Span = Span::from_hours(6);
/// Time that readings and estimates are kept. Choice: a year and the same
/// season of the one before, some 100 MB for a hundred channels that report
/// once a minute.
pub(super) const KEEP_READINGS: Option<Span> = Some(Span::from_hours(24 * 400));
/// Time that minutes are kept. Choice: as long as the readings.
pub(super) const KEEP_MINUTES: Option<Span> = KEEP_READINGS;
/// Time that hours are kept. Choice: longer than most machines stand.
pub(super) const KEEP_HOURS: Option<Span> = Some(Span::from_hours(24 * 3653));
/// Most megabytes of the store. Choice: the half of a small industrial
/// computer's disk.
pub(super) const MAX_MB: u32 = 16_000;
/// Megabytes that stay free on its disk. Choice: what the write-ahead log and a
/// system's own logs need for a day in which nobody looks.
pub(super) const MIN_FREE_MB: u32 = 1_000;
/// Threads of the engine. Choice: one carries a thousand sumps.
pub(super) const ENGINE_THREADS: u16 = 1;

/// Port without and with encryption. IANA service name registry: mqtt,
/// secure-mqtt.
pub(super) const PORTS: (u16, u16) = (1883, 8883);
/// Keep-alive. Choice: a dead link is noticed within a minute.
pub(super) const KEEP_ALIVE: Span = Span::from_secs(30);
/// Packet size. Choice: a hundred times a usual reading's message.
pub(super) const MAX_PACKET: u32 = 256 * 1024;
/// Unacknowledged messages. Choice: it bounds the memory to one large batch.
pub(super) const RECEIVE_MAXIMUM: u16 = 4096;
/// Session expiry. Choice: longer than a shut-down over bank holidays.
pub(super) const SESSION_EXPIRY: Span = Span::from_hours(7 * 24);

/// Whether edge nodes are asked for a birth. Choice: without it nothing given
/// by alias can be read until they are born by themselves.
pub(super) const ASK_REBIRTH: bool = true;

/// Ports of mail with STARTTLS, with TLS from the first byte, and without
/// either. IANA service name registry: submission, submissions, smtp.
pub(super) const SUBMISSION_PORT: u16 = 587;
/// See [`SUBMISSION_PORT`].
pub(super) const SUBMISSIONS_PORT: u16 = 465;
/// See [`SUBMISSION_PORT`].
pub(super) const SMTP_PORT: u16 = 25;
/// How long a message to a person is tried. Choice: over a weekend; later it
/// tells of the past.
pub(super) const EXPIRE_AFTER: Span = Span::from_hours(3 * 24);

/// Where pages are served. Choice: this machine alone, on a port that IANA has
/// given to nobody (memory).
pub(super) const WEB_LISTEN: &str = "127.0.0.1:8480";

/// How long a link in a message is good. Choice: over a weekend, as long as
/// messages are tried.
pub(super) const LINK_VALID: Span = Span::from_hours(3 * 24);

/// Lines that the sumps may take in `/metrics`. Choice: 450 sumps of six channels,
/// some 3 MB a scrape.
pub(super) const METRICS_MAX_SERIES: u32 = 20_000;

/// Lines that are sent at once to a server of series. Choice: about a megabyte,
/// which such servers and what stands before them take.
pub(super) const FORWARD_BATCH: u32 = 10_000;
/// For a write to such a server. Choice: one that indexes anew takes its time.
pub(super) const FORWARD_TIMEOUT: Span = Span::from_secs(30);
/// For a connection to it. Choice: networks of plants are slow, not that slow.
pub(super) const FORWARD_CONNECT_TIMEOUT: Span = Span::from_secs(5);

/// TCP port of Modbus. IANA service name registry: mbap.
pub(super) const MODBUS_PORT: u16 = 502;
/// Rate of a line of Modbus slaves. Memory: Modbus over serial line V1.02,
/// section 3.2.
pub(super) const MODBUS_BAUD: u32 = 19_200;
/// How often registers are asked for. Choice: sumps change within minutes.
pub(super) const MODBUS_POLL: Span = Span::from_secs(10);
/// Waiting for an answer. Choice: several times what devices take.
pub(super) const MODBUS_TIMEOUT: Span = Span::from_millis(500);
/// The slowest answer that may come. Choice: twice the timeout.
pub(super) const MODBUS_LATENCY: Span = Span::from_secs(1);
/// Registers read that nobody wants. Choice: none, since a device may refuse a
/// whole request for one register that it does not have.
pub(super) const MODBUS_GAP: u16 = 0;
/// Rate of a port with lines. Common practice, no source.
pub(super) const SERIAL_BAUD: u32 = 9600;
/// Before the digits of a check. Common practice, no source.
pub(super) const CHECK_MARK: &str = "*";

/// Trust in times. Choice: clocks set by NTP are far nearer than a minute.
pub(super) const FUTURE_SKEW: Span = Span::from_secs(60);
/// Trust in times. Choice: as long as brokers keep our session.
pub(super) const OLDEST: Span = Span::from_hours(7 * 24);
/// Lateness. Choice: more than the jitter of gateways that send in bundles.
pub(super) const LATE_AFTER: Span = Span::from_mins(2);

/// Relative standard uncertainty of an amount that people or meters measure
/// out. Memory.
pub(super) const METERING: f64 = 0.02;

/// Relative standard uncertainty of a chart. Memory: factors vary a few per
/// cent with the lot of the concentrate.
pub(super) const CHART_UNCERTAINTY: f64 = 0.05;
/// Relative standard uncertainty of what is told of a water. Choice: waterworks
/// give yearly means, test sets read to a tenth or so.
pub(super) const WATER_UNCERTAINTY: f64 = 0.1;
/// Rise of pH with a tenfold concentration. Memory.
pub(super) const PH_PER_DECADE: f64 = 0.5;
/// Coefficient of conductivity. Memory: 1.9 to 2.1 %/K.
pub(super) const CONDUCTIVITY_COEFFICIENT: RelativeCoefficient =
    RelativeCoefficient::from_percent_per_kelvin(2.0);
/// Half width of the window, points. Memory.
pub(super) const WINDOW_HALF: f64 = 1.0;
/// How far the urgent limits lie outside of the target, points. Memory.
pub(super) const URGENT_HALF: f64 = 2.0;
/// Largest volume as a share of the working volume. Memory.
pub(super) const MAX_SHARE: f64 = 1.05;

/// Strongest premix, %. Memory: above 20 to 25 % premixes are hard to make.
pub(super) const STRONGEST_PREMIX: f64 = 20.0;
/// Dosing step in litres and in US gallons. Choice: marks of a common measuring
/// can.
pub(super) const DOSE_STEP: (f64, f64) = (1.0, 0.25);
/// Dead band of doses, points. Memory: 0.25 to 0.5.
pub(super) const DOSE_DEAD_BAND: f64 = 0.3;
/// Most that one dose moves the concentration by, points. Memory: 1 to 2.
pub(super) const LARGEST_STEP: f64 = 2.0;
/// Longest wait for losses that is recommended. Choice: rust and growth begin
/// within days in a mix that is too lean.
pub(super) const LONGEST_WAIT: Span = Span::from_hours(24);
/// Good readings in a row before a dose. Memory: 2 to 3.
pub(super) const GOOD_READINGS: u8 = 3;
/// Turnovers until mixed. Perfect mixing leaves exp(−5) = 0.7 % of a step.
pub(super) const TURNOVERS: f64 = 5.0;
/// Shortest mixing time. Memory.
pub(super) const MIN_MIXING: Span = Span::from_mins(30);

/// How long a cleaner circulates in the old fluid. Memory: 8 to 24 h.
pub(super) const CLEANER_TIME: Span = Span::from_hours(12);
/// Rinses. Choice: one is the least; it is repeated until it runs clear.
pub(super) const RINSES: u16 = 1;
/// Volume of a rinse as a share of the whole. Memory: a fifth.
pub(super) const RINSE_SHARE: f64 = 0.2;
/// Strength of a rinse, %. Memory: 0.5 to 1 %.
pub(super) const RINSE_STRENGTH: f64 = 1.0;
/// How long a rinse circulates. Memory: 15 to 60 min.
pub(super) const RINSE_TIME: Span = Span::from_mins(30);
/// Old fluid in the new charge that must not be reached. Memory: 5 %.
pub(super) const CARRY_OVER: f64 = 0.05;
/// Points above the target for the first fill. Memory: 1 to 2.
pub(super) const FIRST_FILL_SURPLUS: f64 = 1.0;
/// How long a new charge circulates before it is measured. Memory: 30 to
/// 60 min.
pub(super) const SETTLE: Span = Span::from_mins(60);

/// Silence of a state, where none is written: it usually reports its changes
/// only, so that it may be quiet for days. Choice.
pub(super) const STATE_SILENT_AFTER: Span = NEVER;
/// So long is never; beyond every plant. Choice.
pub(super) const NEVER: Span = Span::from_hours(24 * 365 * 1000);
/// Silence of a metric of Sparkplug B. Choice: it is sent when it changes, and
/// its death tells at once that it is gone; a value that stands still for a
/// whole day is worth a look all the same.
pub(super) const METRIC_SILENT_AFTER: Span = Span::from_hours(24);
/// Silence. Memory: an online reading is stale after a quarter of an hour.
pub(super) const SILENT_AFTER: Span = Span::from_mins(15);
/// Smoothing. Choice: far below the hours in which a sump changes, far above
/// the seconds in which bubbles pass.
pub(super) const SMOOTH: Span = Span::from_mins(5);
/// Despiking window. Choice: a true step counts as one after half of it,
/// sooner than an addition counts as mixed.
pub(super) const DESPIKE_WINDOW: Span = Span::from_mins(15);
/// Despiking threshold. The usual three robust standard deviations of the
/// Hampel identifier; memory.
pub(super) const DESPIKE_SIGMAS: f64 = 3.0;

/// Standing still in the last digit. Memory: 4 to 12 h.
pub(super) const FROZEN_AFTER: Span = Span::from_hours(6);
/// Share of spikes. Choice: the despiking filter bears up to a half, and single
/// bubbles are usual.
pub(super) const SPIKE_SHARE: f64 = 0.2;
/// Settling after cleaning or calibration. Choice: several times the smoothing.
pub(super) const FUNCTION_CHECK: Span = Span::from_mins(15);

/// On-delay of alarms. Memory: 10 to 30 min for slow chemistry.
pub(super) const ALARM_DELAY: Span = Span::from_mins(10);
/// Off-delay of limits: what bubbles or foam take back and bring
/// again within half an hour is one alarm. Memory: as [`ALARM_DELAY`].
pub(super) const LIMIT_OFF_DELAY: Span = Span::from_mins(30);
/// Hurry of an alarm by a rule of the plant's own. Choice: as of a limit that
/// is not urgent.
pub(super) const RULE_PRIORITY: Priority = Priority::Medium;

/// Limits of pH: low-low, low, high, high-high. Memory.
pub(super) const PH_LIMITS: [Option<f64>; 4] = [Some(8.5), Some(8.7), Some(9.6), Some(9.8)];
/// Limits of temperature, °C. Memory.
pub(super) const TEMPERATURE_LIMITS: [Option<f64>; 4] = [None, None, Some(32.0), Some(38.0)];
/// Limits of the level as shares of the working volume; high-high is the
/// largest volume allowed. Memory.
pub(super) const LEVEL_LIMITS: [f64; 3] = [0.70, 0.85, 1.02];

/// Dead band of limits, in the quantity's unit. Memory: 0.2 to 0.3 points of
/// concentration, 0.1 pH; temperature 1 K. Conductivity: 3 % (memory) of a
/// usual 3 mS/cm. Pressure and flow: choice, about the steps of their
/// instruments. The level's is [`LEVEL_DEAD_BAND`].
pub(super) const fn dead_band(quantity: Quantity) -> f64 {
    match quantity {
        Quantity::Concentration => 0.25,
        Quantity::Ph => 0.1,
        Quantity::Conductivity => 90.0,
        Quantity::Temperature => 1.0,
        Quantity::Pressure => 0.05,
        Quantity::Flow => 1.0,
        _ => 0.0,
    }
}
/// Dead band of the level as a share of the working volume. A table after
/// EEMUA 191, seen second hand: 2 % for levels.
pub(super) const LEVEL_DEAD_BAND: f64 = 0.02;

/// What instruments of a quantity are like, in the quantity's unit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Likeness {
    /// Lowest and highest value that can be true. Memory.
    pub(super) plausible: (f64, f64),
    /// Least robust standard deviation in despiking: about the resolution.
    pub(super) floor: f64,
    /// Standard uncertainty of one smoothed reading. Memory.
    pub(super) uncertainty: f64,
    /// Distance of a hand reading that casts doubt on the channel. Memory;
    /// pH: the coarser of the two steps of indicator sticks that DGUV Regel
    /// 109-003, section 7.1 accepts.
    pub(super) hand_tolerance: f64,
}

/// How far the zero of an instrument of this quantity wanders within hours, and
/// drifts in ten days, as standard deviations in the quantity's unit: prism and
/// cell foul, films come and go. Memory.
pub(super) const fn unsteadiness(quantity: Quantity) -> (f64, f64) {
    match quantity {
        Quantity::Brix => (0.02, 0.1),
        Quantity::Concentration => (0.03, 0.15),
        _ => (0.0, 0.0),
    }
}

/// What instruments of a quantity are like, in a tank of `height` metres and a
/// sump of `working` litres.
pub(super) const fn likeness(quantity: Quantity, height: f64, working: f64) -> Likeness {
    let (plausible, floor, uncertainty, hand_tolerance) = match quantity {
        Quantity::Brix => ((-1.0, 30.0), 0.1, 0.1, 0.3),
        Quantity::Concentration => ((0.0, 30.0), 0.1, 0.2, 0.5),
        Quantity::Ph => ((4.0, 12.0), 0.02, 0.1, 0.3),
        Quantity::Conductivity => ((0.0, 20_000.0), 10.0, 60.0, 200.0),
        Quantity::Temperature => ((0.0, 70.0), 0.1, 0.5, 2.0),
        Quantity::Level => ((0.0, 1.05 * height), 0.002, 0.005, 0.02),
        Quantity::Volume => (
            (0.0, 1.5 * working),
            0.002 * working,
            0.01 * working,
            0.03 * working,
        ),
        Quantity::Hardness => ((0.0, 5_000.0), 5.0, 20.0, 40.0),
        Quantity::Chloride => ((0.0, 5_000.0), 2.0, 10.0, 20.0),
        Quantity::Nitrite => ((0.0, 500.0), 0.5, 2.0, 5.0),
        Quantity::Bacteria | Quantity::Fungi => ((0.0, 1e9), 1e3, 1e4, 1e5),
        Quantity::TrampOil => ((0.0, 100.0), 0.1, 0.5, 1.0),
        Quantity::DissolvedOxygen => ((0.0, 20.0), 0.05, 0.2, 0.5),
        Quantity::Redox => ((-1_000.0, 1_000.0), 2.0, 10.0, 30.0),
        Quantity::Flow => ((0.0, 20_000.0), 0.5, 1.0, 5.0),
        Quantity::Pressure => ((-1.0, 200.0), 0.01, 0.05, 0.2),
        Quantity::Metered => ((0.0, 1e12), 0.0, 1.0, 5.0),
        Quantity::State => ((0.0, 1.0), 0.0, 0.1, 0.5),
    };
    Likeness {
        plausible,
        floor,
        uncertainty,
        hand_tolerance,
    }
}

/// What a number of this quantity can be at all, in the quantity's unit; wider
/// than any plant needs, it only catches slips of the decimal point.
pub(super) const fn conceivable(quantity: Quantity) -> (f64, f64) {
    match quantity {
        Quantity::Brix => (-10.0, 95.0),
        Quantity::Concentration => (0.0, 100.0),
        Quantity::Ph => (0.0, 14.0),
        Quantity::Conductivity => (0.0, 1_000_000.0),
        Quantity::Temperature => (-50.0, 200.0),
        Quantity::Level => (-1.0, 50.0),
        Quantity::Volume => (0.0, 10_000_000.0),
        Quantity::Hardness | Quantity::Chloride | Quantity::Nitrite => (0.0, 100_000.0),
        Quantity::Bacteria | Quantity::Fungi => (0.0, 1e12),
        Quantity::TrampOil => (0.0, 100.0),
        Quantity::DissolvedOxygen => (0.0, 100.0),
        Quantity::Redox => (-5_000.0, 5_000.0),
        Quantity::Flow => (0.0, 1_000_000.0),
        Quantity::Pressure => (-1.0, 10_000.0),
        Quantity::Metered => (0.0, 1e15),
        Quantity::State => (0.0, 1.0),
    }
}
