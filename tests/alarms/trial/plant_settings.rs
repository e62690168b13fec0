//! The settings of the plant, as its people would write them: what they say
//! nothing of stays as it comes, so that what users get is what is tried.

use std::fmt::Write;

use sumpward::settings::Settings;
use sumpward::simulate::year::{
    Channel, PRODUCTS, SOFT, STAND_STILLS, Shifts, SumpSpec, Tap, YEAR_START,
};
use sumpward::units::Span;

/// Reads the settings of these sumps.
pub(crate) fn settings(specs: &[SumpSpec]) -> Settings {
    let fluids: Vec<(String, String)> = PRODUCTS
        .iter()
        .map(|product| {
            let sheet = format!(
                "title = \"{}\"\nfactor = {:?}\nfresh_ph = {:?}\nchart_uncertainty = \"3 %\"\n",
                product.name, product.factor, product.fresh_ph
            );
            (format!("fluids/{}.toml", product.name), sheet)
        })
        .collect();
    let plant = plant(specs);
    let mut texts = vec![("plant.toml", plant.as_str())];
    texts.extend(
        fluids
            .iter()
            .map(|(name, text)| (name.as_str(), text.as_str())),
    );
    Settings::from_texts(&texts, std::iter::empty())
        .unwrap_or_else(|mistakes| panic!("{mistakes}\n{plant}"))
}

fn plant(specs: &[SumpSpec]) -> String {
    let mut text = String::from(
        "[plant]\nname = \"year\"\n[broker.main]\nhost = \"127.0.0.1\"\n\
         [broker.main.template]\ntopic = \"plant/{sump}/{channel}\"\n\
         [store]\nfolder = \"./data\"\n",
    );
    water(&mut text, "soft", SOFT);
    let holidays = holidays();
    writeln!(
        text,
        "[shifts]\nweek = [\"mon-fri 06:00-22:00\"]\nholidays = [{holidays}]"
    )
    .unwrap();
    for spec in specs {
        sump(&mut text, spec);
    }
    text
}

fn water(text: &mut String, name: &str, tap: Tap) {
    let conductivity = 2.0 * tap.hardness + 2.8 * tap.chloride;
    writeln!(
        text,
        "[water.{name}]\nhardness = \"{} mg/L CaCO3\"\nchloride = \"{} mg/L\"\n\
         conductivity = \"{conductivity} µS/cm\"",
        tap.hardness, tap.chloride
    )
    .unwrap();
}

fn holidays() -> String {
    let days = STAND_STILLS.iter().flat_map(|&(from, to)| from..to);
    let dates = days.map(|day| {
        let time = (YEAR_START + Span::from_hours(24 * day)).to_string();
        format!("\"{}\"", &time[..10])
    });
    dates.collect::<Vec<_>>().join(", ")
}

fn week(shifts: Shifts) -> &'static str {
    match shifts {
        Shifts::One => "\"mon-fri 06:00-14:00\"",
        Shifts::Two => "\"mon-fri 06:00-22:00\"",
        Shifts::Three => "\"mon-fri 06:00-22:00\", \"mon-fri 22:00-06:00\"",
    }
}

fn sump(text: &mut String, spec: &SumpSpec) {
    let name = spec.name();
    let (length, width, height) = spec.tank_m;
    writeln!(
        text,
        "[mixer.x-{name}]\nsetting = \"{} %\"\nsumps = [\"{name}\"]\n\
         [sump.{name}]\nfluid = \"{}\"\ntarget = \"{} %\"\nworking_volume = \"{} L\"\n\
         lines = \"{} L\"\ndrain_back = \"{} L\"\ncirculation = \"{} L/min\"\n\
         water_zero = \"{} °Bx\"\nfirst_fill_water = \"soft\"\ntop_up_water = \"soft\"\n\
         shifts = {{ week = [{}] }}\n\
         vessel = {{ shape = \"rectangular\", length = \"{length} m\", width = \"{width} m\", \
         height = \"{height} m\" }}",
        spec.mixer_pct,
        spec.product.name,
        spec.product.target_pct,
        spec.working_l,
        spec.lines_l,
        spec.drain_back_l,
        spec.circulation_l_per_min,
        spec.water_zero_brix,
        week(spec.shifts),
    )
    .unwrap();
    for channel in [Channel::Pumps].into_iter().chain(Channel::GAUGES) {
        let (quantity, more) = match channel {
            Channel::Pumps => ("state", "of = \"pumps\"\n"),
            Channel::Brix if spec.loops.0 => {
                ("brix", "unit = \"mA\"\nloop = [\"0 °Bx\", \"15 °Bx\"]\n")
            }
            Channel::Level if spec.loops.1 => {
                ("level", "unit = \"mA\"\nloop = [\"0 m\", \"2 m\"]\n")
            }
            _ => (channel.name(), ""),
        };
        write!(
            text,
            "[sump.{name}.channel.{}]\nquantity = \"{quantity}\"\n{more}",
            channel.name()
        )
        .unwrap();
    }
}
