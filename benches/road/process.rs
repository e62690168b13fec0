//! What a process has taken so far, as Linux tells it in proc(5).

use std::fs;
use std::time::Duration;

/// The kernel counts processor time in hundredths of a second.
const TICK: f64 = 0.01;

/// A process counts as at rest when it takes at most one tick in this time.
const REST: Duration = Duration::from_millis(250);

/// Processor time of the process and all its threads, s.
pub fn processor_seconds(pid: u32) -> f64 {
    let stat = read(pid, "stat");
    let after_name = stat.rsplit(')').next().expect("rsplit gives one at least");
    let ticks = |n: usize| -> f64 {
        let field = after_name.split_whitespace().nth(n);
        field.and_then(|text| text.parse().ok()).unwrap_or(f64::NAN)
    };
    // Fields 14 and 15 of proc(5), utime and stime; the name is field 2.
    (ticks(11) + ticks(12)) * TICK
}

/// The same, once the process has come to rest: what it still does about the
/// work that it was given is its work too.
pub fn processor_seconds_at_rest(pid: u32) -> f64 {
    let mut before = processor_seconds(pid);
    loop {
        std::thread::sleep(REST);
        let after = processor_seconds(pid);
        if after - before < 1.5 * TICK {
            return before;
        }
        before = after;
    }
}

/// Memory of the process that is resident now, MB.
pub fn resident_megabytes(pid: u32) -> f64 {
    status_megabytes(pid, "VmRSS:")
}

/// The most memory that was ever resident, MB.
pub fn peak_megabytes(pid: u32) -> f64 {
    status_megabytes(pid, "VmHWM:")
}

fn status_megabytes(pid: u32, name: &str) -> f64 {
    let status = read(pid, "status");
    let line = status.lines().find_map(|line| line.strip_prefix(name));
    let kibibytes = line.and_then(|rest| rest.split_whitespace().next()?.parse::<f64>().ok());
    kibibytes.expect("the kernel tells the memory") * 1024.0 / 1e6
}

fn read(pid: u32, what: &str) -> String {
    fs::read_to_string(format!("/proc/{pid}/{what}")).expect("the process runs, on Linux")
}
