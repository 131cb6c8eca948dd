//! `closerun backup`: a complete copy, also while the job is being recorded.

use super::Failure;
use super::arguments::Backup;
use super::say;
use crate::store;

pub(super) fn run(backup: &Backup) -> Result<(), Failure> {
    let report = store::backup(&backup.job, &backup.to).map_err(Failure::input)?;
    say::line(format_args!("{}: complete and verified, up to event {}", backup.to.display(), report.head.seq));
    Ok(())
}
