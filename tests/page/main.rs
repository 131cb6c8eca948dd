//! The live page, through the built binary: what is served and to whom, the stream without gaps, commands, the browser.

#[cfg(unix)]
mod browser;
#[cfg(unix)]
mod chrome;
mod http;
mod openapi;
mod run;
