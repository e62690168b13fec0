//! The settings as people write them: every key that exists, nothing checked
//! but its kind.

use std::collections::BTreeMap;

use config::Value;
use serde::Deserialize;

use super::raw_limits::RawLimits;
use super::raw_rules::{RawPlantRules, RawRules};
use super::secret::Secret;
use super::web::RawWeb;
use super::written::{Switch, Texts, Written};

/// Tables by name; each is read on its own, so that a mistake in one hides
/// none in another.
pub(super) type Named = Option<BTreeMap<String, Value>>;

/// Declares tables of settings, every key optional.
macro_rules! tables {
    ($($(#[$doc:meta])* $table:ident { $($key:ident: $kind:ty,)* })*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Default, Deserialize)]
        #[serde(default, deny_unknown_fields, expecting = "a table")]
        pub(super) struct $table { $(pub(super) $key: Option<$kind>,)* }
    )*};
}

pub(super) use tables;

/// Everything. Tables by name are left unread here.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default, deny_unknown_fields, expecting = "a table")]
pub(super) struct RawSettings {
    pub(super) plant: Option<RawPlant>,
    pub(super) store: Option<RawStore>,
    pub(super) messages: Option<RawMessages>,
    pub(super) engine: Option<RawEngine>,
    pub(super) admission: Option<RawAdmission>,
    pub(super) shifts: Option<RawShifts>,
    pub(super) checks: Option<Switch<RawChecks>>,
    pub(super) broker: Named,
    pub(super) modbus: Named,
    pub(super) serial: Named,
    pub(super) fluid: Named,
    pub(super) water: Named,
    pub(super) cleaner: Named,
    pub(super) stock: Named,
    pub(super) prices: Option<RawPrices>,
    pub(super) choice: Option<RawChoice>,
    pub(super) sump: Named,
    pub(super) mixer: Named,
    pub(super) contact: Named,
    pub(super) mail: Option<RawMail>,
    pub(super) webhook: Named,
    pub(super) web: Option<RawWeb>,
    pub(super) rule: Named,
    pub(super) forward: Named,
}

tables! {
    /// `[plant]`
    RawPlant {
        name: String,
        base_topic: String,
        time_zone: String,
        rules: RawPlantRules,
    }
    /// `[shifts]`, or `[sump.NAME.shifts]`
    RawShifts {
        week: Vec<String>,
        holidays: Vec<String>,
    }
    /// `[store]`
    RawStore {
        folder: String,
        commit_after: Written,
        outbox_max_rows: u32,
        pack_after: Written,
        keep_readings: Written,
        keep_estimates: Written,
        keep_minutes: Written,
        keep_hours: Written,
        keep_days: Written,
        keep_journal: Written,
        max_mb: u32,
        min_free_mb: u32,
    }
    /// `[messages]`
    RawMessages {
        broker: String,
        entry_topic: String,
        folder: String,
        language: String,
        expire_after: Written,
    }
    /// `[mail]`
    RawMail {
        server: String,
        port: u16,
        security: String,
        ca_file: String,
        user: String,
        password: Secret,
        password_file: String,
        from: String,
    }
    /// `[webhook.NAME]`
    RawWebhook {
        url: String,
        ca_file: String,
        secret: Secret,
        secret_file: String,
    }
    /// `[engine]`
    RawEngine {
        threads: u16,
    }
    /// `[admission]`
    RawAdmission {
        future_skew: Written,
        oldest: Written,
        late_after: Written,
    }
    /// `[broker.NAME]`
    RawBroker {
        host: String,
        port: u16,
        client_id: String,
        user: String,
        password: Secret,
        password_file: String,
        tls: Switch<RawTls>,
        template: RawTemplate,
        keep_alive: Written,
        protocol: Written,
        max_packet: Written,
        receive_maximum: u16,
        session_expiry: Written,
        ask_rebirth: bool,
    }
    /// `[broker.NAME.tls]`
    RawTls {
        ca_file: String,
        cert_file: String,
        key_file: String,
    }
    /// `[broker.NAME.template]`
    RawTemplate {
        topic: String,
        payload: String,
        value: String,
        time: String,
        time_format: String,
        unit_from: String,
        status: String,
        status_good: Vec<Written>,
        name: String,
    }
    /// `[modbus.NAME]`
    RawModbus {
        device: String,
        baud: u32,
        parity: String,
        stop_bits: u8,
        host: String,
        port: u16,
        poll: Written,
        timeout: Written,
        latency: Written,
        pause: Written,
        gap: u16,
    }
    /// `[serial.NAME]`
    RawSerial {
        device: String,
        baud: u32,
        data_bits: u8,
        parity: String,
        stop_bits: u8,
        line_end: String,
        longest_line: Written,
        pattern: String,
        delimiter: String,
        header_lines: u16,
        checksum: RawChecksum,
    }
    /// `[serial.NAME.checksum]`
    RawChecksum {
        kind: String,
        mark: String,
        start: String,
    }
    /// `[fluid.NAME]`, or a file under fluids/
    RawFluid {
        title: String,
        class: String,
        factor: f64,
        points: Vec<Vec<Written>>,
        chart_uncertainty: Written,
        temperature_coefficient: Written,
        mixing_note: String,
        fresh_ph: Written,
        ph_per_decade: Written,
        conductivity_base: Written,
        conductivity_per_percent: Written,
        price: Written,
    }
    /// `[water.NAME]`
    RawWater {
        hardness: Written,
        chloride: Written,
        nitrate: Written,
        conductivity: Written,
        uncertainty: Written,
        price: Written,
    }
    /// `[cleaner.NAME]`
    RawCleaner {
        title: String,
        contains_biocide: bool,
        share: Written,
        circulate: Written,
    }
    /// `[stock.FLUID]`
    RawStock {
        litres: Written,
        counted: String,
        least: Written,
    }
    /// `[prices]`
    RawPrices {
        currency: String,
        water: Written,
        disposal: Written,
        labour_per_change_out: Written,
    }
    /// `[choice]`
    RawChoice {
        nitrite: Written,
        ph_drop: Vec<Written>,
        bacteria: Vec<Written>,
        fungi: Written,
        tramp_oil: Written,
        usual_life: Written,
        goal: Written,
        largest_swap: Written,
        most_swaps: u16,
    }
    /// `[contact.NAME]`
    RawContact {
        topic: String,
        language: String,
        mail: String,
        webhook: String,
        sumps: Vec<String>,
        priorities: String,
        hours: Vec<String>,
        high_waits: bool,
        time_zone: String,
        escalate_after: Written,
        escalate_to: String,
        digest: String,
    }
    /// `[rule.NAME]`
    RawOwnRule {
        when: String,
        title: String,
        message: String,
        sumps: Vec<String>,
        priority: String,
        on_delay: Written,
        off_delay: Written,
        latched: bool,
        again_after: Written,
        suppressed_by: Vec<String>,
        look_at: Vec<String>,
    }
    /// `[mixer.NAME]`
    RawMixer {
        setting: Written,
        sumps: Vec<String>,
    }
    /// `[sump.NAME]`
    RawSump {
        title: String,
        fluid: String,
        target: Written,
        window: Vec<Written>,
        working_volume: Written,
        max_volume: Written,
        lines: Written,
        drain_back: Written,
        fills_itself: bool,
        metering: Written,
        pump: Written,
        circulation: Written,
        water_zero: Written,
        shifts: Switch<RawShifts>,
        first_fill_water: String,
        top_up_water: String,
        vessel: RawVessel,
        dose: RawDose,
        recharge: RawRecharge,
        channel: BTreeMap<String, Value>,
        limits: RawLimits,
        rules: RawRules,
        minerals: RawMinerals,
        souring: RawSouring,
        methods: RawMethods,
        checks: Switch<RawChecks>,
    }
    /// `[checks]`, or `[sump.NAME.checks]`
    RawChecks {
        look: Written,
        concentration: Written,
        concentration_inline: Written,
        ph: Written,
        ph_inline: Written,
        nitrite: Written,
        nitrite_stretched: Written,
        dip_slide: Written,
        conductivity: Written,
        conductivity_inline: Written,
        hardness: Written,
        chloride: Written,
        make_up_water: Written,
        mixer: Written,
        tramp_oil: Written,
        clean_out: Written,
        once_made: Vec<String>,
        spread: bool,
    }
    /// `[sump.NAME.minerals]`
    RawMinerals {
        hardness_limit: Vec<Written>,
        chloride_limit: Vec<Written>,
        conductivity_ratio: Vec<Written>,
        first_fill_hardness: Vec<Written>,
        nitrate_limit: Written,
    }
    /// `[sump.NAME.souring]`
    RawSouring {
        reference_ph: Written,
        ph_drop: Vec<Written>,
        ph_fall_a_week: Written,
        ph_jump: Written,
        dissolved_oxygen: Vec<Written>,
        redox_fall: Vec<Written>,
        bacteria: Vec<Written>,
        fungi: Vec<Written>,
        still: Written,
        counts_for: Written,
    }
    /// `[sump.NAME.methods]`
    RawMethods {
        gap: Written,
        gap_share: Written,
        tramp_oil: Written,
    }
    /// `[sump.NAME.vessel]`
    RawVessel {
        shape: String,
        length: Written,
        width: Written,
        height: Written,
        diameter: Written,
        heads: String,
        bottom: String,
        crown_ratio: f64,
        knuckle_ratio: f64,
        rise: Written,
        cone_height: Written,
        outlet_diameter: Written,
        points: Vec<Vec<Written>>,
    }
    /// `[sump.NAME.dose]`
    RawDose {
        strongest_premix: Written,
        unit: String,
        step: Written,
        vessel: Written,
        dead_band: Written,
        largest_step: Written,
        longest_wait: Written,
        dosing_point: String,
        good_readings: u8,
        turnovers: f64,
        min_mixing: Written,
    }
    /// `[sump.NAME.recharge]`
    RawRecharge {
        cleaner: Written,
        drain_rate: Written,
        rinses: u16,
        rinse_share: Written,
        rinse_strength: Written,
        rinse_time: Written,
        carry_over: Written,
        first_fill_surplus: Written,
        settle: Written,
    }
    /// `[sump.NAME.channel.NAME]`
    RawChannel {
        quantity: String,
        broker: String,
        topic: Texts,
        payload: String,
        value: String,
        time: String,
        time_format: String,
        node: String,
        device: String,
        metric: String,
        modbus: String,
        slave: i64,
        register: i64,
        registers: String,
        number: String,
        order: String,
        scale: f64,
        offset: f64,
        serial: String,
        field: String,
        column: u16,
        r#loop: Vec<Written>,
        unit: String,
        unit_from: String,
        status: String,
        status_good: Vec<Written>,
        name: String,
        on: Vec<Written>,
        off: Vec<Written>,
        of: String,
        strength: Written,
        calibration: RawCalibration,
        per_pulse: Written,
        rolls_over_at: Written,
        max_flow: Written,
        plausible: Vec<Written>,
        despike: Switch<RawDespike>,
        smooth: Written,
        silent_after: Written,
        uncertainty: Written,
        hand_tolerance: Written,
        wander: Written,
        drift: Written,
        frozen_after: Written,
        noise_limit: Written,
        spike_share: Written,
        function_check: Written,
    }
    /// `[sump.NAME.channel.NAME.calibration]`
    RawCalibration {
        date: String,
        temperature: Written,
        temperature_channel: String,
        points: Vec<Vec<Written>>,
        buffers: String,
        offset: Written,
        slope: Written,
        standard: Written,
        shown: Written,
        cell_constant: Written,
        compensation: String,
        coefficient: Written,
        zero: Written,
        span: Vec<Written>,
    }
    /// `[sump.NAME.channel.NAME.despike]`
    RawDespike {
        window: Written,
        sigmas: f64,
        floor: Written,
    }
}
