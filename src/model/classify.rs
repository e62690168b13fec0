//! What a step in volume and concentrate was.
//!
//! Each kind of movement makes the concentrate grow with the volume in a way of
//! its own: δm = p·δV with p = 0 for water, the strength for premix, 1 for
//! concentrate and the sump's own share for mix let out. How well the step
//! fits is the density of δm − p·δV, whose variance follows from the step's;
//! with what is usual beforehand that gives the probability of each kind
//! (Bayes' rule).

use crate::units::Measured;

use super::movement::MovementKind;
use super::setup::BalanceSetup;
use super::state::Step;

/// How usual each kind of addition is (choice; the readings decide unless they
/// cannot tell).
const WATER: f64 = 0.40;
const PREMIX: f64 = 0.40;
const CONCENTRATE: f64 = 0.15;
/// For so many additions that counts beside those which were seen (choice).
const COUNTS_FOR: f64 = 4.0;
/// What is no more probable than this is not told.
const LEAST_CONFIDENCE: f64 = 0.5;
/// How usual it is that fluid as strong as the sump came back from the lines,
/// where nobody says when the pumps stand.
const LINES: f64 = 0.3;
/// How usual it is that what went out was mix.
const MIX_OUT: f64 = 0.9;
/// What runs into the lines again is as much as came back from them, to within
/// this share.
const SAME: f64 = 0.2;
/// What comes back from the lines differs from one time to the next by less than
/// this share (choice: twice what the balance takes for its deviation).
const AS_USUAL: f64 = 0.1;
/// A step of that size is so many times as probably of the lines: additions may
/// be anything up to a tenth of the volume or so (choice).
const BY_SIZE: f64 = 10.0;

/// What is so many deviations off the sump's own strength may still be of the
/// lines, with all that the instrument may have wandered before and after.
const LIKE_SUMP: f64 = 3.0;

/// How usual it is that what went in is what usually goes in.
const MADE_UP_AS_USUAL: f64 = 0.8;

/// How usual it is that a step is like none of the kinds.
const UNLIKE_ANY: f64 = 0.01;

/// The weakest premix that is told from water, as a share.
const WEAKEST: f64 = 0.005;
/// Strengths of premix that are tried.
const TRIED: usize = 40;

/// A step this many deviations from nothing is one.
const SIGNIFICANT: f64 = 4.0;
/// A strength that is known no better than this, as a share, is not told.
const MOST_DOUBT: f64 = 0.1;
/// A change of concentration without one of volume that is thought possible, as
/// a share of the volume.
const POSSIBLE: f64 = 0.04;

/// How much less usual it is that somebody poured in neat concentrate without
/// a word than that a film grows (choice: premix is the rule).
const UNWRITTEN: f64 = 0.2;
/// How much less usual it is that the instrument moved just when somebody wrote
/// down that something went in (choice).
const BESIDE_ENTRY: f64 = 0.1;

/// What make-up nobody writes down is usually of here: its strength as a share,
/// with the deviation from one time to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Usual {
    pub(super) share: f64,
    pub(super) deviation: f64,
}

/// How often each kind of addition was told of late: sums of how sure each was.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Often {
    pub(super) water: f64,
    pub(super) premix: f64,
    pub(super) concentrate: f64,
}

impl Often {
    /// How usual each kind is, as far as what was told can say.
    fn usual(&self) -> Often {
        let all = WATER + PREMIX + CONCENTRATE;
        let told = self.water + self.premix + self.concentrate;
        let of = |before: f64, told_of_it: f64| {
            (COUNTS_FOR * before + all * told_of_it) / (COUNTS_FOR + told)
        };
        Often {
            water: of(WATER, self.water),
            premix: of(PREMIX, self.premix),
            concentrate: of(CONCENTRATE, self.concentrate),
        }
    }
}

/// What is known of a step beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Beforehand {
    /// Of the lines.
    pub(super) lines: Lines,
    /// Of the make-up that nobody writes down.
    pub(super) usual: Option<Usual>,
    /// Of all additions that nobody writes down.
    pub(super) often: Often,
    /// Somebody wrote down about then that something went in.
    pub(super) written: bool,
}

/// What is known of the lines, which fill and drain as the pumps run and stand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Lines {
    /// There are none, or it is known when the pumps run: no step is theirs.
    Known,
    /// Nobody says when the pumps run.
    Unknown {
        /// What came back from them last and has not run in again, L.
        came_back_l: f64,
        /// How much came back from them or ran into them last, L.
        usual_l: f64,
        /// They have drained of late and not filled again since.
        stand: bool,
    },
}

/// The most probable kind, and how probable it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Guess {
    pub(super) kind: MovementKind,
    pub(super) confidence: f64,
    pub(super) litres: Measured,
    pub(super) strength_pct: Option<Measured>,
    pub(super) seen_strength_pct: Option<Measured>,
}

/// What a step was in a sump with this share of concentrate; none where it is
/// not sure that there was one. Whether anything was `written` down of an
/// addition about then counts where the level shows none.
pub(super) fn classify(
    step: &Step,
    share: f64,
    known: &Beforehand,
    setup: &BalanceSetup,
) -> Option<Guess> {
    let volume_counts = step.volume_l.abs() > SIGNIFICANT * step.volume_variance.sqrt();
    let concentrate_counts =
        step.concentrate_l.abs() > SIGNIFICANT * step.concentrate_variance.sqrt();
    if !volume_counts && !concentrate_counts {
        return None;
    }
    let candidates = match volume_counts {
        true if step.volume_l > 0.0 => came_in(step, share, known, setup),
        true => went_out(step, share, known.lines, setup),
        false => same_volume(step, known.written, setup),
    };
    let total: f64 = candidates.iter().map(|(_, weight)| weight).sum();
    let best = candidates.into_iter().max_by(|a, b| a.1.total_cmp(&b.1));
    let (kind, weight) = best.filter(|_| total > 0.0)?;
    let (kind, confidence) = match weight / total {
        // It is more probably something else, whatever that is.
        confidence if confidence < LEAST_CONFIDENCE => (MovementKind::Unclear, 1.0 - confidence),
        confidence => (kind, confidence),
    };
    Some(Guess {
        kind,
        confidence,
        litres: litres(step, kind),
        strength_pct: strength(step, kind, setup),
        seen_strength_pct: seen_strength(step).filter(|_| volume_counts),
    })
}

fn came_in(
    step: &Step,
    share: f64,
    known: &Beforehand,
    setup: &BalanceSetup,
) -> Vec<(MovementKind, f64)> {
    let strongest = (setup.strongest_premix_pct / 100.0).max(2.0 * WEAKEST);
    let premix: f64 = (0..TRIED)
        .map(|i| WEAKEST + (strongest - WEAKEST) * (i as f64 + 0.5) / TRIED as f64)
        .map(|p| fit(step, p))
        .sum::<f64>()
        / TRIED as f64;
    let as_usual = |litres: f64| (step.volume_l - litres).abs() < AS_USUAL * litres;
    let lines = match known.lines {
        // Fluid as weak as water is rather water.
        _ if share < 2.0 * WEAKEST => 0.0,
        // They have drained, and not filled again since.
        Lines::Unknown { stand: true, .. } => 0.0,
        Lines::Known => 0.0,
        Lines::Unknown { usual_l, .. } if as_usual(usual_l) => BY_SIZE * LINES,
        Lines::Unknown { .. } => LINES,
    };
    // Nothing is known of them yet, and it is no more than they hold.
    let first = |usual_l: f64| usual_l == 0.0 && step.volume_l <= setup.lines_l;
    if let Lines::Unknown {
        stand: false,
        usual_l,
        ..
    } = known.lines
        && (as_usual(usual_l) || first(usual_l))
        && share >= 2.0 * WEAKEST
        && like_sump(step, share, setup)
    {
        return vec![(MovementKind::Lines, 1.0)];
    }
    let often = known.often.usual();
    let (water, premix) = (often.water * fit(step, 0.0), often.premix * premix);
    let (water, premix) = match known.usual {
        Some(usual) if usual.share >= WEAKEST => (
            (1.0 - MADE_UP_AS_USUAL) * water,
            (1.0 - MADE_UP_AS_USUAL) * premix + MADE_UP_AS_USUAL * fit_about(step, usual),
        ),
        Some(_) => (
            MADE_UP_AS_USUAL * fit(step, 0.0) + (1.0 - MADE_UP_AS_USUAL) * water,
            (1.0 - MADE_UP_AS_USUAL) * premix,
        ),
        None => (water, premix),
    };
    vec![
        (MovementKind::Water, water),
        (MovementKind::Premix, premix),
        (
            MovementKind::Concentrate,
            often.concentrate * fit(step, 1.0),
        ),
        (MovementKind::Lines, lines * fit(step, share)),
        (MovementKind::Unclear, unlike_any(step)),
    ]
}

/// The step as if the instrument had wandered as far as the settings say before
/// it and after it, each by itself.
fn doubted(step: &Step, setup: &BalanceSetup) -> Step {
    let wander = setup.errors.wander_pct / 100.0 * setup.working_volume_l;
    Step {
        concentrate_variance: step.concentrate_variance + 2.0 * wander * wander,
        ..*step
    }
}

/// Whether it may well be as strong as the sump.
fn like_sump(step: &Step, share: f64, setup: &BalanceSetup) -> bool {
    let step = doubted(step, setup);
    let variance = step.concentrate_variance - 2.0 * share * step.covariance
        + share * share * step.volume_variance;
    let off = step.concentrate_l - share * step.volume_l;
    off * off < LIKE_SUMP * LIKE_SUMP * variance
}

fn went_out(
    step: &Step,
    share: f64,
    lines: Lines,
    setup: &BalanceSetup,
) -> Vec<(MovementKind, f64)> {
    let refills = |litres: f64| (step.volume_l + litres).abs() < SAME * litres;
    let kind = match lines {
        Lines::Unknown { came_back_l, .. } if refills(came_back_l) => MovementKind::Lines,
        _ => MovementKind::MixOut,
    };
    if kind == MovementKind::Lines && like_sump(step, share, setup) {
        return vec![(kind, 1.0)];
    }
    vec![
        (kind, MIX_OUT * fit(step, share)),
        (MovementKind::Unclear, unlike_any(step)),
    ]
}

/// The concentration changed and the volume did not: so little concentrate that
/// the level does not show it, or the instrument.
fn same_volume(step: &Step, written: bool, setup: &BalanceSetup) -> Vec<(MovementKind, f64)> {
    let possible = POSSIBLE * setup.working_volume_l;
    let by_instrument = density(step.volume_l, step.volume_variance) / possible;
    if step.concentrate_l < 0.0 {
        return vec![(MovementKind::Thinned, by_instrument)];
    }
    let (concentrate, instrument) = if written {
        (1.0, BESIDE_ENTRY)
    } else {
        (UNWRITTEN, 1.0)
    };
    vec![
        (
            MovementKind::Concentrate,
            concentrate * fit(step, 1.0) / possible,
        ),
        (MovementKind::Instrument, instrument * by_instrument),
    ]
}

/// The density of δm − p·δV where it should be nothing.
fn fit(step: &Step, p: f64) -> f64 {
    let variance =
        step.concentrate_variance - 2.0 * p * step.covariance + p * p * step.volume_variance;
    density(step.concentrate_l - p * step.volume_l, variance)
}

/// The same where p is only known to a deviation.
fn fit_about(step: &Step, usual: Usual) -> f64 {
    let p = usual.share;
    let variance = step.concentrate_variance - 2.0 * p * step.covariance
        + p * p * step.volume_variance
        + (usual.deviation * step.volume_l).powi(2);
    density(step.concentrate_l - p * step.volume_l, variance)
}

/// As usual as a step that is like none of the kinds: one in a hundred, its
/// strength anywhere between none and all, as far as the step's own doubt lets
/// that be told.
fn unlike_any(step: &Step) -> f64 {
    let doubt = (std::f64::consts::TAU * step.concentrate_variance).sqrt();
    UNLIKE_ANY / step.volume_l.abs().max(doubt).max(1e-9)
}

fn density(error: f64, variance: f64) -> f64 {
    let variance = variance.max(1e-12);
    (-0.5 * error * error / variance).exp() / (std::f64::consts::TAU * variance).sqrt()
}

fn litres(step: &Step, kind: MovementKind) -> Measured {
    match kind {
        MovementKind::Concentrate if step.concentrate_variance < step.volume_variance => {
            Measured::new(step.concentrate_l, step.concentrate_variance.sqrt())
        }
        _ => Measured::new(step.volume_l, step.volume_variance.sqrt()),
    }
}

/// The strength of the kind, or else as it was seen; of the instrument by how
/// much it jumped.
fn strength(step: &Step, kind: MovementKind, setup: &BalanceSetup) -> Option<Measured> {
    match kind {
        MovementKind::Water => Some(Measured::new(0.0, 0.0)),
        MovementKind::Concentrate => Some(Measured::new(100.0, 0.0)),
        MovementKind::Instrument | MovementKind::Thinned => {
            let scale = 100.0 / setup.working_volume_l;
            let deviation = step.concentrate_variance.sqrt();
            Some(Measured::new(scale * step.concentrate_l, scale * deviation))
        }
        MovementKind::Premix
        | MovementKind::MixOut
        | MovementKind::Lines
        | MovementKind::Unclear => seen_strength(step),
    }
}

/// The strength p = δm/δV, %, with its uncertainty; none where it does not
/// show.
fn seen_strength(step: &Step) -> Option<Measured> {
    let p = step.concentrate_l / step.volume_l;
    let variance =
        step.concentrate_variance - 2.0 * p * step.covariance + p * p * step.volume_variance;
    let deviation = variance.max(0.0).sqrt() / step.volume_l.abs();
    (deviation < MOST_DOUBT).then(|| Measured::new(100.0 * p, 100.0 * deviation))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::testing;

    const NOTHING: Beforehand = Beforehand {
        lines: Lines::Known,
        usual: None,
        often: Often {
            water: 0.0,
            premix: 0.0,
            concentrate: 0.0,
        },
        written: false,
    };

    fn step(volume_l: f64, concentrate_l: f64) -> Step {
        Step {
            volume_l,
            concentrate_l,
            volume_variance: 1.0,
            concentrate_variance: 0.15_f64.powi(2),
            covariance: 0.0,
        }
    }

    fn kind(volume: f64, concentrate: f64) -> Option<MovementKind> {
        classify(
            &step(volume, concentrate),
            0.08,
            &NOTHING,
            &testing::setup(),
        )
        .map(|guess| guess.kind)
    }

    #[test]
    fn each_kind_is_told_by_how_concentrate_goes_with_volume() {
        assert_eq!(kind(40.0, 0.1), Some(MovementKind::Water));
        assert_eq!(kind(40.0, 2.0), Some(MovementKind::Premix));
        assert_eq!(kind(10.0, 9.0), Some(MovementKind::Concentrate));
        assert_eq!(kind(-50.0, -4.1), Some(MovementKind::MixOut));
        assert_eq!(kind(3.4, 3.4), Some(MovementKind::Concentrate));
        assert_eq!(kind(-1.2, 1.4), Some(MovementKind::Instrument));
        assert_eq!(kind(0.3, -1.4), Some(MovementKind::Thinned));
        assert_eq!(kind(2.0, 0.2), None);
        assert_eq!(kind(40.0, -5.0), Some(MovementKind::Unclear));
    }

    #[test]
    fn what_is_as_strong_as_the_sump_is_of_the_lines_where_nobody_knows_the_pumps() {
        let kind = |volume, concentrate, came_back_l| {
            let lines = Lines::Unknown {
                came_back_l,
                usual_l: 0.0,
                stand: false,
            };
            classify(
                &step(volume, concentrate),
                0.08,
                &Beforehand { lines, ..NOTHING },
                &testing::setup(),
            )
            .map(|g| g.kind)
        };
        assert_eq!(kind(50.0, 4.0, 0.0), Some(MovementKind::Lines));
        assert_eq!(kind(-51.0, -4.1, 50.0), Some(MovementKind::Lines));
        assert_eq!(kind(-80.0, -6.4, 50.0), Some(MovementKind::MixOut));
        assert_eq!(kind(50.0, 0.1, 0.0), Some(MovementKind::Water));
    }

    #[test]
    fn what_usually_goes_in_is_believed_where_the_readings_cannot_tell() {
        let kind = |share: Option<f64>| {
            let usual = share.map(|share| Usual {
                share,
                deviation: 0.002,
            });
            let weak = step(20.0, 0.25);
            classify(
                &weak,
                0.08,
                &Beforehand { usual, ..NOTHING },
                &testing::setup(),
            )
            .map(|g| g.kind)
        };
        assert_eq!(kind(Some(0.02)), Some(MovementKind::Premix));
        assert_eq!(kind(Some(0.0)), Some(MovementKind::Water));
    }

    #[test]
    fn beside_an_entry_it_is_rather_concentrate_than_the_instrument() {
        let kind = |written| {
            let step = step(-0.8, 1.5);
            classify(
                &step,
                0.08,
                &Beforehand { written, ..NOTHING },
                &testing::setup(),
            )
            .map(|g| g.kind)
        };
        assert_eq!(kind(false), Some(MovementKind::Instrument));
        assert_eq!(kind(true), Some(MovementKind::Concentrate));
    }

    #[test]
    fn what_is_as_large_as_usual_is_rather_of_the_lines() {
        let kind = |usual_l| {
            let lines = Lines::Unknown {
                came_back_l: 0.0,
                usual_l,
                stand: false,
            };
            classify(
                &step(50.0, 4.5),
                0.08,
                &Beforehand { lines, ..NOTHING },
                &testing::setup(),
            )
            .map(|g| g.kind)
        };
        assert_eq!(kind(0.0), Some(MovementKind::Lines));
        assert_eq!(kind(51.0), Some(MovementKind::Lines));
        assert_eq!(kind(60.0), Some(MovementKind::Premix));
    }

    #[test]
    fn what_may_be_as_strong_as_the_sump_is_of_the_lines_if_it_is_as_large_as_usual() {
        let kind = |step: Step, came_back_l, stand| {
            let lines = Lines::Unknown {
                came_back_l,
                usual_l: 50.0,
                stand,
            };
            let known = Beforehand { lines, ..NOTHING };
            classify(&step, 0.08, &known, &testing::setup()).map(|g| g.kind)
        };
        // Surely told by its own doubt alone, and not with the wandering.
        assert_eq!(kind(step(50.0, 4.6), 0.0, false), Some(MovementKind::Lines));
        assert_eq!(
            kind(step(50.0, 4.6), 50.0, true),
            Some(MovementKind::Premix)
        );
        assert_eq!(
            kind(step(50.0, 6.0), 0.0, false),
            Some(MovementKind::Premix)
        );
        assert_eq!(kind(step(50.0, 0.1), 0.0, false), Some(MovementKind::Water));
        assert_eq!(
            kind(step(-50.0, -3.4), 50.0, true),
            Some(MovementKind::Lines)
        );
    }

    #[test]
    fn what_usually_went_in_counts_where_the_concentration_tells_nothing() {
        let blind = Step {
            concentrate_variance: 1e4,
            ..step(12.0, 0.0)
        };
        let guess = |water| {
            let often = Often {
                water,
                ..Often::default()
            };
            let known = Beforehand { often, ..NOTHING };
            classify(&blind, 0.08, &known, &testing::setup()).unwrap()
        };
        assert_eq!(guess(0.0).kind, MovementKind::Unclear);
        assert_eq!(guess(12.0).kind, MovementKind::Water);
        assert!(guess(12.0).confidence < 0.9);
    }

    #[test]
    fn premix_comes_with_its_strength() {
        let guess = classify(&step(40.0, 2.0), 0.08, &NOTHING, &testing::setup()).unwrap();
        let strength = guess.strength_pct.unwrap();
        assert!((strength.value - 5.0).abs() < 1e-9, "{strength:?}");
        assert!((strength.uncertainty - 0.395).abs() < 0.01, "{strength:?}");
        assert!(guess.confidence > 0.95, "{}", guess.confidence);
    }
}
