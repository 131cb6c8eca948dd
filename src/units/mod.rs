//! Exact lengths: what a staff reads and what an elevation is.
//!
//! A [`Length`] is a whole number of 0.1 nm, so that every metric reading to ten decimals and every
//! international foot to six is whole, sums never drift, and the page check is an equality.
//! Digits are parsed as digits: there is no float on the way in, hence no `inf` and no `nan`.
//!
//! | unit | size | source |
//! |---|---|---|
//! | `m`, `mm` | 1 m, 0.001 m | SI |
//! | `ft` | 0.3048 m exactly | 85 FR 62698 (US, 2020) |
//! | `sft`, US survey foot | 1200/3937 m | 85 FR 62698 for its end; the ratio from memory |
//!
//! A survey foot never ends as a decimal of a metre: such a reading is taken to the nearest 0.1 nm
//! (ties to even) and its digits are kept beside it.

mod decimal;
mod length;
mod sixteenths;

pub use decimal::{Decimal, Digits, NumberError, Numeral};
pub use length::{Length, LengthError, Measured, Unit, push_whole};
pub use sixteenths::{parse_feet_inches, show_feet_inches};
