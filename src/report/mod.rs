//! What people are given to read, as data and as text. Pure: it writes to no file and knows no terminal.

pub mod cards;
pub mod causes;
pub mod csv;
pub mod document;
pub mod json;
pub mod live;
pub mod network;
mod page_rows;
pub mod pdf;
pub mod plan;
pub mod plot;
pub mod state;
pub mod text;
pub mod today;
pub mod xlsx;
