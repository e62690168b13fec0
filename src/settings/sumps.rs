//! The sumps: from what a plant writes down to what the engine needs.

use std::collections::BTreeSet;

use crate::engine::{ChannelSetup, ChoiceLimits, FluidSetup, SeriesIx, SumpSetup};
use crate::units::{Brix, Concentration, Flow, Parse, Quantity, Volume};
use crate::vessel::Vessel;

use super::build_vessel;
use super::calibration;
use super::channel_kind;
use super::channels::{self, Surroundings, What};
use super::check_plan::{self, Sources};
use super::cleaners::Cleaners;
use super::defaults;
use super::dose;
use super::fluid_class::FluidClass;
use super::fluids::{Fluids, Sheet};
use super::key_path::KeyPath;
use super::limits::{self, Basis};
use super::masters;
use super::measure;
use super::origin::{self, Ways};
use super::plan_rules;
use super::plant::{Route, SeriesKind, SeriesSetup};
use super::prices::PlantPrices;
use super::problem::Problem;
use super::pump;
use super::raw::{Named, RawChannel, RawChecks, RawSump};
use super::recharge;
use super::registers::Taken;
use super::remark::Remarked;
use super::review::Review;
use super::rules::{self, Watched};
use super::rules_channels;
use super::scale;
use super::shifts::PlantShifts;
use super::signs;
use super::topics::Claim;
use super::volumes::{self, Volumes};
use super::waters::{self, Waters};
use super::window;
use super::written::{Switch, Written};

/// What sumps refer to.
#[derive(Debug)]
pub(super) struct Surrounding<'a> {
    /// The fluids by name.
    pub(super) fluids: &'a Fluids,
    /// When machines work, where a sump says nothing else.
    pub(super) shifts: &'a PlantShifts,
    /// The check plan, where a sump says nothing else.
    pub(super) checks: Option<&'a Switch<RawChecks>>,
    /// The waters by name.
    pub(super) waters: &'a Waters,
    /// The cleaners by name.
    pub(super) cleaners: &'a Cleaners,
    /// What the plant pays.
    pub(super) prices: Option<PlantPrices>,
    /// From where on charges are to be changed.
    pub(super) choice: Option<ChoiceLimits>,
    /// Where readings can come from.
    pub(super) ways: Ways<'a>,
}

/// The sumps and what comes with them. Nothing stands in place of what is
/// wrong.
#[derive(Debug, Default)]
pub(super) struct Sumps {
    /// Their names, in order.
    pub(super) names: Vec<String>,
    /// Their setups, in the same order.
    pub(super) setups: Vec<Option<SumpSetup>>,
    /// Where their readings come from.
    pub(super) routes: Vec<Option<Route>>,
    /// Their series.
    pub(super) series: Vec<SeriesSetup>,
    /// The topics that they take.
    pub(super) claims: Vec<Claim>,
    /// The registers that they take.
    pub(super) taken: Vec<Taken>,
}

/// Reads every sump.
pub(super) fn sumps(review: &mut Review, tables: Named, around: &Surrounding<'_>) -> Sumps {
    let at = KeyPath::root().key("sump");
    let mut sumps = Sumps::default();
    for (name, part) in tables.unwrap_or_default() {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawSump = review.take(&at, part);
        let setup = sumps.read(review, &at, &name, raw, around);
        sumps.names.push(name);
        sumps.setups.push(setup);
    }
    if sumps.names.is_empty() {
        review.missing(&at, "a table [sump.cell-a] with fluid, target and so on");
    }
    sumps
}

impl Sumps {
    fn read(
        &mut self,
        review: &mut Review,
        at: &KeyPath,
        name: &str,
        mut raw: RawSump,
        around: &Surrounding<'_>,
    ) -> Option<SumpSetup> {
        let (fluid, class) = fluid(review, at, &raw, around.fluids)
            .map_or((None, None), |sheet| (Some(sheet.fluid), sheet.class));
        let vessel = built_vessel(review, at, &raw);
        let volumes = volumes::volumes(review, at, &raw, vessel.as_ref());
        let target = window::target(review, at, &raw);
        remark_target(review, at, target, class);
        let window = window::window(review, at, &raw, target);
        let surroundings = Surroundings {
            height: vessel.as_ref().map(|vessel| vessel.height().metres()),
            working: volumes.working,
        };
        let surroundings = Around {
            sources: around,
            likeness: surroundings,
            fluid: fluid.as_deref(),
        };
        let read = self.channels(review, at, name, &mut raw, &surroundings);
        let basis = Basis {
            target,
            window,
            class,
            working: volumes.working,
            max: volumes.max,
            measured: read.measured,
        };
        let limits = raw.limits.unwrap_or_default();
        let limits = limits::limits(review, &at.key("limits"), &limits, &basis);
        let rules = raw.rules.unwrap_or_default();
        let of_plan = read.channels.as_ref().and_then(|channels| {
            let sources = Sources {
                plant: around.checks,
                sump: (at, raw.checks.as_ref()),
            };
            let plan = check_plan::check_plan(review, sources, channels)?;
            plan_rules::rules(review, &at.key("rules"), &rules, plan)
        });
        let of_channels = rules_channels::of_channels(review, &at.key("rules"), &rules);
        let shifts = around.shifts.at_sump(review, at, raw.shifts.as_ref());
        let rules = read.channels.as_ref().and_then(|channels| {
            let watched = Watched {
                channels,
                working: volumes.working,
                shifts: matches!(shifts, Some(Some(_))),
            };
            rules::rules(review, &at.key("rules"), &rules, watched)
        });
        let dose = dose::dose(review, at, &raw.dose.unwrap_or_default(), target);
        let bounds = (target, dose.as_ref().map(|dose| dose.strongest_premix));
        let recharge = raw.recharge.unwrap_or_default();
        let recharge = recharge::recharge(review, at, &recharge, around.cleaners, bounds);
        let circulation = circulation(review, at, raw.circulation.as_ref());
        let water_zero = water_zero(review, at, raw.water_zero.as_ref());
        let metering = metering(review, at, raw.metering.as_ref());
        let [first_fill, top_up] = [
            ("first_fill_water", raw.first_fill_water.as_deref()),
            ("top_up_water", raw.top_up_water.as_deref()),
        ]
        .map(|(key, name)| waters::named(review, &at.key(key), name, around.waters));
        let of_fluid = fluid.as_deref();
        let minerals = raw.minerals.unwrap_or_default();
        let named = (first_fill.clone().flatten(), top_up.clone().flatten());
        let minerals = signs::minerals(review, at, &minerals, of_fluid, named);
        let souring = raw.souring.unwrap_or_default();
        let souring = signs::souring(review, at, &souring, of_fluid);
        let methods = signs::methods(review, at, &raw.methods.unwrap_or_default());
        first_fill.and(top_up)?;
        let [concentration_series, volume_series] = self.estimates(name);
        let Volumes {
            working,
            max,
            lines,
            drain_back,
        } = volumes;
        let (low, high) = window?;
        let fluid = fluid?;
        let prices = around.prices?.with(fluid.price);
        let mut channels = read.channels?;
        channels.shrink_to_fit();
        let mut limits = limits?;
        limits.shrink_to_fit();
        Some(SumpSetup {
            name: name.into(),
            title: raw.title.unwrap_or_else(|| name.to_owned()),
            fluid,
            vessel: vessel?,
            lines: Volume::from_litres(lines?),
            drain_back: drain_back?.map(Volume::from_litres),
            fills_itself: raw.fills_itself.unwrap_or(false),
            metering: metering?,
            pump: read.pump?,
            shifts: shifts?,
            start_up: false,
            working_volume: Volume::from_litres(working?),
            max_volume: Volume::from_litres(max?),
            circulation: circulation?,
            target: Concentration::from_percent(target?),
            window: (
                Concentration::from_percent(low),
                Concentration::from_percent(high),
            ),
            water_zero: water_zero?,
            dose: dose?,
            recharge: recharge?,
            choice: around.choice?,
            prices,
            mixers: Vec::new(),
            channels,
            limits,
            silent: of_channels?.silent,
            disagrees: of_channels?.disagrees,
            rules: [rules?, of_plan?].concat(),
            waters: waters::all(around.waters),
            minerals: minerals?,
            souring: souring?,
            methods: methods?,
            concentration_series,
            volume_series,
        })
    }

    fn channels(
        &mut self,
        review: &mut Review,
        at: &KeyPath,
        sump: &str,
        raw: &mut RawSump,
        around: &Around<'_>,
    ) -> Channels {
        let mut measured = BTreeSet::new();
        let mut channels = Vec::new();
        let sump_at = at;
        let at = at.key("channel");
        let raws = raw_channels(review, &at, raw);
        let thermometers = thermometers(&raws);
        let pump = pump::pump(review, sump_at, raw.pump.as_ref(), &pump::switches(&raws));
        for (name, raw) in raws {
            let at = at.key(&name);
            let quantity = channels::quantity(review, &at, &raw);
            let scale = scale::scale(review, &at, &raw, quantity);
            let names = (sump, name.as_str());
            let ways = &around.sources.ways;
            let origin = origin::origin(review, &at, names, &raw, quantity, ways, &mut self.claims);
            let taken = origin.as_ref().and_then(|origin| Taken::by(origin, &at));
            self.taken.extend(taken);
            let channel = quantity.and_then(|quantity| {
                measured.insert(quantity);
                let series = self.add_series(sump, &name, quantity, SeriesKind::Reading);
                let total = (quantity == Quantity::Metered)
                    .then(|| self.add_series(sump, &name, quantity, SeriesKind::Estimate));
                let kind = channel_kind::kind(review, &at, &raw, (quantity, scale.as_ref()), total);
                let beside = calibration::Around {
                    fluid: around.fluid,
                    thermometers: &thermometers,
                };
                let what = What {
                    quantity,
                    kind,
                    input: calibration::input(review, &at, &raw, quantity, beside),
                    series,
                };
                channels::channel(review, &at, &name, &raw, what, around.likeness)
            });
            if let (Some(origin), Some(channel)) = (&origin, &channel) {
                let masters = ways.wires.masters;
                masters::check_silence(review, &at, origin, channel.silent_after, masters);
            }
            self.routes
                .push(origin.zip(scale).map(|(origin, scale)| Route {
                    sump: self.names.len(),
                    channel: u16::try_from(channels.len()).unwrap_or(u16::MAX),
                    origin,
                    scale,
                }));
            channels.push(channel);
        }
        if channels.len() > usize::from(u16::MAX) {
            let found = format!("{} channels", channels.len());
            let allowed = "at most 65535 at one sump".to_owned();
            review.tell(&at, Problem::OutOfRange { found, allowed });
        }
        Channels {
            measured,
            pump,
            channels: channels.into_iter().collect(),
        }
    }

    fn estimates(&mut self, sump: &str) -> [SeriesIx; 2] {
        [Quantity::Concentration, Quantity::Volume]
            .map(|quantity| self.add_series(sump, quantity.name(), quantity, SeriesKind::Estimate))
    }

    fn add_series(
        &mut self,
        sump: &str,
        channel: &str,
        quantity: Quantity,
        kind: SeriesKind,
    ) -> SeriesIx {
        let place = u32::try_from(self.series.len()).unwrap_or(u32::MAX);
        self.series.push(SeriesSetup {
            sump: sump.into(),
            channel: channel.into(),
            quantity,
            kind,
        });
        SeriesIx(place)
    }
}

/// What the channels of a sump must know of it.
struct Around<'a> {
    sources: &'a Surrounding<'a>,
    likeness: Surroundings,
    fluid: Option<&'a FluidSetup>,
}

fn raw_channels(review: &mut Review, at: &KeyPath, raw: &mut RawSump) -> Vec<(String, RawChannel)> {
    let parts = raw.channel.take().unwrap_or_default();
    let raws = parts.into_iter().map(|(name, part)| {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw = review.take(&at, part);
        (name, raw)
    });
    raws.collect()
}

/// The channels of temperature, by name and place.
fn thermometers(raws: &[(String, RawChannel)]) -> Vec<(String, u16)> {
    (0u16..)
        .zip(raws)
        .filter(|(_, (_, raw))| raw.quantity.as_deref() == Some(Quantity::Temperature.name()))
        .map(|(place, (name, _))| (name.clone(), place))
        .collect()
}

/// The channels of one sump, and what they measure.
struct Channels {
    measured: BTreeSet<Quantity>,
    /// Place of the switch of the circulation pumps.
    pump: Option<Option<u16>>,
    channels: Option<Vec<ChannelSetup>>,
}

fn fluid(review: &mut Review, at: &KeyPath, raw: &RawSump, fluids: &Fluids) -> Option<Sheet> {
    let path = at.key("fluid");
    let name = review.required(&path, raw.fluid.as_deref(), "fluid = \"soluble-a\"")?;
    match fluids.get(name) {
        Some(fluid) => fluid.clone(),
        None => {
            review.unknown_name(&path, "fluid", name, fluids.keys().map(String::as_str));
            None
        }
    }
}

/// A target that is unusual of the fluid's class may be right.
fn remark_target(
    review: &mut Review,
    at: &KeyPath,
    target: Option<f64>,
    class: Option<FluidClass>,
) {
    let Some((found, class)) = target.zip(class) else {
        return;
    };
    let (lowest, highest) = class.usual().strength;
    if !(lowest..=highest).contains(&found) {
        let about = Remarked::UnusualTarget {
            class,
            found,
            lowest,
            highest,
        };
        review.remark(&at.key("target"), None, about);
    }
}

fn built_vessel(review: &mut Review, at: &KeyPath, raw: &RawSump) -> Option<Vessel> {
    let path = at.key("vessel");
    let example = "a table vessel with shape, length, width and height";
    let vessel = review.required(&path, raw.vessel.as_ref(), example)?;
    build_vessel::vessel(review, &path, vessel)
}

fn circulation(
    review: &mut Review,
    at: &KeyPath,
    written: Option<&Written>,
) -> Option<Option<Flow>> {
    let Some(written) = written else {
        return Some(None);
    };
    let path = at.key("circulation");
    let flow = review.good(&path, Flow::parse(written.text()))?;
    let litres = flow.litres_per_minute();
    review.within(&path, litres, (0.1, 1_000_000.0), |flow| {
        format!("{flow} L/min")
    })?;
    Some(Some(flow))
}

fn metering(review: &mut Review, at: &KeyPath, written: Option<&Written>) -> Option<f64> {
    let path = at.key("metering");
    let share = review.or_default(&path, written, measure::share, defaults::METERING)?;
    review.within(&path, share, (0.0001, 0.5), |share| {
        format!("{} %", 100.0 * share)
    })
}

fn water_zero(review: &mut Review, at: &KeyPath, written: Option<&Written>) -> Option<Brix> {
    let path = at.key("water_zero");
    let zero = review.or_default(&path, written, Brix::parse, Brix::default())?;
    review.within(&path, zero.degrees(), (-2.0, 5.0), |zero| {
        format!("{zero} °Bx")
    })?;
    Some(zero)
}
