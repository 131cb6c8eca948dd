//! `closerun service`: the files by which a system runs `listen` as a service. They are the very files of the package.

use super::Failure;
use super::arguments::{Service, ServiceFile};
use super::say;

pub(super) fn run(service: &Service) -> Result<(), Failure> {
    let file = match service.file {
        ServiceFile::Unit => include_str!("../service/closerun@.service"),
        ServiceFile::Rule => include_str!("../service/closerun.rules"),
    };
    say::text(format_args!("{file}"));
    Ok(())
}
