//! The journal, a page at a time.

use std::collections::BTreeSet;

use super::sink::{JournalSink, WriteError};
use super::{Count, ExportFault, Job, all_known};
use crate::store::JournalKey;

/// Lines read at once; a line has some kilobytes at most.
const AT_ONCE: usize = 1000;

/// Writes the lines of the sumps and kinds that are asked for.
pub(super) fn export(
    job: &mut Job<'_>,
    kinds: &[String],
    mut sink: Box<dyn JournalSink + '_>,
    failed: &impl Fn(WriteError) -> ExportFault,
) -> Result<Count, ExportFault> {
    known_sumps(job)?;
    let kept = job.reader.journal_times()?;
    let mut missing: BTreeSet<&str> = kinds.iter().map(String::as_str).collect();
    let mut count = Count::NONE;
    // Before the first line of that time: no sump is without a name.
    let mut after = Some(JournalKey {
        time: job.from,
        sump: String::new(),
        seq: 0,
    });
    'pages: loop {
        let page = job.reader.journal(after.as_ref(), AT_ONCE)?;
        let Some(last) = page.last() else { break };
        after = Some(last.key());
        job.work.at(job.share(last.time, kept))?;
        for line in &page {
            if line.time >= job.to {
                break 'pages;
            }
            let of_kind = kinds.is_empty() || kinds.contains(&line.kind);
            if job.wants(&line.sump) && of_kind {
                missing.remove(line.kind.as_str());
                sink.line(line).map_err(failed)?;
                count.note(line.time);
            }
        }
    }
    sink.end().map_err(failed)?;
    for kind in missing {
        eprintln!("the journal has no line of the kind \"{kind}\" here");
    }
    Ok(count)
}

/// The plant has lines of its own beside those of its sumps.
fn known_sumps(job: &Job<'_>) -> Result<(), ExportFault> {
    let all = job.reader.all_series()?;
    let sumps = all.iter().map(|one| one.sump.as_str());
    all_known("sump", job.sumps, sumps.chain(["plant"]))
}
