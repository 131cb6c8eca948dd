//! `closerun man`: the manual, from the same words as `--help`.

use clap::CommandFactory;

use super::Failure;
use super::arguments::{Arguments, Man};
use super::say;

pub(super) fn run(man: &Man) -> Result<(), Failure> {
    // `help` has no page: it prints what the pages hold.
    let command = Arguments::command().disable_help_subcommand(true);
    match &man.into {
        Some(folder) => clap_mangen::generate_to(command, folder)
            .map_err(|error| Failure::outcome(format!("manual pages into {}: {error}", folder.display()))),
        None => {
            let mut page = Vec::new();
            clap_mangen::Man::new(command).render(&mut page).map_err(Failure::outcome)?;
            say::text(format_args!("{}", String::from_utf8_lossy(&page)));
            Ok(())
        }
    }
}
