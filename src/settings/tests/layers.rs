//! Files over files, the environment over all, secrets apart.

use std::fs;

use super::{FLUID, PLANT, read_with, variables};
use crate::settings::{Secret, Settings};

#[test]
fn later_files_and_the_environment_override() {
    let extra = "[broker.main]\nhost = \"10.0.0.5\"\nport = 1884\n";
    let settings = read_with(
        extra,
        &[
            ("SUMPWARD__BROKER__MAIN__PORT", "1885"),
            ("SUMPWARD__SUMP__CELL-A__TITLE", "00123"),
            ("HOME", "/nowhere"),
        ],
    )
    .unwrap();
    assert_eq!(settings.brokers[0].host, "10.0.0.5");
    assert_eq!(settings.brokers[0].port, 1885);
    assert_eq!(settings.sumps[0].title, "00123");
}

#[test]
fn mistakes_of_the_environment_name_the_variable() {
    let error = read_with(
        "",
        &[
            ("SUMPWARD__BROKER__MAIN__PORT", "0"),
            ("SUMPWARD__PLANT__NMAE", "south"),
            ("SUMPWARD__PLANT__[0]", "south"),
        ],
    )
    .unwrap_err();
    assert_eq!(
        error.to_string(),
        "SUMPWARD__BROKER__MAIN__PORT: broker.main.port: 0 is not allowed; allowed is 1 to 65535\n\
         SUMPWARD__PLANT__NMAE: plant.nmae: there is no such setting; did you mean \"name\"?\n\
         SUMPWARD__PLANT__[0]: \"plant.[0]\" cannot be the name of a setting: only letters, digits, - and _ can"
    );
}

#[test]
fn passwords_come_from_files_or_the_environment_only() {
    let with_user = "[broker.main]\nuser = \"u\"\n";
    let variable = [("SUMPWARD__BROKER__MAIN__PASSWORD", "open sesame")];
    let settings = read_with(with_user, &variable).unwrap();
    let password = settings.brokers[0].password.as_ref();
    assert_eq!(password.map(Secret::reveal), Some("open sesame"));
    assert!(!format!("{settings:?}").contains("sesame"));

    let in_file = format!("{with_user}password = \"open sesame\"\n");
    let error = read_with(&in_file, &variable).unwrap_err();
    assert_eq!(
        error.to_string(),
        "z.toml:3:1: broker.main.password: a password does not belong into a settings file, which people copy and print; write password_file = \"…\" or set SUMPWARD__BROKER__MAIN__PASSWORD"
    );

    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    fs::create_dir(folder.path().join("fluids")).unwrap();
    write("fluids/soluble-a.toml", FLUID);
    write("plant.toml", PLANT);
    write("z.toml", &format!("{with_user}password_file = \"pw\"\n"));
    let error = Settings::load(folder.path(), variables(&[])).unwrap_err();
    assert!(
        error
            .to_string()
            .contains("z.toml:3:17: broker.main.password_file: cannot be read")
    );
    write("pw", "open sesame\n");
    let settings = Settings::load(folder.path(), variables(&[])).unwrap();
    let password = settings.brokers[0].password.as_ref();
    assert_eq!(password.map(Secret::reveal), Some("open sesame"));
}

#[test]
fn a_folder_without_settings_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let error = Settings::load(folder.path(), variables(&[])).unwrap_err();
    assert!(error.to_string().contains("holds no settings"), "{error}");
    let nowhere = folder.path().join("nowhere");
    let checked = crate::cli::check::check(&nowhere, variables(&[]));
    assert_eq!(checked.status, 2);
    assert!(
        checked.text.contains("nowhere: cannot be read: "),
        "{}",
        checked.text
    );
}
