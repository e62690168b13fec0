//! A plant for the tests: what is offered is put into its settings.

use crate::settings::Settings;

const PLANT: &str = r#"
    [plant]
    name = "north"
    [store]
    folder = "./data"
    [broker.main]
    host = "127.0.0.1"
    [fluid.soluble-a]
    factor = 1.1
    [sump.cell-a]
    fluid = "soluble-a"
    target = "8 %"
    working_volume = "820 L"
    vessel = { shape = "rectangular", length = "1.6 m", width = "0.9 m", height = "0.65 m" }
"#;

/// The settings of a plant with what is offered, where a person has put in a
/// sump, and brix for every quantity that is not guessed.
pub(super) fn with(offered: &str) -> Settings {
    let channels = offered
        .replace("SUMP", "cell-a")
        .replace("\"?\"", "\"brix\"");
    let files = [("plant.toml", PLANT), ("z.toml", channels.as_str())];
    Settings::from_texts(&files, std::iter::empty())
        .unwrap_or_else(|error| panic!("{error}\n{channels}"))
}
