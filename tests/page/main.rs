//! The live page, through the built binary: what is served and to whom, the stream without gaps, commands.

mod http;
mod openapi;
mod run;
